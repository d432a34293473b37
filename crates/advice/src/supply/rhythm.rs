//! The rhythm in which a tank is really changed, whatever the plan says: after so many days, or after it was topped up
//! so many times over.

use super::changes::Slips;
use super::fill_path::{Asking, FillPath};
use super::fill_plan::NOT_BEFORE_THE_END_DAYS;
use super::history::{History, TankHistory, summed};
use super::normal::{chance_up_to, normal_density};

/// Days after which an interval counts half.
const HALF_LIFE: f64 = 180.0;

/// The programme's interval counts as this much of an interval done.
const PRIOR_INTERVALS: f64 = 0.5;

/// Spread of the logarithm of intervals before any is on record; counts as two.
const PRIOR_LOG_SD: f64 = 0.2;

/// Beyond so many spreads nothing is reckoned with; our own judgement.
const FAR: f64 = 4.0;

/// A change of a smaller chance is no change after which another is looked for; our own judgement.
const NEGLIGIBLE: f64 = 1e-3;

/// Rounds in which what was cut short and the rest are fitted to each other.
const ROUNDS: usize = 8;

/// So many spreads beyond the mean next to nothing lies beyond a limit: what does, lies at it.
const FAR_BEYOND: f64 = 8.0;

/// Nobody's rhythm is steadier than this.
const LEAST_LOG_SD: f64 = 0.05;

/// What a tank has gone through since its last change, and what that was at its changes.
#[derive(Debug)]
pub(super) struct Rhythm {
    /// In order of their ends.
    intervals: Vec<Interval>,
    /// Litres topped up over the volume of the tank, until the start of each day up to today.
    pub(super) turnover: Vec<f64>,
}

/// From one change to the next, or to the end of the crop.
#[derive(Debug)]
struct Interval {
    from: usize,
    /// The last day on which it was not over yet, and the first on which it was; the same where it was cut short.
    between: (usize, usize),
    /// Day of its end.
    ended: usize,
    /// Whether a change ended it: where a crop did, it would have lasted longer.
    changed: bool,
}

/// The logarithm of an interval, what it weighs, and whether it is known whole.
#[derive(Debug, Clone, Copy)]
struct Known {
    log: f64,
    weight: f64,
    whole: bool,
}

/// What intervals are measured by.
#[derive(Debug)]
pub(super) struct Measure<'a> {
    /// What was gone through until the start of each day up to that of asking.
    pub(super) past: &'a [f64],
    /// What is gone through since the day of asking when the tank is looked at on each day.
    pub(super) looked_at: Vec<f64>,
    /// The same when it is changed on it.
    pub(super) changed: Vec<f64>,
    /// An interval before any is on record.
    pub(super) prior: Option<f64>,
}

impl Rhythm {
    /// Of a tank.
    pub(super) fn new(history: &History, tank: &TankHistory) -> Rhythm {
        let mut turnover = vec![0.0; history.today + 1];
        for visit in tank.visits.iter().filter(|visit| visit.day < history.today) {
            turnover[visit.day + 1] = visit.top_up_l / tank.volume_l.max(1e-9);
        }
        let starts = tank.fills.iter().map(|(day, _)| *day);
        let next = starts.clone().skip(1).map(Some).chain([None]);
        let intervals = starts.zip(next).filter_map(|(from, next)| {
            let crop_ends = (from..next.unwrap_or(history.today)).find(|day| tank.fed(*day).is_none());
            let (ended, least, most) = match (crop_ends, next) {
                // A crop is left as it is in its last days, and before nobody may have been there.
                (Some(day), _) => {
                    let looked = last_visit(tank, day.saturating_sub(NOT_BEFORE_THE_END_DAYS));
                    (day, looked, looked)
                }
                // It was not due yet when it was last looked at.
                (None, Some(next)) => (next, history.open_before(next).max(from), next),
                (None, None) => return None,
            };
            let changed = crop_ends.is_none();
            (most > from).then_some(Interval { from, between: (least, most), ended, changed })
        });
        Rhythm { intervals: intervals.collect(), turnover: summed(turnover) }
    }

