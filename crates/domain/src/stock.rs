//! Stock: what is bought, held, poured and ordered, and the rules that keep a ledger honest.
//!
//! Amounts are integers ([`Amount`](crate::Amount)), so a balance is exactly the sum of its movements.
//! To add a kind of movement: a variant of [`MovementKind`] with its code and its sign.

mod count;
mod expiry;
mod issue;
mod issued_forecast;
mod label;
mod late;
mod lot;
mod order;
mod pack_mix;
mod packs;
mod product;
mod reorder;
mod slip;
mod supplier;
mod transfer;
mod use_cause;

pub use count::{CountKind, DifferenceKind, NotCounted, WhyCount, spread_count};
pub use expiry::{Spoilage, WriteOff, spoilage};
pub use issue::{
    Drawn, OnHand, OutOfStock, Unfit, draw_first_expiring, draw_named, issue_first_expiring, issue_named,
};
pub use issued_forecast::{IssuedForecast, IssuedLine, IssuedOrder, IssuedUse, SCORED_DAYS};
pub use label::{AcidStrength, Analysis, Basis, Declared, LabelRevision, Reagent};
pub use late::{
    Adjusted, Came, Counted, Found, Owed, found_of, found_of_came, held_before, moved_since, owed,
};
pub use lot::{Lot, Movement, MovementKind, Shortage, ShortageState};
pub use order::{Approval, NotAllowed, Order, OrderLine, OrderState, Outdated, Received, ShortOfLeast};
pub use pack_mix::{PackMix, PackPrice, cheapest_mix};
pub use packs::{Packs, ReorderLevels, nearest_packs, order_together, whole_packs};
pub use product::{BURNS, FEEDS_FIRE, LABEL_FIRST, NEVER_WITH_CHLORINE, Product, ProductKind};
pub use reorder::{Reorder, Replenishment, arrival, reorder_date};
pub use slip::{Entered, Settles, Slip, SlipKind, Wanted};
pub use supplier::{Offer, Supplier};
pub use transfer::{NotInTransit, Transfer, TransferState};
pub use use_cause::UseCause;

/// The id of a product.
pub type ProductId = crate::Id<Product>;
/// The id of a lot.
pub type LotId = crate::Id<Lot>;
/// The id of a slip.
pub type SlipId = crate::Id<Slip>;
/// The id of an order.
pub type OrderId = crate::Id<Order>;

/// Cases worked out by hand, each with its source beside it in the file.
#[cfg(test)]
pub(crate) mod testing {
    use chrono::NaiveDate;
    use serde_json::Value;
    use uuid::Uuid;

    use super::Lot;
    use crate::Id;

    pub(crate) struct Case {
        pub(crate) id: String,
        pub(crate) inputs: Value,
        pub(crate) expected: Value,
    }

    pub(crate) fn cases(rule: &str) -> Vec<Case> {
        let rows: Vec<Value> = serde_json::from_str(include_str!("../testdata/stock_cases.json")).unwrap();
        let of_rule: Vec<Case> = rows
            .into_iter()
            .filter(|row| row["fn"] == rule)
            .map(|row| Case {
                id: row["id"].as_str().unwrap().to_owned(),
                inputs: row["inputs"].clone(),
                expected: row["expected"].clone(),
            })
            .collect();
        assert!(!of_rule.is_empty(), "no cases of {rule}");
        of_rule
    }

    pub(crate) fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// An id that sorts as its name does.
    pub(crate) fn id<W>(name: &str) -> Id<W> {
        let mut bytes = [0; 16];
        bytes.iter_mut().zip(name.bytes()).for_each(|(byte, letter)| *byte = letter);
        Id::new(Uuid::from_bytes(bytes))
    }

    pub(crate) fn lot_id(name: &str) -> Id<Lot> {
        id(name)
    }
}
