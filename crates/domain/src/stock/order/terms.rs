//! What of an order's terms is to be asked about before it is placed.

use super::{Order, OrderLine};
use crate::stock::{Offer, Supplier};
use crate::{Amount, Money};

impl Order {
    /// What its value is short of the supplier's least order by; none where it reaches that, or where that is in another currency: an
    /// exchange rate is a fact of a day, and nobody told it.
    pub fn short_of_least(&self, supplier: &Supplier) -> Option<ShortOfLeast> {
        let value = self.value().filter(|value| value.currency == supplier.currency)?;
        let missing = supplier.minimum_order_minor.saturating_sub(value.minor);
        (missing > 0).then(|| ShortOfLeast {
            missing: Money::new(missing, value.currency),
            least: Money::new(supplier.minimum_order_minor, value.currency),
        })
    }
}

impl OrderLine {
    /// What its offer says otherwise now than when it was drafted; `offer` is none where it is no longer made.
    pub fn outdated(&self, offer: Option<&Offer>) -> Vec<Outdated> {
        let Some(now) = offer else { return vec![Outdated::Gone] };
        let pack = Outdated::Pack { now: now.pack, drafted: self.pack };
        let price = Outdated::Price { now: now.price, drafted: self.price };
        let fewest = Outdated::Fewest { now: now.minimum_packs };
        let changed = [
            (now.pack != self.pack, pack),
            (now.price != self.price, price),
            (now.minimum_packs > self.packs, fewest),
        ];
        changed.into_iter().filter(|(changed, _)| *changed).map(|(_, outdated)| outdated).collect()
    }
}

/// What an order lacks to what its supplier delivers at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{missing} are missing to the supplier's least order of {least}, freight not counted")]
pub struct ShortOfLeast {
    /// What is missing.
    pub missing: Money,
    /// The least.
    pub least: Money,
}

/// What has changed of an offer since an order on it was drafted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Outdated {
    /// It is no longer made.
    #[error("is no longer offered")]
    Gone,
    /// Another price.
    #[error("costs {now} a pack now, and {drafted} when it was drafted")]
    Price {
        /// As it is now.
        now: Money,
        /// As the order says.
        drafted: Money,
    },
    /// More packs at least.
    #[error("is sold from {now} packs on now")]
    Fewest {
        /// As it is now.
        now: u32,
    },
    /// Another pack.
    #[error("comes in packs of {now} now, and of {drafted} when it was drafted, mL or g")]
    Pack {
        /// As it is now.
        now: Amount,
        /// As the order says.
        drafted: Amount,
    },
}
