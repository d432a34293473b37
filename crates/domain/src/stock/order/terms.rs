//! What of an order's terms is to be asked about before it is placed or confirmed.

use chrono::NaiveDate;

use super::{Order, OrderLine};
use crate::stock::{Offer, Supplier};
use crate::{Amount, Id, Money};

/// So many times the packs that were ordered look like a digit more (our own judgement).
const MANY_TIMES: u64 = 3;

/// Nothing that a grower orders is expected so many days later (our own judgement).
const FAR_DAYS: i64 = 183;

impl Order {
    /// What of a confirmation looks mis-keyed: packs as of a digit more, or a day far off.
    pub fn doubts_of_confirmation(
        &self,
        expected_on: Option<NaiveDate>,
        packs: &[(Id<Offer>, u32)],
    ) -> Vec<String> {
        let far = packs.iter().filter_map(|(offer, packs)| {
            let ordered = self.lines.iter().find(|line| line.offer == *offer)?.packs;
            (u64::from(*packs) > MANY_TIMES * u64::from(ordered.max(1)))
                .then(|| format!("{packs} packs are confirmed of {ordered} that the order says"))
        });
        let late = expected_on
            .zip(self.state.placed_on())
            .filter(|(on, placed_on)| (*on - *placed_on).num_days() > FAR_DAYS);
        let late = late.map(|(on, placed_on)| {
            format!("{on} is more than half a year after {placed_on}, when it was placed")
        });
        far.chain(late).collect()
    }

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
