//! Transfers that were taken back before they arrived.

pub(crate) const UP: &str = "
alter table transfers add column back_slip_id uuid;
alter table transfers add column taken_back_at timestamptz;
";
