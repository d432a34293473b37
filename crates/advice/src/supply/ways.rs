//! Ways to say what the next weeks take, each believed as far as it came near before.

/// Ways to say what the next weeks take, all with the season: by the curve with a passing deviation of the site and with a lasting one,
/// and what the tank took lately.
pub(super) const WAYS: usize = 3;

/// Relative squared errors that each way starts with, over as many weeks.
const PRIOR_ERRORS: [f64; WAYS] = [0.04, 0.05, 0.09];
const PRIOR_WEEKS: f64 = 3.0;

/// How far the ways were off so far.
#[derive(Debug, Clone)]
pub(super) struct WayErrors {
    site: [f64; WAYS],
    site_weeks: f64,
    tanks: Vec<([f64; WAYS], f64)>,
}

impl WayErrors {
    /// Nothing is known yet.
    pub(super) fn new(tanks: usize) -> WayErrors {
        WayErrors {
            site: PRIOR_ERRORS.map(|error| error * PRIOR_WEEKS),
            site_weeks: PRIOR_WEEKS,
            tanks: vec![([0.0; WAYS], 0.0); tanks],
        }
    }

    /// Learns what [`Uptake::compared`](super::uptake::Uptake::compared) found.
    pub(super) fn learn(&mut self, compared: &[(usize, [f64; WAYS])]) {
        for (tank, errors) in compared {
            for (way, error) in errors.iter().enumerate() {
                self.site[way] += error;
                self.tanks[*tank].0[way] += error;
            }
            self.site_weeks += 1.0;
            self.tanks[*tank].1 += 1.0;
        }
    }

    /// The part of each way: by its mean squared error, the site's counting as three weeks.
    pub(super) fn shares(&self, tank: usize) -> [f64; WAYS] {
        let (errors, weeks) = &self.tanks[tank];
        let mean = |way: usize| {
            (errors[way] + PRIOR_WEEKS * self.site[way] / self.site_weeks) / (weeks + PRIOR_WEEKS)
        };
        shares_by_error(std::array::from_fn(mean), ERROR_POWER)
    }
}

/// The power of the inverse mean squared error by which ways are weighed; our own judgement.
pub(super) const ERROR_POWER: i32 = 4;

/// A way whose part would be smaller than this says nothing: little of much that is wrong is still wrong.
pub(super) const LEAST_PART: f64 = 0.1;

/// Parts that add up to one, the larger the smaller a mean squared error is: its inverse to a power that is high, since errors
/// of several ways are much alike and the best one shall speak.
pub(super) fn shares_by_error<const N: usize>(errors: [f64; N], power: i32) -> [f64; N] {
    let least = errors.iter().copied().fold(f64::INFINITY, f64::min).max(1e-12);
    let weights = errors.map(|error| (least / error.max(1e-12)).powi(power));
    let sum: f64 = weights.iter().sum();
    let kept = weights.map(|weight| if weight < LEAST_PART * sum { 0.0 } else { weight });
    let sum: f64 = kept.iter().sum();
    kept.map(|weight| weight / sum)
}
