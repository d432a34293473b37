//! What is believed of a supplier: which median and spread his lead times may have, each with its weight. A grid, since it takes
//! in what a formula does not: deliveries that came over a weekend, orders still waited for, and a supplier who has changed.

use std::collections::BTreeMap;

use super::normal::chance_up_to;

/// Nothing takes longer than this many days and still comes.
pub(super) const LONGEST_DAYS: i64 = 120;

/// Spread of the logarithm of the median about the promise: as sure as three orders would make it. Our own judgement.
const PROMISE_LOG_SD: f64 = 0.2;

/// The same after a supplier has changed: half or twice as long is nothing unusual then. Our own judgement.
const CHANGED_LOG_SD: f64 = 0.5;

/// A supplier changes how long he takes once in so many days, in the mean: our own judgement. Over 16 simulated sites whose supplier
/// took twice as long from the middle on, 17.4, 11.3, 6.1 and 3.6 % of the weeks ran out at levels of .90, .95, .98 and .99 (by a mean
/// over all orders about 27, 19, 12 and 7 %); seldomer changes are noticed later, and more often than every 120 days costs stock.
const CHANGES_EVERY_DAYS: f64 = 250.0;

/// Of a longer time between two orders so many days count: who orders seldom would otherwise never learn. Our own judgement.
const MOST_PASSED_DAYS: i64 = 14;

/// Medians that are thought of: the logarithm of their share of the promise, from a third to six times, in steps of eight percent.
const MEDIAN_STEPS: std::ops::RangeInclusive<i32> = -14..=22;
const MEDIAN_STEP: f64 = 0.08;

/// Spreads of the logarithm that are thought of. Lead times are skewed to the right, which the logarithm takes out.
const LOG_SDS: [f64; 9] = [0.06, 0.1, 0.15, 0.2, 0.27, 0.35, 0.45, 0.6, 0.8];

/// The spread that is likeliest before any is seen (one delivery in six takes 40 % longer than promised), and how sure that is, as a
/// spread of its own logarithm; our own judgement.
const USUAL_LOG_SD: f64 = 0.35;
const USUAL_SURE: f64 = 0.35;

/// One record in so many tells nothing: an order nobody cancelled, a receipt entered for another day. Our own judgement.
pub(super) const SLIPS: f64 = 0.01;

/// A kind of supplier with less weight is not counted.
const LEAST_WEIGHT: f64 = 1e-6;

/// A belief.
pub(super) struct Belief {
    kinds: Vec<Kind>,
    weights: Vec<f64>,
    after_change: Vec<f64>,
    /// For numbers of days, the chance of each kind to take no longer.
    up_to: BTreeMap<i64, Vec<f64>>,
}

struct Kind {
    log_median: f64,
    log_sd: f64,
}

impl Belief {
    /// By the promise alone. A delivery on the day of the order counts half a day.
    pub(super) fn promised(days: u16) -> Belief {
        let promise = f64::from(days).max(0.5).ln();
        let mut belief = Belief {
            kinds: Vec::new(),
            weights: Vec::new(),
            after_change: Vec::new(),
            up_to: BTreeMap::new(),
        };
        for step in MEDIAN_STEPS {
            let off = f64::from(step) * MEDIAN_STEP;
            for log_sd in LOG_SDS {
                let usual = bell((log_sd / USUAL_LOG_SD).ln() / USUAL_SURE);
                belief.kinds.push(Kind { log_median: promise + off, log_sd });
                belief.weights.push(usual * bell(off / PROMISE_LOG_SD));
                belief.after_change.push(usual * bell(off / CHANGED_LOG_SD));
            }
        }
        share(&mut belief.weights);
        share(&mut belief.after_change);
        belief
    }

    /// So many days pass, in which he may have changed.
    pub(super) fn pass(&mut self, days: i64) {
        let changed = 1.0 - (-days.clamp(0, MOST_PASSED_DAYS) as f64 / CHANGES_EVERY_DAYS).exp();
        for (weight, after) in self.weights.iter_mut().zip(&self.after_change) {
            *weight += changed * (after - *weight);
        }
    }

    /// An order took between so many days and so many.
    pub(super) fn took(&mut self, least: i64, most: i64) {
        let (before, until) = (self.chances(least - 1), self.chances(most));
        let of_slip = (most - least + 1) as f64 / LONGEST_DAYS as f64;
        self.weigh(before.iter().zip(&until).map(|(before, until)| until - before), of_slip);
    }

    /// An order has not come in so many days.
    pub(super) fn waits(&mut self, days: i64) {
        let until = self.chances(days);
        self.weigh(until.iter().map(|until| 1.0 - until), 1.0);
    }

    fn weigh(&mut self, chances: impl Iterator<Item = f64>, of_slip: f64) {
        for (weight, chance) in self.weights.iter_mut().zip(chances) {
            *weight *= SLIPS * of_slip + (1.0 - SLIPS) * chance;
        }
        share(&mut self.weights);
    }

    /// Of each kind, the chance to take at most so many whole days.
    fn chances(&mut self, days: i64) -> Vec<f64> {
        let kinds = &self.kinds;
        let until = || kinds.iter().map(|kind| kind.up_to(days)).collect();
        self.up_to.entry(days).or_insert_with(until).clone()
    }

    /// The chance of each number of days from the day of the order on; what takes longest takes [`LONGEST_DAYS`].
    pub(super) fn odds(&self) -> Vec<f64> {
        let counted: Vec<(&Kind, f64)> = self
            .kinds
            .iter()
            .zip(self.weights.iter().copied())
            .filter(|(_, weight)| *weight > LEAST_WEIGHT)
            .collect();
        let total: f64 = counted.iter().map(|(_, weight)| weight).sum();
        let up_to = |days: i64| -> f64 {
            counted.iter().map(|(kind, weight)| weight * kind.up_to(days)).sum::<f64>() / total
        };
        let mut below = 0.0;
        let each = |days: i64| {
            let until = if days == LONGEST_DAYS { 1.0 } else { up_to(days) };
            let chance = until - below;
            below = until;
            chance
        };
        (0..=LONGEST_DAYS).map(each).collect()
    }
}

impl Kind {
    fn up_to(&self, days: i64) -> f64 {
        if days < 0 {
            return 0.0;
        }
        chance_up_to(((days as f64 + 0.5).ln() - self.log_median) / self.log_sd)
    }
}

fn bell(off: f64) -> f64 {
    (-0.5 * off * off).exp()
}

/// Makes weights add up to one; at least one of them is above nought, since a slip is always possible.
fn share(weights: &mut [f64]) {
    let total: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|weight| *weight /= total);
}
