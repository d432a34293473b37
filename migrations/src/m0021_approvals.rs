//! Who stands for an order.

pub(crate) const UP: &str = "
alter table orders add column approved_by uuid;

alter table orders add column approved_at timestamptz;
";
