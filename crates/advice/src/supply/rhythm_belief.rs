//! Which way to tell the changes of a tank is believed: the likelier it made what was done, at this tank and at the others of the
//! site, since people who go by the plan at one tank go by it at most.

use super::spans::WEEK;

/// Ways to say when a tank is changed: by the plan, after days of its own at the pace of the site, after its own turnover.
pub(super) const RHYTHMS: usize = 3;

/// Weeks whose changes are held against what was told.
pub(super) const JUDGED_WEEKS: usize = 4;

/// The plan is believed until the record speaks against it: so many tanks stand for each way before any is on record; our own
/// judgement.
const PRIOR_TANKS: [f64; RHYTHMS] = [10.0, 0.6, 0.3];

/// A tank speaks for the others as so many of those; our own judgement.
const TANK_WEIGHT: f64 = 3.0;

/// Nothing is less likely than this, whatever a way tells: somebody is ill, or a pump stands still. Our own judgement.
const LEAST_CHANCE: f64 = 0.04;

/// A week is told up to four times, by forecasts that know much the same, so each counts for about a third of an observation.
const OBSERVATION: f64 = 0.3;

/// Of what is known kept at each further forecast.
const KEPT: f64 = 0.95;

/// Rounds in which tanks and site are fitted to each other.
const ROUNDS: usize = 4;

/// Changes that each way told for each of the judged weeks.
pub(super) type Told = [[f64; JUDGED_WEEKS]; RHYTHMS];

/// The changes of each week of a path.
pub(super) fn by_week(changes: &[f64]) -> [f64; JUDGED_WEEKS] {
    let mut weeks = [0.0; JUDGED_WEEKS];
    for (week, days) in weeks.iter_mut().zip(changes.chunks(WEEK)) {
        *week = days.iter().sum();
    }
    weeks
}

/// How unlikely each way made what was done at each tank.
#[derive(Debug, Clone)]
pub(super) struct RhythmBelief {
    /// Sums of negative logarithms of chances; none where nothing came out yet.
    tanks: Vec<Option<[f64; RHYTHMS]>>,
}

impl RhythmBelief {
    /// Nothing is known yet.
    pub(super) fn new(tanks: usize) -> RhythmBelief {
        RhythmBelief { tanks: vec![None; tanks] }
    }

    /// Learns how many changes were done at a tank in each week of a forecast that is over.
    pub(super) fn learn(&mut self, tank: usize, told: &Told, done: [f64; JUDGED_WEEKS]) {
        let sums = self.tanks[tank].get_or_insert([0.0; RHYTHMS]);
        for (sum, told) in sums.iter_mut().zip(told) {
            *sum = *sum * KEPT + told.iter().zip(done).map(|(told, done)| surprise(*told, done)).sum::<f64>();
        }
    }

    /// The part of each way, tank by tank.
    pub(super) fn shares(&self) -> Vec<[f64; RHYTHMS]> {
        let mut usual = parts(PRIOR_TANKS);
        for _ in 1..ROUNDS {
            let mut sums = PRIOR_TANKS;
            for surprises in self.tanks.iter().flatten() {
                let shares = weighed(usual, *surprises);
                sums.iter_mut().zip(shares).for_each(|(sum, share)| *sum += TANK_WEIGHT * share);
            }
            usual = parts(sums);
        }
        self.tanks
            .iter()
            .map(|surprises| surprises.map_or(usual, |surprises| weighed(usual, surprises)))
            .collect()
    }
}

/// The negative logarithm of the chance of so many changes where a number between two was told: those two share the chance.
fn surprise(told: f64, done: f64) -> f64 {
    let chance = (1.0 - (done - told).abs()).max(0.0);
    -((1.0 - 2.0 * LEAST_CHANCE) * chance + LEAST_CHANCE).ln()
}

fn weighed(usual: [f64; RHYTHMS], surprises: [f64; RHYTHMS]) -> [f64; RHYTHMS] {
    let least = surprises.iter().copied().fold(f64::INFINITY, f64::min);
    parts(std::array::from_fn(|way| usual[way] * (-OBSERVATION * (surprises[way] - least)).exp()))
}

fn parts(weights: [f64; RHYTHMS]) -> [f64; RHYTHMS] {
    let sum: f64 = weights.iter().sum();
    weights.map(|weight| weight / sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The part of each way at the first of two tanks: both were told by the plan a change in the first week, by days one in
    /// the second, by turnover none, and so often did the change of each tank come in the first week, or else in the second.
    #[track_caller]
    fn check(first: usize, second: usize, expected: impl Fn([f64; RHYTHMS]) -> bool) {
        let told = [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0; JUDGED_WEEKS]];
        let mut belief = RhythmBelief::new(2);
        for (tank, by_the_plan) in [first, second].into_iter().enumerate() {
            for forecast in 0..4 {
                let done = usize::from(forecast >= by_the_plan);
                belief.learn(tank, &told, std::array::from_fn(|week| f64::from(u8::from(week == done))));
            }
        }
        let shares = belief.shares()[0];
        assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-9 && expected(shares), "{shares:?}");
    }

    #[test]
    fn the_way_that_told_the_changes_is_believed() {
        check(4, 4, |shares| shares[0] > 0.99);
        check(0, 0, |shares| shares[1] > 0.95);
    }

    #[test]
    fn other_tanks_speak_too_where_a_tank_says_little() {
        check(2, 4, |shares| shares[0] > 0.9);
        check(2, 0, |shares| shares[0] < 0.7 && shares[1] > 0.3);
    }

    #[test]
    fn without_records_the_plan_is_believed() {
        assert!(RhythmBelief::new(1).shares()[0][0] > 0.9);
    }
}
