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

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::Value;

    #[track_caller]
    fn check(case: &Value) {
        let input = |name: &str| case["inputs"][name].as_f64().unwrap();
        let safety_stock = quantile(input("csl")) * input("sigma_L");
        let computed = case["computed"]["safety_stock"].as_f64().unwrap();
        assert!((safety_stock - computed).abs() <= 1e-6 * computed, "{}: {safety_stock}", case["id"]);
        let kept = chance_at_most(input("mean_ltd") + safety_stock, input("mean_ltd"), input("sigma_L"));
        assert!((kept - input("csl")).abs() < 1e-9, "{}: {kept}", case["id"]);
    }

    #[test]
    fn the_safety_stock_of_the_textbooks_keeps_its_service_level() {
        let cases: Vec<Value> =
            serde_json::from_str(include_str!("../../testdata/safety_stock.json")).unwrap();
        cases.iter().for_each(check);
    }

    #[test]
    fn without_spread_it_is_certain() {
        assert_eq!(chance_at_most(5.0, 5.0, 0.0), 1.0);
        assert_eq!(chance_at_most(4.9, 5.0, 0.0), 0.0);
    }
}
