//! How long a supplier takes: the promise first, what was seen more and more, and what was seen lately most.

use chrono::NaiveDate;
use fillmark_domain::OpenDays;

use super::answer::LeadTime;
use super::lead_belief::Belief;
use super::question::{Question, SupplierAsked};

/// Of the past, so many orders are learnt from: what came before says little of today's supplier.
const MOST_ORDERS: usize = 100;

/// Days back from a delivery on which somebody must have been there; a longer closure is no wait for the supplier.
const LONGEST_CLOSURE_DAYS: usize = 14;

/// Chances below this are left to the neighbouring day.
const LEAST_CHANCE: f64 = 1e-7;

/// The lead time of a supplier as a distribution.
#[derive(Debug, Clone)]
pub(super) struct LeadOdds {
    /// Days and their chances, before anybody must be there to take the delivery in.
    by_days: Vec<(i64, f64)>,
    orders: usize,
    promised_days: u16,
}

impl LeadOdds {
    /// From the promise, the orders that arrived and those that are waited for.
    pub(super) fn learn(supplier: &SupplierAsked, open: &OpenDays, today: NaiveDate) -> LeadOdds {
        let mut belief = Belief::promised(supplier.promised_lead_days);
        let arrived = supplier.past_orders.iter().map(|order| (order.placed_on, Some(order.arrived_on)));
        let waiting = supplier.waited_for.iter().map(|placed_on| (*placed_on, None));
        let mut orders: Vec<_> =
            arrived.chain(waiting).filter(|(placed_on, _)| *placed_on <= today).collect();
        orders.sort_unstable();
        let mut last = orders.first().map_or(today, |(placed_on, _)| *placed_on);
        for (placed_on, arrived_on) in orders.iter().skip(orders.len().saturating_sub(MOST_ORDERS)) {
            belief.pass((*placed_on - last).num_days());
            last = *placed_on;
            let seen = |date: NaiveDate| (date - *placed_on).num_days();
            // It may have stood before a closed door.
            let open_before = |date: NaiveDate| seen(last_open_before(open, date)).max(-1);
            match arrived_on {
                Some(on) => belief.took(open_before(*on) + 1, seen(*on)),
                None => belief.waits(open_before(today)),
            }
        }
        belief.pass((today - last).num_days());
        LeadOdds {
            by_days: likely(&belief.odds()),
            orders: supplier.past_orders.len(),
            promised_days: supplier.promised_lead_days,
        }
    }

    /// The promise, and mean and spread of what is believed.
    pub(super) fn answer(&self) -> LeadTime {
        let mean_days: f64 = self.by_days.iter().map(|(days, chance)| chance * *days as f64).sum();
        let variance: f64 =
            self.by_days.iter().map(|(days, chance)| chance * (*days as f64 - mean_days).powi(2)).sum();
        let promised_days = self.promised_days;
        LeadTime { promised_days, mean_days, sd_days: variance.sqrt(), orders: self.orders }
    }

    /// The days within which an order comes with a chance.
    pub(super) fn within(&self, chance: f64) -> i64 {
        let mut until = 0.0;
        let found = self.by_days.iter().find(|(_, of_day)| {
            until += of_day;
            until >= chance
        });
        found.or(self.by_days.last()).map_or(0, |(days, _)| *days)
    }

    /// The days beyond a number of them, with the chance of each.
    pub(super) fn longer_than(&self, days: i64) -> Vec<(i64, f64)> {
        self.by_days.iter().copied().filter(|(lasts, _)| *lasts > days).collect()
    }

    /// Days from today on which an order placed on a day arrives, each with its chance: whole days, moved to
    /// the next day on which somebody is there to take it in.
    pub(super) fn arrivals(&self, question: &Question, ordered_on: i64) -> Vec<(i64, f64)> {
        let mut arrivals: Vec<(i64, f64)> = Vec::with_capacity(self.by_days.len());
        for (days, chance) in &self.by_days {
            let day = ordered_on + days;
            match arrivals.last_mut().filter(|(open, _)| *open >= day) {
                Some((_, sum)) => *sum += chance,
                None => {
                    let date = question.date(day);
                    let open = question.open.on_or_after(date).unwrap_or(date);
                    arrivals.push((question.offset(open), *chance));
                }
            }
        }
        arrivals
    }
}

/// The last day before one on which somebody was there to take a delivery in.
pub(super) fn last_open_before(open: &OpenDays, date: NaiveDate) -> NaiveDate {
    let mut before = date.iter_days().rev().skip(1);
    let first = date.pred_opt().unwrap_or(date);
    before.by_ref().take(LONGEST_CLOSURE_DAYS).find(|day| open.has(*day)).unwrap_or(first)
}

