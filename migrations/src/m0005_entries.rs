//! Readings, additions, tank changes, meters.

pub(crate) const UP: &str = "

";
