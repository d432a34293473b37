//! Counts of a product by their instant: each pour asks for those made after it.

pub(crate) const UP: &str = "
create index slips_counts_by_product_id on slips (site_id, product_id, done_at) where kind = 'count';
";
