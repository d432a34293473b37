//! The normal distribution, of which the sums of many small uses are nearly.

use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::erf::erfc;

/// Chance of a standard normal value up to this.
pub(super) fn chance_up_to(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// Chance that a value with this mean and spread is at most a limit. Without spread it is certain either way.
pub(super) fn chance_at_most(limit: f64, mean: f64, sd: f64) -> f64 {
    if sd <= 1e-9 {
        return if mean <= limit + 1e-9 { 1.0 } else { 0.0 };
    }
    chance_up_to((limit - mean) / sd)
}

/// The standard normal value that is not exceeded with this chance (between 0 and 1, held off the ends,
/// where it is infinite).
pub(super) fn quantile(chance: f64) -> f64 {
    Normal::standard().inverse_cdf(chance.clamp(1e-6, 1.0 - 1e-6))
}

/// Far from the answer Newton's steps are about 1/k long, so some k²/2 of them reach k; and beyond 38 no loss above nought
/// is left in double precision.
const STEPS: usize = 1_000;

/// From here on the tail is the density through the continued fraction z + 1/(z + 2/(z + 3/…)), and below it a half less the
/// density times z + z³/3 + z⁵/(3·5) + … (M. Abramowitz and I. A. Stegun, "Handbook of Mathematical Functions", 26.2.14 and
/// 26.2.11; from memory). The library's function is off by up to 1e-10 of it, of which a loss, being a small difference, makes
/// 1e-8; for chances that is near enough, and it is quicker.
const FRACTION_FROM: f64 = 2.0;

/// What is left out is about exp(−2·z·√(2n)): nothing in double precision.
const FRACTION_TERMS: u8 = 60;

/// The n-th term is below z²ⁿ/(2n/e)ⁿ: nothing in double precision up to the fraction's start.
const SERIES_TERMS: u8 = 40;

/// Density of the standard normal distribution.
pub fn normal_density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// Chance of a standard normal value above this, with all its digits also where it is small.
pub fn normal_tail(z: f64) -> f64 {
    if z < 0.0 {
        return 1.0 - normal_tail(-z);
    }
    if z < FRACTION_FROM {
        let (mut sum, mut term) = (0.0, z);
        for place in 1..=SERIES_TERMS {
            sum += term;
            term *= z * z / f64::from(2 * place + 1);
        }
        return 0.5 - normal_density(z) * sum;
    }
    let below = (1..=FRACTION_TERMS).rev().fold(z, |below, term| z + f64::from(term) / below);
    normal_density(z) / below
}

/// The standard normal value that is exceeded with this chance; none for a chance that is not between 0 and 1.
pub fn normal_tail_inverse(chance: f64) -> Option<f64> {
    (0.0 < chance && chance < 1.0).then(|| -Normal::standard().inverse_cdf(chance))
}

/// The unit normal loss G(k) = φ(k) − k·(1 − Φ(k)): by how much a standard normal value exceeds k in the mean, where one that
/// does not counts as nought (E. A. Silver, D. F. Pyke and D. J. Thomas, "Inventory and Production Management in Supply
/// Chains", CRC Press 2017, appendix). With 1 − Φ as a tail, since a difference from 1 has no digits left at a large k.
pub fn normal_loss(k: f64) -> f64 {
    (normal_density(k) - k * normal_tail(k)).max(0.0)
}

/// The k of a unit normal loss; none where it is not above nought, which no k reaches. The loss is convex and −k is below it,
/// so steps from there never pass the answer.
pub fn normal_loss_inverse(loss: f64) -> Option<f64> {
    if loss.is_nan() || loss <= 0.0 || loss.is_infinite() {
        return None;
    }
    let mut k = -loss;
    for _ in 0..STEPS {
        let further = k + (normal_loss(k) - loss) / normal_tail(k);
        if further.is_nan() || further <= k {
            break;
        }
        k = further;
    }
    Some(k)
}

/// By how much a normal value with this mean and spread exceeds a limit in the mean. Without spread it is what it is.
pub(super) fn loss_beyond(limit: f64, mean: f64, sd: f64) -> f64 {
    if sd <= 0.0 { (mean - limit).max(0.0) } else { sd * normal_loss((limit - mean) / sd) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{Case, INVENTORY, cases};
    use proptest::prelude::*;

    #[track_caller]
    fn check(case: &Case) {
        let (mean, sd) = (case.number("mean_ltd"), case.number("sigma_L"));
        let safety_stock = quantile(case.number("csl")) * sd;
        case.close("safety_stock", safety_stock);
        let kept = chance_at_most(mean + safety_stock, mean, sd);
        assert!((kept - case.number("csl")).abs() < 1e-9, "{}: {kept}", case.id);
    }

    #[test]
    fn the_safety_stock_of_the_textbooks_keeps_its_service_level() {
        cases(INVENTORY, "safety_stock_csl").iter().for_each(check);
    }

    #[test]
    fn without_spread_it_is_certain() {
        assert_eq!(chance_at_most(5.0, 5.0, 0.0), 1.0);
        assert_eq!(chance_at_most(4.9, 5.0, 0.0), 0.0);
        assert_eq!((loss_beyond(4.0, 5.0, 0.0), loss_beyond(6.0, 5.0, 0.0)), (1.0, 0.0));
    }

    #[test]
    fn losses_agree_with_tables_and_libraries() {
        for case in cases(INVENTORY, "unit_normal_loss") {
            let k = case.number("k");
            case.close("G", normal_loss(k));
            case.close("p_ge", normal_tail(k));
            case.close("pdf", normal_density(k));
        }
        for case in cases(INVENTORY, "inverse_unit_normal_loss") {
            case.close("k", normal_loss_inverse(case.number("G")).unwrap());
        }
    }

    /// From −4 to 5 in steps of .05, computed with scipy 1.17.1: k, density, tail, loss.
    #[test]
    fn the_table_of_the_loss_is_met_to_nine_digits() {
        let table = include_str!("../../testdata/supply/unit_normal_loss.csv");
        for line in table.lines().skip(1) {
            let figures: Vec<f64> = line.split(',').map(|figure| figure.parse().unwrap()).collect();
            let found = [normal_density(figures[0]), normal_tail(figures[0]), normal_loss(figures[0])];
            for (found, expected) in found.iter().zip(&figures[1..]) {
                assert!((found - expected).abs() <= 1e-9 * expected, "{line}: {found}");
            }
        }
    }

    proptest! {
        #[test]
        fn the_place_of_a_loss_has_that_loss(k in -30.0_f64..30.0) {
            let found = normal_loss_inverse(normal_loss(k)).unwrap();
            prop_assert!((found - k).abs() <= 1e-9 * k.abs().max(1.0), "{found}");
        }
    }

    #[test]
    fn no_place_has_no_loss() {
        assert_eq!([0.0, -1.0, f64::NAN, f64::INFINITY].map(normal_loss_inverse), [None; 4]);
        assert_eq!([0.0, 1.0].map(normal_tail_inverse), [None; 2]);
    }
}
