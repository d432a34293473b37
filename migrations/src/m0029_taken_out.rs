//! What was taken out of the store other than into tanks, by its instant: the forecast asks for it among all that was poured.

pub(crate) const UP: &str = "
create index slips_taken_out_by_done_at on slips (site_id, done_at) where kind in ('issue', 'preparation');
";
