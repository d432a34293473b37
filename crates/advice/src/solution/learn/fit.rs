//! Fitting a few figures to many observations of which some are wrong: a Bayesian regression whose observations lose their
//! say the further they lie from what the rest tells.
//!
//! Weights are Tukey's biweight, which is nought beyond a limit, so that a slip of unit has no say at all (A. E. Beaton and
//! J. W. Tukey, Technometrics 16 (1974) 147–185). The prior enters the equations as one more observation of each figure;
//! scores of the others are scaled so that they carry the information they have when errors are normal.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// A figure as expected before any observation.
#[derive(Debug, Clone, Copy)]
pub(super) struct Expected {
    pub(super) mean: f64,
    /// Standard deviation.
    pub(super) sd: f64,
    /// Where the search starts; the mean, unless nothing is known.
    pub(super) start: f64,
}

/// What was found.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub(super) values: Vec<f64>,
    /// Row by row.
    covariance: Vec<f64>,
    prior_sd: Vec<f64>,
    /// How much larger the observations' errors are than expected.
    pub(super) scale: f64,
    freedom: f64,
    /// Which observations have a say.
    pub(super) kept: Vec<bool>,
}

/// A weighted sum of figures, and how sure it is.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sum {
    pub(super) value: f64,
    /// Half of its interval, nine times of ten.
    pub(super) half: f64,
    pub(super) prior_share: f64,
}

/// Biweight limit at which normal errors are used to 95 % (P. W. Holland and R. E. Welsch, Communications in Statistics A6
/// (1977) 813–827).
const LIMIT: f64 = 4.685;
/// Of a standard normal r with weight w: mean of w, of w·r², of (w·r)², and the information of both, integrated from the
/// normal's moments for [`LIMIT`].
const WEIGHT: f64 = 0.9151;
const WEIGHED: f64 = 0.7578;
const SCORE_SQUARED: f64 = 0.6045;
const INFORMATION: f64 = WEIGHED * WEIGHED / SCORE_SQUARED;
/// How large errors are is expected as surely as if so many observations had told it (our own judgement).
const SCALE_OBSERVED: f64 = 5.0;
/// From so many observations on the middle of them can contradict what was expected: of fewer, two slips are half.
const ENOUGH: usize = 5;
/// So many rounds are enough: each takes away most of what is left, so that a few settle it.
const ROUNDS: usize = 20;
/// A step of so little of a standard deviation changes nothing that is told.
const SETTLED: f64 = 1e-5;

/// `row` gives of an observation how far it is from what figures say and how that changes with each, both divided by
/// its standard deviation: the difference as value, the changes in the slice.
pub(super) fn fit(
    expected: &[Expected],
    observations: usize,
    row: impl Fn(usize, &[f64], &mut [f64]) -> f64,
) -> Fit {
    let mut search = Search::new(expected, observations);
    for round in 0..ROUNDS {
        search.look(&row);
        search.rescale(round == 0);
        if search.step() < SETTLED && round > 1 {
            break;
        }
    }
    search.end(&row)
}

/// The state of a fit.
struct Search<'a> {
    expected: &'a [Expected],
    values: Vec<f64>,
    residuals: Vec<f64>,
    slopes: Vec<f64>,
    scale: f64,
    /// How many figures the observations fix, the prior the rest.
    fixed: f64,
}

impl<'a> Search<'a> {
    fn new(expected: &'a [Expected], observations: usize) -> Self {
        let values = expected.iter().map(|of| of.start).collect();
        let slopes = vec![0.0; observations * expected.len()];
        Search { expected, values, residuals: vec![0.0; observations], slopes, scale: 1.0, fixed: 0.0 }
    }

    fn look(&mut self, row: &impl Fn(usize, &[f64], &mut [f64]) -> f64) {
        let rows = self.slopes.chunks_exact_mut(self.expected.len().max(1));
        for ((at, slopes), residual) in rows.enumerate().zip(&mut self.residuals) {
            *residual = row(at, &self.values, slopes);
        }
    }

    fn weight(&self, residual: f64) -> f64 {
        (1.0 - (residual / self.scale / LIMIT).powi(2)).max(0.0).powi(2)
    }

    fn rescale(&mut self, first: bool) {
        let (sum, count) = if first { self.middle() } else { self.spread() };
        self.scale = ((SCALE_OBSERVED + sum) / (SCALE_OBSERVED + count)).sqrt();
    }

