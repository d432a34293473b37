//! The counts of a site by their instants, to list them.

pub(crate) const UP: &str = "
create index slips_counts_by_done_at on slips (site_id, done_at) where kind = 'count';
";
