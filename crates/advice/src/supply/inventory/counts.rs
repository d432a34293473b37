//! Levels for use that is no normal distribution: whole packs now and then, and use that cannot be below nought.

use std::convert::Infallible;

use statrs::distribution::{ContinuousCDF, DiscreteCDF, Gamma, NegativeBinomial, Poisson};

use crate::root;
use crate::supply::inventory::Use;

/// Doublings in which a level is looked for; beyond there is no stock-keeping by the piece.
const DOUBLINGS: u32 = 40;

/// Beyond this many spreads a gamma distribution has no chance left that a service level could ask for.
const MOST_SPREADS: f64 = 1e6;

/// The least whole level that keeps a service level, and the one it has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountLevel {
    /// The level: whole pieces.
    pub level: u64,
    /// Chance that it is not used up.
    pub service_level: f64,
}

/// The level for pieces that are used one by one, so many over the lead time in the mean. None for a service level that is not
/// between 0 and 1, or a mean below nought.
pub fn poisson_level(mean: f64, service_level: f64) -> Option<CountLevel> {
    if mean == 0.0 {
        return least(service_level, |_| 1.0);
    }
    let distribution = Poisson::new(mean).ok()?;
    least(service_level, |level| distribution.cdf(level))
}

/// The level for pieces whose use over the lead time spreads more than one by one: negative binomial with this mean and
/// variance, and Poisson where the variance is no more than the mean, which is its limit.
pub fn negative_binomial_level(mean: f64, variance: f64, service_level: f64) -> Option<CountLevel> {
    if variance <= mean {
        return poisson_level(mean, service_level);
    }
    let chance = mean / variance;
    let distribution = NegativeBinomial::new(mean * chance / (1.0 - chance), chance).ok()?;
    least(service_level, |level| distribution.cdf(level))
}

/// The level for use that is skewed and never below nought: gamma with this mean and spread. None for a service level that is not
/// between 0 and 1, or without spread.
pub fn gamma_level(used: Use, service_level: f64) -> Option<f64> {
    if !(0.0 < service_level && service_level < 1.0) {
        return None;
    }
    let distribution = gamma(used, 0.0)?;
    let lacking = |level: f64| Ok::<f64, Infallible>(service_level - distribution.cdf(level));
    let Ok(found) = root::falling_from_nought(lacking, used.mean + MOST_SPREADS * used.sd);
    found
}

/// What such a use exceeds a level by in the mean: for shape a and scale b, a·b·P(X' > s) − s·P(X > s), with X' of shape a + 1.
pub fn gamma_loss(used: Use, level: f64) -> Option<f64> {
    let level = level.max(0.0);
    let (with, without) = (gamma(used, 1.0)?, gamma(used, 0.0)?);
    Some((used.mean * with.sf(level) - level * without.sf(level)).max(0.0))
}

/// Gamma with this mean and spread, its shape raised.
fn gamma(used: Use, more_shape: f64) -> Option<Gamma> {
    let shape = (used.mean / used.sd).powi(2);
    Gamma::new(shape + more_shape, used.mean / used.sd.powi(2)).ok()
}

fn least(service_level: f64, chance_up_to: impl Fn(u64) -> f64) -> Option<CountLevel> {
    if !(0.0 < service_level && service_level < 1.0) {
        return None;
    }
    let enough = |level: u64| chance_up_to(level) >= service_level;
    let mut high = (0..DOUBLINGS).map(|doubled| (1_u64 << doubled) - 1).find(|level| enough(*level))?;
    let mut low = high / 2;
    // Low is not enough, or is high itself where that is nought.
    while low < high && high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle) { high = middle } else { low = middle }
    }
    Some(CountLevel { level: high, service_level: chance_up_to(high) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{Case, INVENTORY, cases};
    use proptest::prelude::*;

    fn used(case: &Case) -> Use {
        Use { mean: case.number("mean"), sd: case.number("sd") }
    }

    #[test]
    fn levels_of_pieces_agree_with_libraries() {
        for case in cases(INVENTORY, "rop_poisson") {
            let mean = case.number("rate_per_period") * case.number("lead");
            let found = poisson_level(mean, case.number("csl")).unwrap();
            case.close("reorder_point", found.level as f64);
            case.close("csl_achieved", found.service_level);
        }
    }

    #[track_caller]
    fn check_negative_binomial(mean: f64, variance: f64, service_level: f64, level: u64, achieved: f64) {
        let found = negative_binomial_level(mean, variance, service_level).unwrap();
        assert_eq!(found.level, level);
        assert!((found.service_level - achieved).abs() < 1e-12, "{found:?}");
    }

    #[test]
    fn levels_of_pieces_that_come_in_bunches_agree_with_the_geometric_distribution() {
        // Mean m with variance m·(1 + m) is geometric: P(X ≤ s) = 1 − (m/(1 + m))^(s + 1), worked by hand.
        check_negative_binomial(1.0, 2.0, 0.95, 4, 1.0 - 0.5_f64.powi(5));
        check_negative_binomial(3.0, 12.0, 0.9, 8, 1.0 - 0.75_f64.powi(9));
        check_negative_binomial(1.0, 2.0, 0.4, 0, 0.5);
    }

    #[test]
    fn levels_of_skewed_use_agree_with_libraries() {
        for case in cases(INVENTORY, "rop_gamma") {
            case.close("reorder_point", gamma_level(used(&case), case.number("csl")).unwrap());
        }
        for case in cases(INVENTORY, "loss_gamma") {
            case.close("loss", gamma_loss(used(&case), case.number("s")).unwrap());
        }
    }

    #[test]
    fn what_is_not_used_needs_no_level_and_certainty_has_none() {
        assert_eq!(poisson_level(0.0, 0.95), Some(CountLevel { level: 0, service_level: 1.0 }));
        assert_eq!(poisson_level(4.0, 1.0), None);
        assert_eq!(gamma_level(Use { mean: 4.0, sd: 1.0 }, 1.0), None);
        assert_eq!(gamma_level(Use { mean: 4.0, sd: 0.0 }, 0.9), None);
    }

    proptest! {
        #[test]
        fn a_level_keeps_its_promise_and_one_less_does_not(
            mean in 0.01_f64..200.0, more in 0.01_f64..5.0, promise in 0.5_f64..0.999,
        ) {
            let found = negative_binomial_level(mean, mean * (1.0 + more), promise).unwrap();
            prop_assert!(found.service_level >= promise);
            let chance = 1.0 / (1.0 + more);
            let distribution = NegativeBinomial::new(mean / more, chance).unwrap();
            prop_assert!(found.level == 0 || distribution.cdf(found.level - 1) < promise + 1e-12);
        }
    }
}