    /// Mean and spread of the logarithm of the intervals known; none where nothing tells it. An interval that a crop's end cut short
    /// is as long as those are that last longer than it did (A. P. Dempster, N. M. Laird and D. B. Rubin 1977, "Maximum likelihood
    /// from incomplete data via the EM algorithm", 4.2; from memory).
    fn learnt(&self, measure: &Measure<'_>, asking: &Asking<'_>) -> Option<(f64, f64)> {
        let known = self.intervals.iter().take_while(|interval| interval.ended < asking.known_until());
        let of_record = known.map(|interval| Known {
            log: interval.log(measure.past),
            weight: 0.5_f64.powf((asking.origin - interval.ended.min(asking.origin)) as f64 / HALF_LIFE),
            whole: interval.changed,
        });
        let prior = measure.prior.map(|prior| prior.max(0.01).ln());
        let of_prior = prior.map(|log| Known { log, weight: PRIOR_INTERVALS, whole: true });
        let (whole, cut): (Vec<Known>, Vec<Known>) = of_record.chain(of_prior).partition(|one| one.whole);
        let told = |one: &Known| (one.log, 0.0, one.weight);
        let mut learnt = spread(whole.iter().map(told))?;
        if cut.is_empty() {
            return Some(learnt);
        }
        for _ in 0..ROUNDS {
            let longer = cut.iter().map(|one| {
                let (log, variance) = beyond(one.log, learnt);
                (log, variance, one.weight)
            });
            learnt = spread(whole.iter().map(told).chain(longer))?;
        }
        Some(learnt)
    }

    /// Sum of the logarithms of the known turnovers at a change, and their number.
    pub(super) fn turnovers(&self, known_until: usize) -> (f64, f64) {
        let known = self.intervals.iter().take_while(|interval| interval.ended < known_until);
        let changed = known.filter(|interval| interval.changed);
        changed.fold((0.0, 0.0), |(sum, count), one| (sum + one.log(&self.turnover), count + 1.0))
    }
}

impl Interval {
    /// The logarithm of what was gone through in it.
    fn log(&self, gone: &[f64]) -> f64 {
        let (least, most) = self.between;
        (0.5 * (gone[least] + gone[most]) - gone[self.from]).max(0.01).ln()
    }
}

/// The last day up to a day on which somebody was at a tank; the first day where nobody was.
fn last_visit(tank: &TankHistory, until: usize) -> usize {
    let before = tank.visits.partition_point(|visit| visit.day <= until);
    before.checked_sub(1).map_or(0, |place| tank.visits[place].day)
}

/// Mean and spread of values with variances of their own and weights, with the spread that is assumed before any; none without a
/// weight.
fn spread(values: impl Iterator<Item = (f64, f64, f64)> + Clone) -> Option<(f64, f64)> {
    let weight: f64 = values.clone().map(|(.., weight)| weight).sum();
    if weight <= 0.0 {
        return None;
    }
    let mean = values.clone().map(|(value, _, weight)| value * weight).sum::<f64>() / weight;
    let squares: f64 =
        values.map(|(value, variance, weight)| weight * ((value - mean).powi(2) + variance)).sum();
    let variance = (squares + 2.0 * PRIOR_LOG_SD.powi(2)) / (weight + 2.0);
    Some((mean, variance.sqrt().max(LEAST_LOG_SD)))
}

/// Mean and variance of what of a normal distribution lies beyond a limit.
fn beyond(limit: f64, (mean, sd): (f64, f64)) -> (f64, f64) {
    let z = (limit - mean) / sd;
    if z > FAR_BEYOND {
        return (limit, 0.0);
    }
    let hazard = normal_density(z) / chance_up_to(-z);
    (mean + sd * hazard, sd * sd * (1.0 + z * hazard - hazard * hazard))
}

