//! What past use alone would forecast.

use fillmark_advice::supply as answers;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::round;

/// What past use alone would forecast, by the simple method that missed the last weeks by the least. Beside it shows what the plan
/// is worth; amounts in the base unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"method": "exponential_smoothing", "week_count": 26, "per_day": 61.4, "total": 1719.2}))]
pub struct Baseline {
    /// By which method.
    pub method: SimpleMethod,
    /// Whole weeks that it looked at.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub week_count: u64,
    /// Of each day to come.
    #[schema(minimum = 0, maximum = 1e12)]
    pub per_day: f64,
    /// Of the whole horizon.
    #[schema(minimum = 0, maximum = 1e12)]
    pub total: f64,
}

/// A method that looks at past weeks alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SimpleMethod {
    /// Mean of the last eight.
    Mean,
    /// Simple exponential smoothing.
    ExponentialSmoothing,
    /// Holt's damped trend.
    DampedTrend,
    /// Croston's method, for what is used now and then.
    Croston,
    /// Syntetos and Boylan's approximation of it.
    Sba,
    /// Teunter, Syntetos and Babai's method.
    Tsb,
}

impl Baseline {
    /// Over so many days.
    pub(super) fn of(baseline: &answers::Baseline, days: usize) -> Self {
        Self {
            method: baseline.method.into(),
            week_count: baseline.weeks as u64,
            per_day: round(baseline.per_day),
            total: round(baseline.per_day * days as f64),
        }
    }
}

impl From<answers::SimpleMethod> for SimpleMethod {
    fn from(method: answers::SimpleMethod) -> Self {
        match method {
            answers::SimpleMethod::Mean => Self::Mean,
            answers::SimpleMethod::Smoothing => Self::ExponentialSmoothing,
            answers::SimpleMethod::DampedTrend => Self::DampedTrend,
            answers::SimpleMethod::Croston => Self::Croston,
            answers::SimpleMethod::Sba => Self::Sba,
            answers::SimpleMethod::Tsb => Self::Tsb,
        }
    }
}
