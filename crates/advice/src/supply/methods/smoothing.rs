//! One level for all periods to come: the mean of a window, and simple exponential smoothing.

/// Steps of one hundredth in which the best weight is looked for, before it is refined between two of them. The sum of
/// squared errors may have several valleys, and a search that only goes downhill ends in the one it starts in.
const HUNDREDTHS: std::ops::RangeInclusive<u8> = 1..=99;

/// Narrowings of the interval of two hundredths: 0.02 × 0.618^24 is below 1e-6, finer than any record.
const NARROWINGS: usize = 24;

/// A smoothed level, which is the forecast of every period to come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Smoothed {
    /// The weight of the newest period.
    pub alpha: f64,
    /// The level after the last period: use a period.
    pub level: f64,
    /// Sum of the squared errors of forecasts one period ahead, over the periods that had one.
    pub squared_errors: f64,
}

/// Mean use a period over the last so many periods, or over all where there are fewer; none without any.
pub fn mean_of_last(uses: &[f64], periods: usize) -> Option<f64> {
    let window = &uses[uses.len().saturating_sub(periods)..];
    (!window.is_empty()).then(|| window.iter().sum::<f64>() / window.len() as f64)
}

/// Simple exponential smoothing, starting at the first use (R. G. Brown, "Exponential Smoothing for Predicting Demand",
/// Arthur D. Little, 1956); none without a use.
pub fn smooth(uses: &[f64], alpha: f64) -> Option<Smoothed> {
    let (first, later) = uses.split_first()?;
    Some(smooth_from(*first, later, alpha))
}

/// The same from a level that is known from elsewhere: level ← α·use + (1 − α)·level.
pub fn smooth_from(level: f64, uses: &[f64], alpha: f64) -> Smoothed {
    let start = Smoothed { alpha, level, squared_errors: 0.0 };
    uses.iter().fold(start, |before, used| Smoothed {
        level: alpha * used + (1.0 - alpha) * before.level,
        squared_errors: before.squared_errors + (used - before.level).powi(2),
        ..before
    })
}

/// The same with the weight, from 0.01 to 0.99, that would have forecast the uses best one period ahead (least sum of
/// squared errors); none without a use.
pub fn smooth_best(uses: &[f64]) -> Option<Smoothed> {
    let errors = |alpha: f64| smooth(uses, alpha).map_or(f64::INFINITY, |smoothed| smoothed.squared_errors);
    let coarse = HUNDREDTHS
        .map(|hundredths| f64::from(hundredths) / 100.0)
        .min_by(|one, other| errors(*one).total_cmp(&errors(*other)))?;
    smooth(uses, least((coarse - 0.01).max(0.01), (coarse + 0.01).min(0.99), errors))
}

/// The place between two where a function is least, by golden section.
fn least(mut low: f64, mut high: f64, of: impl Fn(f64) -> f64) -> f64 {
    let share = (5f64.sqrt() - 1.0) / 2.0;
    for _ in 0..NARROWINGS {
        let (left, right) = (high - share * (high - low), low + share * (high - low));
        if of(left) <= of(right) { high = right } else { low = left }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{Case, GOLDEN, cases};

    #[track_caller]
    fn check(case: &Case, smoothed: Option<Smoothed>) {
        let smoothed = smoothed.unwrap();
        case.close("level", smoothed.level);
        case.close_each("forecast", |_| smoothed.level);
        if case.expects("sse") {
            case.close("sse", smoothed.squared_errors);
        }
    }

    #[test]
    fn levels_agree_with_golden_rows() {
        for case in cases(GOLDEN, "ses") {
            check(&case, smooth(&case.uses(), case.number("alpha")));
        }
        for case in cases(GOLDEN, "ses_l0") {
            check(&case, Some(smooth_from(case.number("l0"), &case.uses(), case.number("alpha"))));
        }
    }

    #[track_caller]
    fn check_best(uses: &[f64], alpha: f64) {
        let best = smooth_best(uses).unwrap();
        assert!((best.alpha - alpha).abs() < 1e-4, "{best:?}");
    }

    #[test]
    fn the_best_weight_is_the_one_with_the_least_errors() {
        // 1, 2, 3: errors are 1 and 2 − α, so the heaviest weight wins; noise about a mean wants the lightest.
        check_best(&[1.0, 2.0, 3.0], 0.99);
        check_best(&[2.0, 1.0, 3.0, 1.0, 3.0, 1.0, 3.0, 1.0, 3.0], 0.01);
        // 0, 1, 1/2: errors are 1 and 1/2 − α, so it is exactly a half.
        check_best(&[0.0, 1.0, 0.5], 0.5);
    }

    #[test]
    fn a_constant_use_is_forecast_as_it_is() {
        assert_eq!(smooth_best(&[4.0; 9]).map(|smoothed| smoothed.level), Some(4.0));
        assert_eq!(mean_of_last(&[9.0, 4.0, 2.0], 2), Some(3.0));
        assert_eq!(mean_of_last(&[9.0, 3.0], 8), Some(6.0));
    }

    #[test]
    fn without_a_use_there_is_no_level() {
        assert_eq!(smooth(&[], 0.1), None);
        assert_eq!(smooth_best(&[]), None);
        assert_eq!(mean_of_last(&[], 4), None);
        assert_eq!(mean_of_last(&[1.0], 0), None);
    }
}
