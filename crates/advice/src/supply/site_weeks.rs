//! How a whole site differs from the usual, week by week: weather, light and season.

use std::collections::BTreeMap;

use super::spans::{Cell, WEEK};

/// Ways to go on from it: it passes, it lasts, it follows a trend.
pub(super) const OF_CURVE: usize = 3;

/// Of each week kept for the next week's estimate, by way; our own judgement.
const KEPT_A_WEEK: [f64; OF_CURVE] = [0.45, 0.85, 0.7];

/// Of today's deviation left after each day ahead: weather passes, light and hands stay. Our own judgement.
const PASSES_A_DAY: f64 = 0.9;
const LASTS_A_DAY: f64 = 0.995;

/// Of what is expected, what holds the present deviation near none; our own judgement.
const NOW_HOLD: f64 = 0.2;

/// What is left of a trend a week later: days grow shorter for months and not for ever (Gardner and McKenzie 1985 find 0.8 to 1
/// usual for a damped trend).
const TREND_KEPT: f64 = 0.95;

/// Squared weeks that hold a trend near none; our own judgement.
const TREND_HOLD: f64 = 1.0;

/// Nobody's site takes less than this part of its usual, or more; our own judgement.
const LEAST: f64 = 0.4;
const MOST: f64 = 2.5;

/// What was taken in each week before a day and what was expected of it, so many weeks ago.
pub(super) struct SiteWeeks {
    weeks: Vec<(usize, f64, f64)>,
}

impl SiteWeeks {
    /// Of cells that were complete so many weeks before today, with what the curve expects a plant of each to take.
    pub(super) fn new(cells: &[Cell], weeks_ago: usize, expected: impl Fn(&Cell) -> f64) -> SiteWeeks {
        let mut weeks: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
        for cell in cells {
            let plants = cell.plant_days / cell.days.max(1e-9);
            let (taken, usual) = weeks.entry(cell.weeks_ago - weeks_ago).or_default();
            *taken += plants * cell.per_plant_l;
            *usual += plants * expected(cell);
        }
        SiteWeeks { weeks: weeks.into_iter().map(|(ago, (taken, usual))| (ago, taken, usual)).collect() }
    }

    /// By how much of the usual the site will differ from it so many days ahead, from none to the last, by way.
    pub(super) fn ahead(&self, days: usize) -> Vec<[f64; OF_CURVE]> {
        let [passing, lasting, _] = KEPT_A_WEEK.map(|kept| self.now(kept));
        let (now, a_week) = self.trend(KEPT_A_WEEK[2]);
        let differs = |day: usize| {
            let weeks = day as f64 / WEEK as f64;
            let steps = (1.0 - TREND_KEPT.powf(weeks)) / (1.0 - TREND_KEPT);
            let trend = (now + a_week * steps).clamp(LEAST, MOST);
            let left = |share: f64| share.powf(day as f64);
            [(passing - 1.0) * left(PASSES_A_DAY), (lasting - 1.0) * left(LASTS_A_DAY), trend - 1.0]
        };
        (0..=days).map(differs).collect()
    }

    /// How it does now, as a part of the usual.
    fn now(&self, kept: f64) -> f64 {
        let (mut taken, mut usual) = (0.0, 0.0);
        for (ago, of_week, usual_of_week) in &self.weeks {
            let weight = kept.powf(*ago as f64);
            taken += weight * of_week;
            usual += weight * usual_of_week;
        }
        if usual <= 0.0 {
            return 1.0;
        }
        ((taken + NOW_HOLD * usual) / (usual + NOW_HOLD * usual)).clamp(LEAST, MOST)
    }

    /// A line through the weeks, the later ones weighing more: where it is now, and its slope a week.
    fn trend(&self, kept: f64) -> (f64, f64) {
        let known = self.weeks.iter().filter(|(.., usual)| *usual > 0.0);
        let points: Vec<[f64; 3]> = known
            .map(|(ago, taken, usual)| [kept.powf(*ago as f64) * usual, -(*ago as f64) - 0.5, taken / usual])
            .collect();
        let mean = |of: &dyn Fn(&[f64; 3]) -> f64| -> Option<f64> {
            let weight: f64 = points.iter().map(|[weight, ..]| weight).sum();
            (weight > 0.0).then(|| points.iter().map(|point| point[0] * of(point)).sum::<f64>() / weight)
        };
        let (Some(week), Some(level)) = (mean(&|point| point[1]), mean(&|point| point[2])) else {
            return (1.0, 0.0);
        };
        let spread = mean(&|point| (point[1] - week).powi(2)).unwrap_or_default();
        let together = mean(&|point| (point[1] - week) * (point[2] - level)).unwrap_or_default();
        let slope = together / (spread + TREND_HOLD);
        (level - slope * week, slope)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each week of a tank of one plant that was expected to take 7 L, the last first.
    fn weeks(taken_l: &[f64]) -> SiteWeeks {
        let cell = |(weeks_ago, per_plant_l): (usize, &f64)| Cell {
            weeks_ago,
            tank: 0,
            part: 0,
            late_stage: 0,
            per_plant_l: *per_plant_l,
            days: 7.0,
            plant_days: 7.0,
            spans: 7,
        };
        let cells: Vec<Cell> = taken_l.iter().enumerate().map(cell).collect();
        SiteWeeks::new(&cells, 0, |cell| cell.days)
    }

    #[test]
    fn what_goes_down_by_the_week_goes_on_by_the_trend() {
        let falling = weeks(&[4.2, 4.55, 4.9, 5.25, 5.6, 5.95, 6.3, 6.65, 7.0, 7.0]);
        let ahead = falling.ahead(28);
        let [passing, lasting, trend] = ahead[28];
        // 5 % of the usual a week from 62.5 % at its end: some 43 % after four weeks, a little more as it fades.
        assert!((-0.58..-0.50).contains(&trend), "{trend}");
        assert!(passing > -0.03 && (-0.2..-0.15).contains(&lasting), "{passing} {lasting}");
    }

    #[test]
    fn a_steady_site_has_no_trend() {
        let ahead = weeks(&[7.0; 8]).ahead(28);
        assert!(ahead.iter().flatten().all(|differs| differs.abs() < 1e-9), "{ahead:?}");
        assert_eq!(weeks(&[]).ahead(1), vec![[0.0; OF_CURVE]; 2]);
    }
}
