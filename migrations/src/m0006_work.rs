//! Check plans, checks, shifts, absences, rounds, alerts.

pub(crate) const UP: &str = "

";
