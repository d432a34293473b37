//! How far forecasts were off.

/// Errors of a forecast, as multiples of those that "as a season ago" would have made in the past it was made from. 1 is
/// no better than that; products of any size can be averaged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Errors {
    /// Mean absolute scaled error: R. J. Hyndman and A. B. Koehler, International Journal of Forecasting 22 (2006) 679–688.
    pub absolute: f64,
    /// The root of the mean squared one, in which a large miss weighs more (RMSSE, the same paper).
    pub root_squared: f64,
    /// The mean absolute error of "as a season ago", in the unit of the uses.
    pub scale: f64,
}

/// Errors of a forecast against what was used in its periods; a season of 1 compares with the period before. None where
/// nothing was forecast, or the past is no longer than a season or repeats itself exactly, which leaves nothing to scale by.
pub fn scaled_errors(past: &[f64], used: &[f64], forecast: &[f64], season: usize) -> Option<Errors> {
    let steps = || past.iter().zip(past.iter().skip(season)).map(|(before, after)| after - before);
    let misses = || used.iter().zip(forecast).map(|(used, forecast)| used - forecast);
    let scale = mean(steps().map(f64::abs))?;
    let squared_scale = mean(steps().map(|step| step * step))?;
    (scale > 0.0).then_some(Errors {
        absolute: mean(misses().map(f64::abs))? / scale,
        root_squared: (mean(misses().map(|miss| miss * miss))? / squared_scale).sqrt(),
        scale,
    })
}

/// Mean pinball loss of forecast quantiles: R. Koenker and G. Bassett, Econometrica 46 (1978) 33–50. The lower the better;
/// at the quantile .95 a use above the forecast costs 19 times one below. In the unit of the uses; none without a forecast.
pub fn pinball(used: &[f64], forecast: &[f64], quantile: f64) -> Option<f64> {
    mean(used.iter().zip(forecast).map(|(used, forecast)| {
        let above = used - forecast;
        (quantile * above).max((quantile - 1.0) * above)
    }))
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0_u32), |(sum, n), value| (sum + value, n + 1));
    (n > 0).then(|| sum / f64::from(n))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(past: &[f64], season: usize, absolute: Option<f64>, root_squared: Option<f64>) {
        let errors = scaled_errors(past, &[6.0, 9.0], &[5.0, 6.0], season);
        assert_eq!(errors.map(|errors| errors.absolute), absolute);
        assert_eq!(errors.map(|errors| errors.root_squared), root_squared);
    }

    #[test]
    fn errors_are_multiples_of_those_of_a_season_ago() {
        // Missed by 1 and 3: 2 on the mean, √5 as the root. From one to the next it was 2 and 2, so half of it, and √(5/4).
        check(&[1.0, 3.0, 1.0], 1, Some(1.0), Some(1.25_f64.sqrt()));
        check(&[1.0, 3.0, 2.0, 4.0], 2, Some(2.0), Some(5.0_f64.sqrt()));
    }

    #[test]
    fn without_a_past_that_moved_there_is_no_scale() {
        check(&[3.0, 3.0, 3.0], 1, None, None);
        check(&[3.0], 1, None, None);
        assert_eq!(scaled_errors(&[1.0, 2.0], &[], &[], 1), None);
    }

    #[test]
    fn a_high_quantile_that_is_passed_costs_most() {
        let costs = pinball(&[12.0], &[10.0], 0.75).zip(pinball(&[8.0], &[10.0], 0.75));
        assert_eq!(costs, Some((1.5, 0.5)));
        assert_eq!(pinball(&[], &[], 0.5), None);
    }
}
