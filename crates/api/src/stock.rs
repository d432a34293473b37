//! Stock: products and labels, suppliers and offers, lots, what is held, what moved, orders.

mod cost;
mod count;
mod holding;
mod label;
mod order;
mod product;
mod slip;
mod supplier;
mod trace;
mod transfer;

use fillmark_domain::stock as words;
use fillmark_domain::{Amount, Base, Faults};

use crate::{Code, Quantity};

pub use cost::*;
pub use count::*;
pub use holding::*;
pub use label::*;
pub use order::*;
pub use product::*;
pub use slip::*;
pub use supplier::*;
pub use trace::*;
pub use transfer::*;

/// A base unit by its code.
pub type BaseUnit = Code<Base>;
/// A kind of product by its code.
pub type ProductKind = Code<words::ProductKind>;
/// What percentages are of, by its code.
pub type Basis = Code<words::Basis>;
/// A kind of movement by its code.
pub type MovementKind = Code<words::MovementKind>;
/// A kind of slip by its code.
pub type SlipKind = Code<words::SlipKind>;
/// A state of a shortage by its code.
pub type ShortageState = Code<words::ShortageState>;
/// A state of a transfer by its code.
pub type TransferState = Code<words::TransferState>;

pub(crate) fn quantity(amount: Amount, base: Base) -> Quantity {
    amount.quantity(base).into()
}

/// A number that must lie in a closed range when it is given.
fn ranged(faults: &mut Faults, pointer: &str, value: Option<f64>, lowest: f64, highest: f64) {
    if let Some(value) = value {
        faults.range(pointer, value, lowest, highest);
    }
}

/// A text that may be left out, and is no longer than so many characters.
fn may_be_blank(faults: &mut Faults, pointer: &str, text: &str, longest: usize) {
    if !text.is_empty() {
        faults.text(pointer, text, longest);
    }
}
