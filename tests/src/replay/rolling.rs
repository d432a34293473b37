//! Forecasts of one site on day after day of asking, held against what was used.

use fillmark_advice::supply::{Forecast, forecast};
use serde::Serialize;

use super::HORIZONS;
use super::direct::Records;
use super::past_use::{recorded_use, smoothed, weeks};
use super::recorded::{Origin, Recorded};

/// Days whose sum is judged.
const MONTH: usize = 28;

/// Chances of the quantiles that are judged.
pub const CHANCES: [f64; 3] = [0.5, 0.9, 0.95];

/// How one product came out on one day of asking. Errors are shares of the mean use in as many days before.
#[derive(Debug, Clone, Serialize)]
pub struct Score {
    /// The site.
    pub site: String,
    /// The product.
    pub product: String,
    /// Number of the day of asking.
    pub day: i64,
    /// |forecast − truth| at each horizon.
    pub errors: [f64; HORIZONS.len()],
    /// forecast − truth of 28 days.
    pub bias_28d: f64,
    /// Mean absolute error of the weeks over the mean step from week to week before.
    pub mase: f64,
    /// Whether the truth of 28 days lay at or below the quantile of each chance.
    pub held: [bool; CHANCES.len()],
    /// Pinball loss of 28 days at each chance.
    pub pinball: [f64; CHANCES.len()],
    /// Errors at each horizon of weekly exponential smoothing.
    pub ses_errors: [f64; HORIZONS.len()],
    /// Its mean absolute scaled error.
    pub ses_mase: f64,
    /// |forecast − truth| / truth of 28 days.
    pub of_truth_28d: f64,
}

/// Scores of each product on each scored day of asking.
pub fn scores(site: &Recorded) -> Vec<Score> {
    let records = Records::new(site);
    let recorded = recorded_use(site);
    let mut scores = Vec::new();
    for origin in site.days_of_asking().iter().filter(|origin| site.scores(origin)) {
        let forecast = forecast(&records.question(origin));
        for (place, product) in site.plan.products.iter().enumerate() {
            let truth = Truth::new(site, &recorded[product.name.as_str()], &product.name, origin);
            if truth.is_used() {
                scores.push(score(site, origin, &forecast, place, &truth));
            }
        }
    }
    scores
}

struct Truth {
    ahead: Vec<f64>,
    weeks_before: Vec<f64>,
    smoothed: f64,
}

impl Truth {
    /// What was used before is the truth where the file has it, otherwise the record.
    fn new(site: &Recorded, recorded: &[f64], product: &str, origin: &Origin) -> Truth {
        let before = usize::try_from(origin.day).unwrap_or(0);
        let known = site.truth.daily_use_ml.get(product).map_or(recorded, Vec::as_slice);
        Truth {
            ahead: site.true_use(product, origin).iter().take(42).copied().collect(),
            weeks_before: weeks(known, before),
            smoothed: smoothed(&weeks(recorded, before)),
        }
    }

    /// Products used in fewer than half of the weeks are another question than use from week to week.
    fn is_used(&self) -> bool {
        let used = self.weeks_before.iter().filter(|week| **week > 0.0).count();
        used > 0 && 2 * used >= self.weeks_before.len()
    }

    fn until(&self, days: usize) -> f64 {
        self.ahead.iter().take(days).sum()
    }

    fn mean_week(&self) -> f64 {
        self.weeks_before.iter().sum::<f64>() / self.weeks_before.len().max(1) as f64
    }

    /// Mean step from week to week; 1 where there was none.
    fn step(&self) -> f64 {
        let steps = self.weeks_before.windows(2).map(|pair| (pair[1] - pair[0]).abs());
        let mean = steps.sum::<f64>() / self.weeks_before.len().saturating_sub(1).max(1) as f64;
        if mean > 0.0 { mean } else { 1.0 }
    }

    fn mase(&self, forecast_until: impl Fn(usize) -> f64) -> f64 {
        let weeks = (self.ahead.len() / 7).max(1);
        let error = |week: usize| {
            let (from, until) = (week * 7, week * 7 + 7);
            let told = forecast_until(until) - forecast_until(from);
            (told - (self.until(until) - self.until(from))).abs()
        };
        (0..weeks).map(error).sum::<f64>() / weeks as f64 / self.step()
    }
}

fn score(site: &Recorded, origin: &Origin, forecast: &Forecast, place: usize, truth: &Truth) -> Score {
    let product = &forecast.products[place];
    let until = |days: usize| product.expected_use(days);
    let smoothed_until = |days: usize| truth.smoothed * days as f64 / 7.0;
    let share = |days: usize, amount: f64| amount / (truth.mean_week() * days as f64 / 7.0).max(1e-9);
    let errors = |told: &dyn Fn(usize) -> f64| {
        HORIZONS.map(|days| share(days, (told(days) - truth.until(days)).abs()))
    };
    let used = truth.until(MONTH);
    let quantiles = CHANCES.map(|chance| product.quantile_until(MONTH - 1, chance));
    let pinball = |chance: f64, told: f64| {
        let short = used - told;
        share(MONTH, f64::max(chance * short, (chance - 1.0) * short))
    };
    Score {
        site: site.name.clone(),
        product: site.plan.products[place].name.clone(),
        day: origin.day,
        errors: errors(&until),
        bias_28d: share(MONTH, until(MONTH) - used),
        mase: truth.mase(until),
        held: quantiles.map(|told| used <= told),
        pinball: [0, 1, 2].map(|at| pinball(CHANCES[at], quantiles[at])),
        ses_errors: errors(&smoothed_until),
        ses_mase: truth.mase(smoothed_until),
        of_truth_28d: (until(MONTH) - used).abs() / used.max(1e-9),
    }
}
