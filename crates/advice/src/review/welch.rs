//! Two groups of cycles beside each other: the difference of their means, with its interval.

use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::review::Interval;

/// The difference of two means: B. L. Welch, Biometrika 34 (1947) 28–35, with the degrees of freedom of
/// F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110–114. The groups may vary differently.
#[derive(Debug, Clone, PartialEq)]
pub struct Welch {
    /// Mean of these less mean of the earlier ones.
    pub difference: f64,
    /// Its 95 % interval.
    pub interval: Interval,
    /// Welch's t.
    pub t: f64,
    /// Degrees of freedom.
    pub freedom: f64,
    /// Chance of so large a difference when there is none.
    pub p: f64,
    /// How many these are.
    pub n: usize,
    /// How many the earlier ones are.
    pub n_earlier: usize,
    /// What to mind when reading it.
    pub cautions: Vec<Caution>,
}

/// What to mind when reading a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Caution {
    /// Rooms and seasons differ in more than the one thing somebody has in mind. Always said.
    MoreThanOneThingDiffers,
    /// A group has fewer than five cycles, so the interval leans on cycles varying as a normal does.
    FewCycles,
}

/// Why there is no comparison.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoComparison {
    /// A group too small to vary.
    #[error("a comparison needs two cycles on each side, found {n} and {n_earlier}")]
    TooFew {
        /// How many these are.
        n: usize,
        /// How many the earlier ones are.
        n_earlier: usize,
    },
    /// Neither group varies, so there is no scale to judge by.
    #[error("neither group varies")]
    NoSpread,
}

/// A figure of these cycles beside the same figure of earlier ones.
/// # Errors
/// [`NoComparison`] with fewer than two cycles on a side, or without any spread.
pub fn compare(these: &[f64], earlier: &[f64]) -> Result<Welch, NoComparison> {
    let (n, n_earlier) = (these.len(), earlier.len());
    if n < 2 || n_earlier < 2 {
        return Err(NoComparison::TooFew { n, n_earlier });
    }
    let (mean, error) = mean_and_squared_error(these);
    let (mean_earlier, error_earlier) = mean_and_squared_error(earlier);
    let spread = (error + error_earlier).sqrt();
    if spread.is_nan() || spread <= 0.0 {
        return Err(NoComparison::NoSpread);
    }

    let part = |error: f64, n: usize| error * error / (n - 1) as f64;
    let freedom = (error + error_earlier).powi(2) / (part(error, n) + part(error_earlier, n_earlier));
    let distribution = StudentsT::new(0.0, 1.0, freedom).map_err(|_| NoComparison::NoSpread)?;
    let difference = mean - mean_earlier;
    let t = difference / spread;
    let half = distribution.inverse_cdf(0.975) * spread;

    let few = (n.min(n_earlier) < 5).then_some(Caution::FewCycles);
    Ok(Welch {
        difference,
        interval: Interval { low: difference - half, high: difference + half },
        t,
        freedom,
        p: 2.0 * distribution.cdf(-t.abs()),
        n,
        n_earlier,
        cautions: [Caution::MoreThanOneThingDiffers].into_iter().chain(few).collect(),
    })
}

/// The mean, and the square of its standard error.
fn mean_and_squared_error(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (mean, squares / (n - 1.0) / n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::rows::{close, rows};

    #[test]
    fn comparisons_agree_with_published_ones() {
        for row in rows("welch_t") {
            let group = |name: &str| -> Vec<f64> {
                row["inputs"][name].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
            };
            let found = compare(&group("a"), &group("b")).unwrap();
            close(&row, "t", Some(found.t));
            close(&row, "df", Some(found.freedom));
            close(&row, "p", Some(found.p));
            close(&row, "ci_lo", Some(found.interval.low));
            close(&row, "ci_hi", Some(found.interval.high));
        }
    }

    #[track_caller]
    fn check_refused(these: &[f64], earlier: &[f64], why: &str) {
        assert_eq!(compare(these, earlier).unwrap_err().to_string(), why);
    }

    #[test]
    fn one_cycle_cannot_be_compared() {
        let why = "a comparison needs two cycles on each side, found 1 and 3";
        check_refused(&[4.0], &[3.0, 3.5, 4.0], why);
        check_refused(&[4.0, 4.0], &[3.0, 3.0], "neither group varies");
    }

    #[test]
    fn few_cycles_are_a_caution() {
        let found = compare(&[4.0, 4.5], &[3.0, 3.5, 4.0]).unwrap();
        assert_eq!(found.cautions, [Caution::MoreThanOneThingDiffers, Caution::FewCycles]);
    }
}