/// The coming changes of a tank in its own rhythm; none where nothing tells it yet.
pub(super) fn in_its_rhythm(
    asking: &Asking<'_>,
    rhythm: &Rhythm,
    measure: &Measure<'_>,
    slips: &Slips,
) -> Option<FillPath> {
    let learnt = rhythm.learnt(measure, asking)?;
    let far = (FAR * learnt.1).exp();
    let ends = (learnt.0.exp() / far, learnt.0.exp() * far);
    Some(Chain { asking, measure, learnt, ends, slips }.walk())
}

impl Measure<'_> {
    /// By days, each as long as the site takes much on it: what is gone through until the start of each day, from the first on
    /// record to the end of the days to come. As days grow shorter a tank is changed less often.
    pub(super) fn by_pace<'a>(gone: &'a [f64], asking: &Asking<'_>) -> Measure<'a> {
        let days = (0..asking.days).map(|place| gone[asking.origin + place] - gone[asking.origin]);
        let days: Vec<f64> = days.collect();
        let regime = (asking.origin..asking.history.length()).find_map(|day| asking.tank.fed(day));
        let programme = regime.and_then(|regime| regime.fed.change_every_days).map(usize::from);
        // What is done on the fourteenth day was due within it. The programme says nothing of the season.
        let of_programme = |interval: usize| {
            let until = (asking.origin + interval).min(gone.len() - 1);
            let pace = (gone[until] - gone[asking.origin]) / (until - asking.origin).max(1) as f64;
            pace * (interval as f64 - 0.5)
        };
        let prior = programme.map(of_programme);
        Measure { past: gone, looked_at: days.clone(), changed: days, prior }
    }

    /// By turnover, with what is expected to be topped up on each day, L, and the site's usual one. What plants took since the last
    /// visit counts for a change only once it is topped up.
    pub(super) fn by_turnover<'a>(
        rhythm: &'a Rhythm,
        asking: &Asking<'_>,
        litres: &[f64],
        usual: Option<f64>,
    ) -> Measure<'a> {
        let seen = asking.history.open_before(asking.origin);
        let owed = litres.first().map_or(0.0, |litres| litres * (asking.origin - seen) as f64);
        let (mut sum, mut topped_up) = (owed, 0.0);
        let each = (0..asking.days).map(|place| {
            let (looked_at, changed) = (topped_up, sum);
            if asking.history.open[asking.origin + place] {
                topped_up = sum;
            }
            sum += litres[place];
            let whole = asking.tank.volume_l.max(1e-9);
            (looked_at / whole, changed / whole)
        });
        let (looked_at, changed) = each.unzip();
        Measure { past: &rhythm.turnover, looked_at, changed, prior: usual }
    }
}

struct Chain<'a> {
    asking: &'a Asking<'a>,
    measure: &'a Measure<'a>,
    learnt: (f64, f64),
    /// Before so much was gone through no interval is over, and after so much each is.
    ends: (f64, f64),
    slips: &'a Slips,
}

/// Changes that may have been the last: what was gone through at it, its chance, and how much of that is past.
struct Last {
    gone: f64,
    chance: f64,
    past: f64,
}

