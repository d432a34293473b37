//! How long a supplier takes: the promise first, what was seen more and more.

use super::answer::LeadTime;
use super::normal::chance_up_to;
use super::question::{Question, SupplierAsked};

/// The promise counts as much as so many orders seen.
const PROMISE_WEIGHT: f64 = 3.0;

/// Spread of the logarithm of lead times before it was seen: one delivery in six takes 40 % longer than promised.
/// Lead times are skewed to the right, which the logarithm takes out.
const PRIOR_LOG_SD: f64 = 0.35;

/// Nothing takes longer than this many days and still comes.
const LONGEST_DAYS: i64 = 120;

/// The lead time of a supplier as a distribution.
#[derive(Debug, Clone, Copy)]
pub(super) struct LeadOdds {
    log_mean: f64,
    log_sd: f64,
    orders: usize,
}

impl LeadOdds {
    /// From the promise and the orders that arrived. A delivery on the day of the order counts half a day.
    pub(super) fn learn(supplier: &SupplierAsked) -> LeadOdds {
        let log = |days: f64| days.max(0.5).ln();
        let seen: Vec<f64> = supplier
            .past_orders
            .iter()
            .map(|order| log((order.arrived_on - order.placed_on).num_days() as f64))
            .collect();
        let count = seen.len() as f64;
        let promise = log(f64::from(supplier.promised_lead_days));
        let log_mean = (PROMISE_WEIGHT * promise + seen.iter().sum::<f64>()) / (PROMISE_WEIGHT + count);
        let squares: f64 = seen.iter().map(|days| (days - log_mean).powi(2)).sum();
        let log_variance = (PROMISE_WEIGHT * PRIOR_LOG_SD.powi(2) + squares) / (PROMISE_WEIGHT + count);
        LeadOdds { log_mean, log_sd: log_variance.sqrt(), orders: seen.len() }
    }

    /// Mean and spread of the log-normal distribution.
    pub(super) fn answer(&self) -> LeadTime {
        let variance = self.log_sd.powi(2);
        let mean_days = (self.log_mean + variance / 2.0).exp();
        LeadTime { mean_days, sd_days: mean_days * (variance.exp() - 1.0).sqrt(), orders: self.orders }
    }

    /// Days from today on which an order placed on a day arrives, each with its chance: whole days, moved to
    /// the next day on which somebody is there to take it in.
    pub(super) fn arrivals(&self, question: &Question, ordered_on: i64) -> Vec<(i64, f64)> {
        let up_to = |days: i64| chance_up_to(((days as f64 + 0.5).ln() - self.log_mean) / self.log_sd);
        let mut below = 0.0;
        let mut arrivals = Vec::new();
        for days in 0..=LONGEST_DAYS {
            let until = if days == LONGEST_DAYS { 1.0 } else { up_to(days) };
            if until - below > 1e-9 {
                let date = question.date(ordered_on + days);
                let open = question.open.on_or_after(date).unwrap_or(date);
                arrivals.push((question.offset(open), until - below));
            }
            below = until;
        }
        arrivals
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{Days, NaiveDate};
    use fillmark_domain::{Currency, Id, Week};

    use crate::supply::PastOrder;

    #[track_caller]
    fn check(
        promised: u16,
        seen_days: &[u64],
        mean: std::ops::RangeInclusive<f64>,
        sd: std::ops::RangeInclusive<f64>,
    ) {
        let placed_on: NaiveDate = "2031-01-06".parse().unwrap();
        let past_orders = seen_days
            .iter()
            .map(|days| PastOrder { placed_on, arrived_on: placed_on + Days::new(*days) })
            .collect();
        let got = LeadOdds::learn(&SupplierAsked {
            supplier: Id::new(Default::default()),
            order_days: Week::EVERY_DAY,
            orders_from: placed_on,
            promised_lead_days: promised,
            minimum_order_minor: 0,
            freight_minor: 0,
            currency: Currency::from_code("EUR").unwrap(),
            past_orders,
        })
        .answer();
        assert!(mean.contains(&got.mean_days) && sd.contains(&got.sd_days), "{got:?}");
        assert_eq!(got.orders, seen_days.len());
    }

    #[test]
    fn the_promise_is_believed_until_orders_tell_otherwise() {
        check(7, &[], 7.0..=7.6, 2.4..=2.9);
        check(7, &[14; 30], 13.0..=14.0, 1.0..=4.0);
        check(7, &[7; 30], 6.9..=7.3, 0.5..=1.0);
    }

    #[test]
    fn a_supplier_who_varies_has_a_wider_spread() {
        check(7, &[3, 14, 4, 12, 5, 20, 3, 15], 7.0..=12.0, 5.0..=9.0);
    }
}
