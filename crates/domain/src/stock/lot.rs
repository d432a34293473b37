//! Lots, and the movements whose sum is what is held.

use chrono::{DateTime, NaiveDate, Utc};

use super::{LabelRevision, Product, Slip};
use crate::code::coded;
use crate::{Amount, Base, Id};

/// One batch of a product, as printed on the pack.
#[derive(Debug, Clone, PartialEq)]
pub struct Lot {
    /// Of what.
    pub product: Id<Product>,
    /// The label it was made under: what was learnt about another label is only a prior for it. None while the
    /// product has no label on record.
    pub revision: Option<Id<LabelRevision>>,
    /// As printed.
    pub number: String,
    /// Last day on which it may be used; none where the label gives none.
    pub expiry: Option<NaiveDate>,
    /// Held back: it is counted, and never issued.
    pub quarantined: bool,
}

impl Lot {
    /// What whoever takes it in on this day should be told.
    pub fn caution(&self, on: NaiveDate) -> Option<&'static str> {
        let expired = self.expiry.is_some_and(|last| last < on);
        expired.then_some("This lot has expired already: keep it apart, and claim it from the supplier.")
    }
}

coded! {
    /// Why a balance changed.
    MovementKind {
        /// Came in from a supplier, or was made on site.
        Receipt = "receipt",
        /// Was poured.
        Issue = "issue",
        /// Left for another site.
        TransferOut = "transfer_out",
        /// Came from another site.
        TransferIn = "transfer_in",
        /// A count found more or less than the ledger.
        CountAdjustment = "count_adjustment",
        /// Spilt, spoilt or expired.
        WriteOff = "write_off",
    }
}

/// One entry of the ledger of a lot at a site. Append-only: a mistake is reversed by its opposite.
#[derive(Debug, Clone, PartialEq)]
pub struct Movement {
    /// Made by the server.
    pub id: Id<Movement>,
    /// The slip it was entered on.
    pub slip: Id<Slip>,
    /// Of which product.
    pub product: Id<Product>,
    /// Of which lot.
    pub lot: Id<Lot>,
    /// Why.
    pub kind: MovementKind,
    /// What the product is counted in.
    pub base: Base,
    /// In is positive, out is negative.
    pub change: Amount,
    /// When it was done.
    pub done_at: DateTime<Utc>,
    /// The movement that this one takes back.
    pub reverses: Option<Id<Movement>>,
}

coded! {
    /// What became of a shortage.
    ShortageState {
        /// Not looked into yet.
        Open = "open",
        /// A count or a receipt came after it.
        Settled = "settled",
        /// What was poured was taken back, and the shortage with it.
        Withdrawn = "withdrawn",
    }
}

/// An amount poured that no lot of the record held. It was used, so it counts in use and forecast; it is in no
/// balance, because a ledger that goes negative to please a label read wrongly explains nothing any more.
#[derive(Debug, Clone, PartialEq)]
pub struct Shortage {
    /// Made by the server.
    pub id: Id<Shortage>,
    /// The slip it was poured on.
    pub slip: Id<Slip>,
    /// Of what.
    pub product: Id<Product>,
    /// What it is counted in.
    pub base: Base,
    /// How much was poured beyond what was held.
    pub amount: Amount,
    /// When.
    pub poured_at: DateTime<Utc>,
    /// What became of it.
    pub state: ShortageState,
    /// The slip of the count, receipt or correction that ended it.
    pub settled_by: Option<Id<Slip>>,
}
