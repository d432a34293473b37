//! Products, suppliers, lots and their movements.

pub(crate) const UP: &str = "

";
