//! What an alert was about, closed ones included: whether anybody was ever warned of a check.

pub(crate) const UP: &str = "
create index alerts_by_about on alerts (site_id, kind, about_id);
";
