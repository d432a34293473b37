//! One deed entered by two people: what looks like it is asked back.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use uuid::Uuid;

use crate::entries::{Addition, Poured, TankChange};
use crate::local::clock_and_day;
use crate::stock::{ProductId, Slip, Wanted};
use crate::{Amount, Base, Id};

/// Nobody drains a tank again that was filled so short a time ago, while two who worked on it together may each write
/// down another moment of the work; common practice, no source.
pub const SAME_CHANGE: TimeDelta = TimeDelta::hours(2);

/// Who doses after a colleague lets the tank mix and reads it first, which takes about so long; common practice, no
/// source.
pub const SAME_ADDITION: TimeDelta = TimeDelta::minutes(15);

/// Who puts a delivery on the shelf and who enters its papers do so within a part of the working day, in which no two vans bring the
/// same; common practice, no source.
pub const SAME_RECEIPT: TimeDelta = TimeDelta::hours(2);

/// What is to be poured, measured out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Measured {
    /// A product.
    Product {
        /// Which.
        product: ProductId,
        /// How much.
        amount: Amount,
        /// What it is counted in.
        base: Base,
    },
    /// Water, in litres.
    Water {
        /// How much.
        litres: f64,
    },
}

impl Measured {
    /// The product; nothing for water.
    pub fn product(self) -> Option<ProductId> {
        match self {
            Measured::Product { product, .. } => Some(product),
            Measured::Water { .. } => None,
        }
    }

    fn is_same(self, poured: &Poured) -> bool {
        match (self, poured) {
            (
                Measured::Product { product, amount, .. },
                Poured::Product { product: of, amount: kept, .. },
            ) => product == *of && amount == *kept,
            (Measured::Water { litres }, Poured::Water { litres: kept }) => litres == *kept,
            (Measured::Product { .. }, Poured::Water { .. })
            | (Measured::Water { .. }, Poured::Product { .. }) => false,
        }
    }
}

/// An earlier entry that may be of the same deed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the same was entered before, as done at {done_at}; its id is {id}")]
pub struct EnteredBefore {
    /// Its id.
    pub id: Uuid,
    /// When it was done.
    pub done_at: DateTime<Utc>,
}

impl EnteredBefore {
    /// As people are told, by the clock of the site's zone.
    pub fn told(&self, zone: Tz) -> String {
        let done = clock_and_day(zone, self.done_at);
        format!("the same was entered before, as done at {done}; its id is {}", self.id)
    }
}

/// The first of the additions to a tank by others, near to the instant, that is the same amount of the same. One
/// person may well add the same twice while dosing, so whoever asks leaves their own out. The same client id is no
/// second entry.
pub fn same_addition(
    by_others: &[(Id<Addition>, Addition)],
    client_id: Uuid,
    measured: Measured,
) -> Option<EnteredBefore> {
    let is_same = |addition: &Addition| addition.client_id != client_id && measured.is_same(&addition.poured);
    let same = by_others.iter().find(|(_, addition)| is_same(addition));
    same.map(|(id, addition)| EnteredBefore { id: id.uuid(), done_at: addition.recorded_at })
}

/// The first full one of the changes of a tank that were done near to the instant. The same client id is no second
/// entry.
pub fn same_change(near: &[(Id<TankChange>, TankChange)], client_id: Uuid) -> Option<EnteredBefore> {
    let same = near.iter().find(|(_, change)| change.client_id != client_id && change.is_full());
    same.map(|(id, change)| EnteredBefore { id: id.uuid(), done_at: change.recorded_at })
}

/// The first of the receipts of a lot near to the instant that is of the same amount. What came on orders is held against what
/// they await, so two of two orders are left to them. The same client id is no second entry.
pub fn same_receipt(near: &[Slip], receipt: &Wanted) -> Option<EnteredBefore> {
    let is_same = |says: &Wanted| {
        says.client_id != receipt.client_id
            && (says.lot, says.amount) == (receipt.lot, receipt.amount)
            && (says.order == receipt.order || says.order.is_none() || receipt.order.is_none())
    };
    let same = near.iter().find(|slip| is_same(&slip.says));
    same.map(|slip| EnteredBefore { id: slip.id.uuid(), done_at: slip.says.done_at })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock::SlipKind;
    use crate::stock::testing::id;

    fn receipt(client: u128, lot: &str, ml: i64, order: Option<&str>) -> Wanted {
        Wanted {
            client_id: Some(Uuid::from_u128(client)),
            kind: SlipKind::Receipt,
            product: id("Grow A"),
            lot: Some(id(lot)),
            base: Base::Volume,
            amount: Amount::from_thousandths(ml * 1000),
            done_at: DateTime::UNIX_EPOCH,
            reason: None,
            order: order.map(id),
            other_site: None,
            reverses: None,
        }
    }

    #[track_caller]
    fn check(before: Wanted, now: &Wanted, same: bool) {
        let slip = Slip { id: id("slip"), says: before, entered_at: DateTime::UNIX_EPOCH, entered_by: None };
        assert_eq!(same_receipt(&[slip], now).is_some(), same);
    }

    #[test]
    fn the_same_of_a_lot_came_once_unless_orders_say_otherwise() {
        let now = receipt(1, "L1", 5_000, None);
        check(receipt(2, "L1", 5_000, None), &now, true);
        check(receipt(2, "L1", 5_000, Some("order")), &now, true);
        check(receipt(1, "L1", 5_000, None), &now, false);
        check(receipt(2, "L2", 5_000, None), &now, false);
        check(receipt(2, "L1", 4_000, None), &now, false);
        let on_order = receipt(1, "L1", 5_000, Some("order"));
        check(receipt(2, "L1", 5_000, Some("order")), &on_order, true);
        check(receipt(2, "L1", 5_000, Some("other")), &on_order, false);
    }

    #[test]
    fn people_are_told_by_the_clock_of_the_site() {
        let same = EnteredBefore { id: Uuid::nil(), done_at: "2026-11-24T23:30:00Z".parse().unwrap() };
        let told = same.told(chrono_tz::Europe::Berlin);
        assert!(told.contains("as done at 00:30 on 25 November;"), "{told}");
    }
}