/// The days that are worth a look; what is left out falls to the one before it.
fn likely(odds: &[f64]) -> Vec<(i64, f64)> {
    let mut likely: Vec<(i64, f64)> = Vec::new();
    for (days, chance) in (0..).zip(odds) {
        match likely.last_mut().filter(|_| *chance < LEAST_CHANCE) {
            Some((_, sum)) => *sum += chance,
            None if *chance < LEAST_CHANCE => {}
            None => likely.push((days, *chance)),
        }
    }
    likely
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{Days, Weekday};
    use fillmark_domain::{Currency, Id, Week};

    use crate::supply::PastOrder;

    /// A Monday.
    fn first_day() -> NaiveDate {
        "2031-01-06".parse().unwrap()
    }

    /// A supplier of whom an order was placed each week, and took so many days; the last ones may still be waited for.
    fn supplier(promised: u16, took: &[u64]) -> (SupplierAsked, NaiveDate) {
        let placed_on = |week: usize| first_day() + Days::new(7 * week as u64);
        let today = placed_on(took.len());
        let orders: Vec<PastOrder> = took
            .iter()
            .enumerate()
            .map(|(week, days)| PastOrder {
                placed_on: placed_on(week),
                arrived_on: placed_on(week) + Days::new(*days),
            })
            .collect();
        let (past_orders, waited_for): (Vec<_>, Vec<_>) =
            orders.into_iter().partition(|order| order.arrived_on <= today);
        let asked = SupplierAsked {
            supplier: Id::new(Default::default()),
            order_days: Week::EVERY_DAY,
            orders_from: today,
            promised_lead_days: promised,
            minimum_order_minor: 0,
            freight_minor: 0,
            currency: Currency::from_code("EUR").unwrap(),
            past_orders,
            waited_for: waited_for.iter().map(|order| order.placed_on).collect(),
        };
        (asked, today)
    }

    #[track_caller]
    fn check(
        promised: u16,
        took: &[u64],
        mean: std::ops::RangeInclusive<f64>,
        sd: std::ops::RangeInclusive<f64>,
    ) {
        check_open(&OpenDays::EVERY_DAY, promised, took, mean, sd);
    }

    #[track_caller]
    fn check_open(
        open: &OpenDays,
        promised: u16,
        took: &[u64],
        mean: std::ops::RangeInclusive<f64>,
        sd: std::ops::RangeInclusive<f64>,
    ) {
        let (supplier, today) = supplier(promised, took);
        let got = LeadOdds::learn(&supplier, open, today).answer();
        assert!(mean.contains(&got.mean_days) && sd.contains(&got.sd_days), "{got:?}");
        assert_eq!(got.orders, supplier.past_orders.len());
    }

    #[test]
    fn the_promise_is_believed_until_orders_tell_otherwise() {
        check(7, &[], 7.0..=7.8, 2.4..=4.0);
        check(7, &[14; 30], 13.5..=14.5, 0.5..=2.0);
        check(7, &[7; 30], 6.9..=7.3, 0.3..=1.2);
    }

    #[test]
    fn a_supplier_who_varies_has_a_wider_spread() {
        check(7, &[3, 14, 4, 12, 5, 20, 3, 15], 7.0..=12.0, 4.0..=9.0);
    }

    #[test]
    fn a_supplier_who_takes_twice_as_long_is_noticed_within_four_orders() {
        let took = |late: &[u64]| [&[7, 6, 8, 7, 9, 6, 7, 8, 6, 7, 8, 7][..], late].concat();
        check(7, &took(&[]), 6.8..=7.6, 0.8..=2.0);
        check(7, &took(&[14, 15, 13, 14]), 11.5..=15.0, 1.0..=6.0);
    }

    #[test]
    fn an_order_that_does_not_come_tells_of_a_longer_time() {
        check(7, &[7, 6, 8, 7, 9, 6, 7, 8, 99, 99, 99, 99], 12.0..=40.0, 2.0..=20.0);
    }

    #[test]
    fn one_order_that_nobody_cancelled_makes_no_supplier_slow() {
        let took = [&[99][..], &[7; 20]].concat();
        check(7, &took, 6.9..=7.5, 0.3..=1.5);
    }

    #[test]
    fn what_stood_before_a_closed_door_over_the_weekend_did_not_take_so_long() {
        let open = |days: &[Weekday]| OpenDays { week: Week::of(days.iter().copied()), closures: Vec::new() };
        let weekdays = [Weekday::Mon, Weekday::Tue, Weekday::Wed, Weekday::Thu, Weekday::Fri];
        // All came on a Monday: on Saturday, Sunday or that day.
        check_open(&open(&weekdays), 6, &[7; 30], 5.5..=6.6, 0.3..=1.5);
    }
}
