//! All scores of a run in one line.

use serde::Serialize;

use super::HORIZONS;
use super::rolling::{CHANCES, Score};

/// Means over sites, days of asking and products; all but the number of sites are shares.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Summary {
    /// Sites.
    pub sites: usize,
    /// Absolute error of 28 days over mean use.
    pub error_28d: f64,
    /// Mean absolute scaled error of six weeks.
    pub mase: f64,
    /// Error of 28 days with its sign.
    pub bias_28d: f64,
    /// How often the truth of 28 days lay at or below the 90 % quantile.
    pub coverage_90: f64,
    /// The same of the 95 % quantile.
    pub coverage_95: f64,
    /// Absolute error of 28 days of weekly exponential smoothing.
    pub ses_error_28d: f64,
    /// Its mean absolute scaled error.
    pub ses_mase: f64,
    /// Mean over sites of the mean |forecast − truth| / truth of 28 days.
    #[serde(skip)]
    pub of_truth_28d: f64,
    /// Absolute error at each of the [`HORIZONS`].
    #[serde(skip)]
    pub errors: [f64; HORIZONS.len()],
    /// The same of weekly exponential smoothing.
    #[serde(skip)]
    pub ses_errors: [f64; HORIZONS.len()],
    /// Pinball loss of 28 days at each of the [`CHANCES`].
    #[serde(skip)]
    pub pinball: [f64; CHANCES.len()],
}

impl Summary {
    /// Of the scores of so many sites.
    pub fn of(sites: usize, scores: &[Score]) -> Summary {
        let mean = |of: &dyn Fn(&Score) -> f64| {
            let mean = scores.iter().map(of).sum::<f64>() / scores.len().max(1) as f64;
            (mean * 1e6).round() / 1e6
        };
        let held = |at: usize| mean(&|score| f64::from(u8::from(score.held[at])));
        let errors = std::array::from_fn(|at| mean(&|score| score.errors[at]));
        let ses_errors = std::array::from_fn(|at| mean(&|score| score.ses_errors[at]));
        Summary {
            sites,
            error_28d: errors[2],
            mase: mean(&|score| score.mase),
            bias_28d: mean(&|score| score.bias_28d),
            coverage_90: held(1),
            coverage_95: held(2),
            ses_error_28d: ses_errors[2],
            ses_mase: mean(&|score| score.ses_mase),
            of_truth_28d: mean(&|score| score.of_truth_28d),
            errors,
            ses_errors,
            pinball: std::array::from_fn(|at| mean(&|score| score.pinball[at])),
        }
    }
}
