//! What a grower without a plan would forecast: weekly exponential smoothing of what was written down.

use std::collections::BTreeMap;

use fillmark_advice::supply::methods::smooth_best;

use super::recorded::Recorded;
use super::scenario::What;

/// Recorded use of each product by day from the first day on, mL, as it was keyed.
pub fn recorded_use(site: &Recorded) -> BTreeMap<&str, Vec<f64>> {
    let mut used: BTreeMap<&str, Vec<f64>> =
        site.plan.products.iter().map(|product| (product.name.as_str(), Vec::new())).collect();
    for event in &site.events {
        let (What::Addition { product, ml, .. } | What::Adjust { product, ml }) = &event.what else {
            continue;
        };
        let Ok(day) = usize::try_from((event.date - site.plan.start).num_days()) else { continue };
        let Some(days) = used.get_mut(product.as_str()) else { continue };
        days.resize(days.len().max(day + 1), 0.0);
        days[day] += ml;
    }
    used
}

/// Sums of whole weeks from the first day on, of the days before a day of asking.
pub fn weeks(daily: &[f64], before: usize) -> Vec<f64> {
    let at = |day: usize| daily.get(day).copied().unwrap_or(0.0);
    (0..before / 7).map(|week| (week * 7..week * 7 + 7).map(at).sum()).collect()
}

/// The forecast of a week by exponential smoothing that starts at the first week, with the weight that would have been best.
pub fn smoothed(weeks: &[f64]) -> f64 {
    smooth_best(weeks).map_or(0.0, |smoothed| smoothed.level)
}
