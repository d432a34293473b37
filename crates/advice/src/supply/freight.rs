//! How much larger an order is worth its freight.

use fillmark_domain::Amount;

use super::answer::{Gains, Purchase, Raised};
use super::order_by::Outlook;
use super::orders::{covered_until, held_until, raised};
use super::pack_choice::holding;
use super::question::Question;

/// Nothing is ordered earlier than so many days before its own day to save a freight (our own judgement): the plan may change.
pub(super) const EARLIEST_DAYS: i64 = 28;

/// All that goes in an order of one supplier.
pub(super) struct WholeOrder<'a> {
    pub(super) question: &'a Question,
    pub(super) outlooks: &'a [Outlook<'a>],
    pub(super) freight_minor: i64,
    /// The day of the order.
    pub(super) ordered_on: i64,
    /// The day on which the supplier's next order is due anyway, if one is.
    pub(super) next_on: Option<i64>,
    /// Each purchase by its place.
    pub(super) bought: Vec<(usize, Purchase)>,
}

/// The order with some weeks' use more.
struct Larger {
    bought: Vec<(usize, Purchase)>,
    weeks: i64,
    /// Days until the next order.
    lasts_days: f64,
    saved_minor: f64,
    holding_minor: f64,
}

impl WholeOrder<'_> {
    /// The order with some weeks' use more of all that is in it, where that saves more freight than holding it costs: as many as cost
    /// the least a day, and none with which a product of it would expire, since an order of its own would soon follow.
    pub(super) fn larger(&self) -> Option<Vec<(usize, Purchase)>> {
        let (lasts_days, steps_days) = (self.lasts(&self.bought)?, self.orders_apart());
        let each = (1..=EARLIEST_DAYS / 7).filter_map(|weeks| self.with(weeks, lasts_days, steps_days));
        let a_day = |larger: &Larger| (self.freight_minor as f64 + larger.holding_minor) / larger.lasts_days;
        let worthwhile = each.filter(|larger| larger.holding_minor < larger.saved_minor);
        let best = worthwhile.min_by(|one, other| a_day(one).total_cmp(&a_day(other)))?;
        let gains = Gains::Freight {
            saved_minor: best.saved_minor.round() as i64,
            holding_minor: best.holding_minor.ceil() as i64,
        };
        let weeks = best.weeks;
        let tell = |((_, before), (place, more)): (&(usize, Purchase), (usize, Purchase))| {
            let without = before.raised.map_or(before.amount, |raised| raised.without);
            let raised = (more.amount > before.amount).then_some(Raised { without, weeks, gains });
            (place, Purchase { raised: raised.or(before.raised), ..more })
        };
        Some(self.bought.iter().zip(best.bought).map(tell).collect())
    }

    /// With so many weeks' use more, in whole packs; none where one product would expire first, or the next order comes no later for it.
    fn with(&self, weeks: i64, lasts_days: f64, steps_days: f64) -> Option<Larger> {
        let more = |(place, purchase): &(usize, Purchase)| {
            let until = self.covered_until(purchase) + 7 * weeks;
            let more = raised(self.question, &self.outlooks[*place], purchase, until)?;
            Some((*place, if more.amount > purchase.amount { more } else { purchase.clone() }))
        };
        let bought: Vec<(usize, Purchase)> = self.bought.iter().map(more).collect::<Option<_>>()?;
        let later_days = self.lasts(&bought)?;
        let cost = |bought: &[(usize, Purchase)]| bought.iter().map(|(_, one)| one.cost.minor).sum::<i64>();
        let more_minor = (cost(&bought) - cost(&self.bought)) as f64;
        // What is bought now would have been bought at the orders between.
        let early_days = f64::midpoint(lasts_days, later_days);
        // Whole days are counted, so that a day may be cut off.
        let orders_saved = ((later_days - lasts_days + 1.0) / steps_days).floor();
        (later_days > lasts_days).then_some(Larger {
            bought,
            weeks,
            lasts_days: later_days,
            saved_minor: self.freight_minor as f64 * orders_saved,
            holding_minor: more_minor * holding(early_days),
        })
    }

    /// The day until which the order covers a product at least, whichever day it would be ordered on by itself.
    fn covered_until(&self, purchase: &Purchase) -> i64 {
        covered_until(self.question, purchase, self.ordered_on)
    }

    /// Days until the next order of the supplier, for what runs short first or anyway.
    fn lasts(&self, bought: &[(usize, Purchase)]) -> Option<f64> {
        let covers = |(place, purchase): &(usize, Purchase)| {
            let until = held_until(self.question, &self.outlooks[*place], purchase);
            until - self.covered_until(purchase) + i64::from(self.question.review_days.max(1))
        };
        let shortest = bought.iter().map(covers).min()?;
        let anyway = self.next_on.map_or(i64::MAX, |next_on| next_on - self.ordered_on);
        Some(shortest.min(anyway) as f64)
    }

    /// Days between orders that hold as little as they can: the review's, or as long as the smallest packs of some product last.
    fn orders_apart(&self) -> f64 {
        let lasts = |(place, purchase): &(usize, Purchase)| {
            let outlook = &self.outlooks[*place];
            let offers = outlook.product.offers.iter().filter(|offer| offer.supplier == purchase.supplier);
            let least = |pack: Amount, packs: u32| pack.base_units() * f64::from(packs.max(1));
            let smallest = offers.map(|offer| least(offer.pack, offer.minimum_packs));
            let from = self.covered_until(purchase);
            let used = outlook.use_until(from + EARLIEST_DAYS).0 - outlook.use_until(from).0;
            smallest.fold(f64::INFINITY, f64::min) * EARLIEST_DAYS as f64 / used.max(1e-9)
        };
        let shortest = self.bought.iter().map(lasts).fold(f64::INFINITY, f64::min);
        shortest.max(f64::from(self.question.review_days.max(1)))
    }
}
