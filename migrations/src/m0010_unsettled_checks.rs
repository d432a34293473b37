//! Checks that wait, by when they are due: a beat asks for them, and walked through all that was ever settled.

pub(crate) const UP: &str = "
create index checks_unsettled_by_due_at on checks (site_id, due_at) where state in ('planned', 'open');
";