    /// Sum of squares as the middle residual tells it: half of what is wrong does not move it.
    fn middle(&self) -> (f64, f64) {
        let count = self.residuals.len();
        if count < ENOUGH {
            return (0.0, 0.0);
        }
        let mut sizes: Vec<f64> = self.residuals.iter().map(|residual| residual.abs()).collect();
        let (_, middle, _) = sizes.select_nth_unstable_by(count / 2, f64::total_cmp);
        // Of a standard normal, half lie within 0.6745.
        (count as f64 * (*middle / 0.6745).powi(2), count as f64)
    }

    /// Sum of squares of what has a say. Each counts by its weight: counted whole, one at the limit would come and go.
    fn spread(&self) -> (f64, f64) {
        let (mut weighed, mut count) = (0.0, 0.0);
        for residual in &self.residuals {
            let weight = self.weight(*residual);
            weighed += weight * residual * residual;
            count += weight;
        }
        (weighed / WEIGHED, (count / WEIGHT - self.fixed).max(0.0))
    }

    /// One step towards where prior and observations balance; how far it went, in standard deviations.
    fn step(&mut self) -> f64 {
        let width = self.expected.len();
        let (mut information, mut pull) = (vec![0.0; width * width], vec![0.0; width]);
        let scores = WEIGHED / SCORE_SQUARED / self.scale.powi(2);
        for (slopes, residual) in self.slopes.chunks_exact(width.max(1)).zip(&self.residuals) {
            let weight = scores * self.weight(*residual);
            add(&mut information, slopes, weight);
            pull.iter_mut().zip(slopes).for_each(|(pull, slope)| *pull += weight * slope * residual);
        }
        for (at, of) in self.expected.iter().enumerate() {
            information[at * width + at] += of.sd.powi(-2);
            pull[at] += (of.mean - self.values[at]) * of.sd.powi(-2);
        }
        let covariance = inverse(information, width);
        self.fixed = fixed(&covariance, self.expected);
        let mut went = 0.0_f64;
        for (at, row) in covariance.chunks_exact(width.max(1)).enumerate() {
            let by: f64 = row.iter().zip(&pull).map(|(one, other)| one * other).sum();
            self.values[at] += by;
            went = went.max(by.abs() / row[at].sqrt());
        }
        went
    }

    /// What has no say counts as missing; the others as they do when errors are normal.
    fn end(mut self, row: &impl Fn(usize, &[f64], &mut [f64]) -> f64) -> Fit {
        self.look(row);
        let width = self.expected.len();
        let kept: Vec<bool> = self.residuals.iter().map(|residual| self.weight(*residual) > 0.0).collect();
        let mut information = vec![0.0; width * width];
        for (slopes, _) in self.slopes.chunks_exact(width.max(1)).zip(&kept).filter(|(_, kept)| **kept) {
            add(&mut information, slopes, INFORMATION / self.scale.powi(2));
        }
        for (at, of) in self.expected.iter().enumerate() {
            information[at * width + at] += of.sd.powi(-2);
        }
        Fit {
            values: self.values,
            covariance: inverse(information, width),
            prior_sd: self.expected.iter().map(|of| of.sd).collect(),
            freedom: SCALE_OBSERVED
                + (kept.iter().filter(|kept| **kept).count() as f64 - self.fixed).max(0.0),
            scale: self.scale,
            kept,
        }
    }
}

impl Fit {
    /// The figures added up with these weights.
    pub(super) fn sum(&self, weights: &[f64]) -> Sum {
        let width = self.values.len();
        let value = weights.iter().zip(&self.values).map(|(weight, value)| weight * value).sum();
        let rows = self.covariance.chunks_exact(width.max(1)).zip(weights);
        let variance: f64 = rows
            .map(|(row, one)| one * row.iter().zip(weights).map(|(cell, other)| cell * other).sum::<f64>())
            .sum();
        let prior: f64 = weights.iter().zip(&self.prior_sd).map(|(weight, sd)| (weight * sd).powi(2)).sum();
        let prior_share = if prior > 0.0 { (variance / prior).clamp(0.0, 1.0) } else { 1.0 };
        Sum { value, half: self.quantile(prior_share) * variance.max(0.0).sqrt(), prior_share }
    }

