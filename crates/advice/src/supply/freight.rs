//! How much further an order is worth its freight.

use super::answer::{Gains, Purchase, Raised};
use super::inventory::{Joint, JointItem};
use super::order_by::Outlook;
use super::orders::{raised, used_in_a_week};
use super::pack_choice::{HOLDING_A_YEAR, holding};
use super::question::Question;

/// Nothing is ordered earlier than so many days before its own day to save a freight (our own judgement): the plan may change.
pub(super) const EARLIEST_DAYS: i64 = 28;

const WEEKS_OF_YEAR: f64 = 365.25 / 7.0;

/// All that goes in an order of one supplier.
pub(super) struct WholeOrder<'a> {
    pub(super) question: &'a Question,
    pub(super) outlooks: &'a [Outlook<'a>],
    pub(super) freight_minor: i64,
    /// Each purchase by its place.
    pub(super) bought: Vec<(usize, Purchase)>,
}

impl WholeOrder<'_> {
    /// The order with some weeks' use more of all that is in it, where that costs less than the freights it saves: as many as the
    /// best distance of joint orders tells, none beyond the next order of the supplier, if one comes so many days later anyway,
    /// and none with which a product of it would expire: an order of its own would soon follow.
    pub(super) fn larger(&self, until_next_days: Option<i64>) -> Option<Vec<(usize, Purchase)>> {
        let review_weeks = f64::from(self.question.review_days.max(1)) / 7.0;
        let until_next = until_next_days.map_or(f64::INFINITY, |days| days as f64 / 7.0);
        let most = self.best_weeks().min(until_next) - review_weeks;
        let most = (most.max(0.0) as i64).min(EARLIEST_DAYS / 7);
        let (weeks, larger) = (1..=most).rev().find_map(|weeks| Some((weeks, self.with(weeks)?)))?;
        let held_anyway = (1..=weeks).take_while(|weeks| self.with(*weeks).as_ref() == Some(&self.bought));
        let as_it_is = review_weeks + held_anyway.count() as f64;
        let gains = self.gains(as_it_is, review_weeks + weeks as f64);
        let tell = |((_, before), (place, more)): (&(usize, Purchase), (usize, Purchase))| {
            let without = before.raised.map_or(before.amount, |raised| raised.without);
            let raised = (more.amount > before.amount).then_some(Raised { without, weeks, gains });
            (place, Purchase { raised: raised.or(before.raised), ..more })
        };
        Some(self.bought.iter().zip(larger).map(tell).collect())
    }

    /// Each with so many weeks' use more, in whole packs; none where one of them would expire first.
    fn with(&self, weeks: i64) -> Option<Vec<(usize, Purchase)>> {
        let more = |(place, purchase): &(usize, Purchase)| {
            let more = raised(self.question, &self.outlooks[*place], purchase, weeks)?;
            Some((*place, if more.amount > purchase.amount { more } else { purchase.clone() }))
        };
        self.bought.iter().map(more).collect()
    }

    /// Weeks from one order to the next at which freight and holding cost the least together.
    fn best_weeks(&self) -> f64 {
        let all = JointItem { value_per_year: self.used_a_week_minor() * WEEKS_OF_YEAR, line_cost: 0.0 };
        let order_cost = self.freight_minor as f64;
        Joint { order_cost, holding_share: HOLDING_A_YEAR, items: vec![all] }.plan(&[]).cycle_years
            * WEEKS_OF_YEAR
    }

    /// Price of a week's use of all, minor units.
    fn used_a_week_minor(&self) -> f64 {
        let used = |(place, purchase): &(usize, Purchase)| {
            let price = purchase.cost.minor as f64 / purchase.amount.base_units();
            price * used_in_a_week(self.question, &self.outlooks[*place], purchase)
        };
        self.bought.iter().map(used).sum()
    }

    /// Until the next order comes, so many weeks later instead of so many: the freights of those between, and what is held longer.
    fn gains(&self, earlier: f64, later: f64) -> Gains {
        let held_minor = self.used_a_week_minor() * later / 2.0;
        Gains::Freight {
            saved_minor: (self.freight_minor as f64 * (later / earlier - 1.0)).round() as i64,
            holding_minor: (held_minor * holding((later - earlier) * 7.0)).ceil() as i64,
        }
    }
}
