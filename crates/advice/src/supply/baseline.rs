//! What past use alone would forecast, by the simple method that did best on it: every forecast is told beside it.

use super::history::ProductHistory;
use super::methods::{DampedHolt, Trend, croston, mean_of_last, sba, smooth, tsb};
use super::question::{ProductAsked, Question};
use super::spans::WEEK;

/// Fewer whole weeks judge no method: their mean is told.
const JUDGED_FROM: usize = 6;

/// So many of the last weeks are each forecast from those before (our own judgement).
const JUDGED_WEEKS: usize = 13;

/// Weeks in a moving mean.
const MEAN_WEEKS: usize = 8;

/// Weights of the newest week, usual where none is fitted: a fifth in a level, a tenth in what comes now and then and in a slope
/// (common practice, no source).
const LEVEL: f64 = 0.2;
const SELDOM: f64 = 0.1;
/// What is left of a trend a week later (Gardner and McKenzie 1985 find 0.8 to 1 usual).
const DAMPED: f64 = 0.9;

/// A method that looks at past weeks alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SimpleMethod {
    /// Mean of the last weeks.
    Mean,
    /// Simple exponential smoothing.
    Smoothing,
    /// Holt's damped trend.
    DampedTrend,
    /// Croston's method.
    Croston,
    /// Syntetos and Boylan's approximation.
    Sba,
    /// Teunter, Syntetos and Babai's method.
    Tsb,
}

/// The simplest first: of methods that missed by as much it is told.
const ALL: [SimpleMethod; 6] = [
    SimpleMethod::Mean,
    SimpleMethod::Smoothing,
    SimpleMethod::DampedTrend,
    SimpleMethod::Croston,
    SimpleMethod::Sba,
    SimpleMethod::Tsb,
];

/// What past use alone would forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Baseline {
    /// By which method: the one that missed the last weeks by the least.
    pub method: SimpleMethod,
    /// mL (or g) a day.
    pub per_day: f64,
    /// Whole weeks that it looked at.
    pub weeks: usize,
}

/// Of a product's past; none of one that was never used.
pub(super) fn baseline(
    question: &Question,
    asked: &ProductAsked,
    product: &ProductHistory,
) -> Option<Baseline> {
    let weeks = weeks(question, asked, product);
    if weeks.iter().all(|used| *used == 0.0) {
        return None;
    }
    let method = match weeks.len() < JUDGED_FROM {
        true => SimpleMethod::Mean,
        false => best(&weeks),
    };
    Some(Baseline { method, per_day: ahead(method, &weeks).max(0.0) / WEEK as f64, weeks: weeks.len() })
}

/// What was used in each whole week before today, the earliest first.
fn weeks(question: &Question, asked: &ProductAsked, product: &ProductHistory) -> Vec<f64> {
    let today = product.poured.len();
    let mut days = product.poured.clone();
    for (day, amount) in product.lost.iter().filter(|(day, _)| *day < today) {
        days[*day] += amount;
    }
    for one in asked.taken.iter().chain(asked.prepared.values().flatten()) {
        let day = today as i64 + question.offset(one.on);
        let there = usize::try_from(day).ok().and_then(|day| days.get_mut(day));
        there.into_iter().for_each(|used| *used += one.amount.base_units());
    }
    days[today % WEEK..].chunks(WEEK).map(|week| week.iter().sum()).collect()
}

fn best(weeks: &[f64]) -> SimpleMethod {
    let from = weeks.len().saturating_sub(JUDGED_WEEKS).max(JUDGED_FROM - 2);
    let missed = |method: SimpleMethod| -> f64 {
        (from..weeks.len()).map(|week| (ahead(method, &weeks[..week]) - weeks[week]).abs()).sum()
    };
    ALL.into_iter().min_by(|one, other| missed(*one).total_cmp(&missed(*other))).unwrap_or(SimpleMethod::Mean)
}

/// mL (or g) of the next week.
fn ahead(method: SimpleMethod, weeks: &[f64]) -> f64 {
    match method {
        SimpleMethod::Mean => mean_of_last(weeks, MEAN_WEEKS).unwrap_or(0.0),
        SimpleMethod::Smoothing => smooth(weeks, LEVEL).map_or(0.0, |smoothed| smoothed.level),
        SimpleMethod::DampedTrend => {
            let Some((first, later)) = weeks.split_first() else { return 0.0 };
            let holt = DampedHolt { alpha: LEVEL, beta: SELDOM, phi: DAMPED };
            holt.follow(Trend { level: *first, slope: 0.0 }, later).ahead(1)
        }
        SimpleMethod::Croston => croston(weeks, SELDOM).per_period(),
        SimpleMethod::Sba => sba(weeks, SELDOM).per_period(),
        SimpleMethod::Tsb => tsb(weeks, SELDOM, SELDOM).per_period(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(weeks: &[f64], method: SimpleMethod, next: f64) {
        assert_eq!(best(weeks), method, "{weeks:?}");
        let got = ahead(method, weeks);
        assert!((got - next).abs() < 1e-9, "{got}");
    }

    #[test]
    fn the_method_that_missed_least_is_told() {
        check(&[500.0; 13], SimpleMethod::Mean, 500.0);
        let seldom = [0.0, 0.0, 100.0, 0.0, 0.0, 0.0, 100.0, 0.0, 0.0, 0.0, 100.0, 0.0, 0.0, 0.0];
        let got = best(&seldom);
        assert!(matches!(got, SimpleMethod::Sba | SimpleMethod::Croston | SimpleMethod::Tsb), "{got:?}");
    }

    #[test]
    fn a_trend_is_followed() {
        let rising: Vec<f64> = (0..26).map(|week| 100.0 + 20.0 * f64::from(week)).collect();
        assert_eq!(best(&rising), SimpleMethod::DampedTrend);
    }
}