impl Chain<'_> {
    /// Chance that an interval is over when so much was gone through; the logistic curve stands for the normal one.
    fn over(&self, gone: f64) -> f64 {
        if gone <= self.ends.0 {
            return 0.0;
        }
        if gone >= self.ends.1 {
            return 1.0;
        }
        1.0 / (1.0 + (-1.702 * (gone.ln() - self.learnt.0) / self.learnt.1).exp())
    }

    /// What was gone through since the last change until the day of asking, and until the last day on which it was not yet enough.
    fn since_last(&self) -> Option<(f64, f64)> {
        let tank = self.asking.tank;
        tank.fed(self.asking.origin)?;
        let origin = self.asking.origin;
        let last = self.asking.last_fill().unwrap_or(0).min(origin);
        if (last..origin).any(|day| tank.fed(day).is_none()) {
            return None;
        }
        let looked = self.asking.history.open_before(origin).max(last);
        let past = self.measure.past;
        let until = |day: usize| past[day] - past[last];
        Some((until(origin), until(looked)))
    }

    fn walk(&self) -> FillPath {
        let (asking, tank) = (self.asking, self.asking.tank);
        let mut path = FillPath::new(asking.days);
        let mut last: Vec<Last> = Vec::new();
        // Plants that stand in a tank which was not filled since they came wait for their first fill.
        let mut first = match self.since_last() {
            Some((since, before)) => {
                let today = asking.last_fill() == Some(asking.origin);
                let gone = if today { self.measure.changed.first().copied().unwrap_or(0.0) } else { -since };
                last.push(Last { gone, chance: 1.0, past: self.over(before).min(0.98) });
                Vec::new()
            }
            None if tank.fed(asking.origin).is_some() => {
                let start = asking.origin.saturating_sub(1);
                asking.start_odds(start, self.slips)
            }
            None => Vec::new(),
        };
        let (mut number, mut spread) = (0.0, 0.0);
        for place in 0..asking.days {
            let day = asking.origin + place;
            if tank.fed(day).is_none() {
                last.clear();
            } else if tank.starts_on(day) && place > 0 {
                first = asking.start_odds(day, self.slips);
            }
            let known = place == 0 && asking.known_until() > day;
            if tank.fed(day).is_some()
                && asking.history.open[day]
                && !(known && asking.last_fill() == Some(day))
            {
                let filled: f64 = first.iter().filter(|(on, _)| *on == day).map(|(_, chance)| chance).sum();
                path.whole[place] = filled;
                let changed = if self.ends_soon(day) { 0.0 } else { self.step(&mut last, place) };
                if filled + changed > NEGLIGIBLE {
                    last.push(Last {
                        gone: self.measure.changed[place],
                        chance: filled + changed,
                        past: 0.0,
                    });
                }
                path.changes[place] = filled + changed;
                spread += changed * self.learnt.1.powi(2);
                number += changed;
            }
            let open = number - f64::floor(number);
            path.variance[place] = spread + 0.25 * open * (1.0 - open);
        }
        path
    }

    /// The chance that one of the intervals that may be running is over by a day and was not before.
    fn step(&self, last: &mut [Last], place: usize) -> f64 {
        let mut changed = 0.0;
        for one in last.iter_mut().filter(|one| one.chance > NEGLIGIBLE / 10.0) {
            let past = self.over(self.measure.looked_at[place] - one.gone).max(one.past);
            let now = one.chance * (past - one.past) / (1.0 - one.past).max(1e-6);
            changed += now;
            one.chance -= now;
            one.past = past.min(1.0 - 1e-6);
        }
        changed
    }

    fn ends_soon(&self, day: usize) -> bool {
        let (last, length) = (day + NOT_BEFORE_THE_END_DAYS, self.asking.history.length());
        last < length && self.asking.tank.fed(last).is_none()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half of a normal distribution has the mean √(2/π) and the variance 1 − 2/π; beyond one spread it is 0.24197/0.15866 (density
    /// and tail: M. Abramowitz and I. A. Stegun, "Handbook of Mathematical Functions", table 26.1; from memory).
    #[test]
    fn what_lies_beyond_a_limit() {
        let near = |got: (f64, f64), mean: f64, variance: f64| {
            assert!((got.0 - mean).abs() < 1e-4 && (got.1 - variance).abs() < 1e-4, "{got:?}");
        };
        near(beyond(0.0, (0.0, 1.0)), 0.797_88, 0.363_38);
        near(beyond(3.0, (2.0, 1.0)), 3.525_1, 1.0 + 1.525_1 - 1.525_1 * 1.525_1);
        near(beyond(20.0, (0.0, 1.0)), 20.0, 0.0);
    }
}