    /// Only the observations' part of a variance hangs on their scale. A variance whose logarithm hangs on that of the scale
    /// by a share s is as uncertain as one of 1/s² the degrees of freedom (F. E. Satterthwaite, Biometrics Bulletin 2 (1946)
    /// 110–114).
    fn quantile(&self, prior_share: f64) -> f64 {
        let freedom = self.freedom / (1.0 - prior_share).powi(2);
        // So many degrees of freedom are normal to the fourth digit.
        let normal = freedom > 1e4;
        match StudentsT::new(0.0, 1.0, freedom) {
            Ok(student) if !normal => student.inverse_cdf(0.95),
            _ => Normal::standard().inverse_cdf(0.95),
        }
    }
}

fn add(information: &mut [f64], slopes: &[f64], weight: f64) {
    for (row, one) in information.chunks_exact_mut(slopes.len()).zip(slopes) {
        row.iter_mut().zip(slopes).for_each(|(cell, other)| *cell += weight * one * other);
    }
}

/// How many figures the observations fix: of each the part that is not the prior's.
fn fixed(covariance: &[f64], expected: &[Expected]) -> f64 {
    let width = expected.len();
    expected.iter().enumerate().map(|(at, of)| 1.0 - covariance[at * width + at] / of.sd.powi(2)).sum()
}

/// Gauss and Jordan's elimination. Information with a prior of each figure is positive definite, so no row needs another
/// one's place.
fn inverse(mut matrix: Vec<f64>, width: usize) -> Vec<f64> {
    for pivot in 0..width {
        let of_pivot = 1.0 / matrix[pivot * width + pivot];
        matrix[pivot * width + pivot] = 1.0;
        (0..width).for_each(|column| matrix[pivot * width + column] *= of_pivot);
        for row in (0..width).filter(|row| *row != pivot) {
            let factor = std::mem::replace(&mut matrix[row * width + pivot], 0.0);
            for column in 0..width {
                matrix[row * width + column] -= factor * matrix[pivot * width + column];
            }
        }
    }
    matrix
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: [[4, 2], [2, 3]] has the determinant 8.
    #[test]
    fn an_inverse_times_its_matrix_is_one() {
        let got = inverse(vec![4.0, 2.0, 2.0, 3.0], 2);
        for (got, wanted) in got.iter().zip([0.375, -0.25, -0.25, 0.5]) {
            assert!((got - wanted).abs() < 1e-12, "{got}");
        }
    }

    /// Integrated by Simpson's rule over ten standard deviations.
    #[test]
    fn the_constants_are_the_normals() {
        let moment = |of: &dyn Fn(f64) -> f64| {
            let step = 0.001;
            let terms = (-10_000..=10_000).map(|at| {
                let r = f64::from(at) * step;
                of(r) * (-0.5 * r * r).exp() / (2.0 * std::f64::consts::PI).sqrt() * step
            });
            terms.sum::<f64>()
        };
        let weight = |r: f64| (1.0 - (r / LIMIT).powi(2)).max(0.0).powi(2);
        let (weighed, squared) = (moment(&|r| weight(r) * r * r), moment(&|r| (weight(r) * r).powi(2)));
        let mean = moment(&weight);
        assert!((mean - WEIGHT).abs() < 1e-3, "{mean}");
        assert!((weighed - WEIGHED).abs() < 1e-3, "{weighed}");
        assert!((squared - SCORE_SQUARED).abs() < 1e-3, "{squared}");
    }

    /// Four observations of 2 with error 1 beside an expected 0 ± 1: 0.95 · 4 to 1.
    #[test]
    fn prior_and_observations_weigh_as_they_inform() {
        let expected = [Expected { mean: 2.0, sd: 1.0, start: 2.0 }];
        let found = fit(&expected, 4, |_, at, slopes| {
            slopes[0] = 1.0;
            2.0 - at[0]
        });
        assert!((found.values[0] - 2.0).abs() < 1e-12);
        let sum = found.sum(&[1.0]);
        assert!(sum.prior_share < 1.0 / 4.8 && sum.half > 0.0, "{sum:?}");
        let none = fit(&expected, 0, |_, _, _| 0.0).sum(&[1.0]);
        assert!((none.half - 1.6449).abs() < 1e-3 && none.prior_share == 1.0, "{none:?}");
    }
}
