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
