//! What the plants will take, as litres of solution at the EC aim.
//!
//! Water drunk is replaced by water, so what is missing is what was dosed to reach the aim again. Uptake is the curve
//! along the cycle, times how stage and tank differ from it, times how the site does now (weather and light). How long
//! that lasts is not known beforehand, so three answers stand side by side, and each tank believes the one that came
//! nearest two weeks ahead.

use super::history::{History, Regime};
use super::question::TankMode;
use super::spans::{Cell, PARTS, WEEK, late_stage};

/// Width in parts over which neighbours speak for each other: uptake changes over weeks, not days.
const WIDTH: f64 = 1.2;

/// Tank-days for which the site's mean stands in a part that nothing was recorded in.
const PRIOR_DAYS: f64 = 6.0;

/// L per plant and day before anything is on record: a middling leaf or fruit crop, common practice, no source.
pub(super) const PRIOR_LITRES: f64 = 0.3;

/// Weeks after which a tank's level counts half.
const LEVEL_HALF_LIFE: f64 = 12.0;

/// Tank-days of mean uptake that hold a level or a stage near the curve.
const HOLD_DAYS: f64 = 5.0;

/// Tanks' weekly uptake that holds a week near one; our own judgement.
const WEEK_HOLD: f64 = 1.5;

/// Rounds in which curve, stages, tanks and weeks are fitted to each other.
const ROUNDS: usize = 2;

/// Ways to say what the next weeks take: a passing deviation, a lasting one, and what the tank took lately.
pub(super) const WAYS: usize = 3;

/// Of each week's deviation kept for the next week's estimate, by way; our own judgement.
const KEPT_A_WEEK: [f64; WAYS] = [0.45, 0.85, 0.65];

/// Of today's deviation left after each day ahead: weather passes, light and hands stay. Our own judgement.
const LEFT_A_DAY: [f64; WAYS] = [0.9, 0.995, 1.0];

/// Of what is expected, what holds the present deviation near none; our own judgement.
const NOW_HOLD: f64 = 0.2;

/// Relative squared errors that each way starts with, over as many weeks.
const PRIOR_ERRORS: [f64; WAYS] = [0.04, 0.05, 0.09];
const PRIOR_WEEKS: f64 = 3.0;

/// Weeks ahead at which the ways are compared.
const COMPARED_WEEKS: usize = 2;

/// Uptake as it was known at the start of a day.
#[derive(Debug, Clone)]
pub(super) struct Uptake {
    curve: [f64; PARTS],
    stages: [f64; 2],
    levels: Vec<f64>,
    /// How the site did in each week, counted back from today.
    weeks: Vec<f64>,
    now: [f64; WAYS],
    /// By how much it will differ from the usual so many days ahead, by way.
    ahead: Vec<[f64; WAYS]>,
    lately: Vec<f64>,
    shares: Vec<[f64; WAYS]>,
    /// Spans it was learnt from.
    pub(super) spans: usize,
}

/// Sums of what was taken over what was expected, with a hold near one.
#[derive(Debug, Clone, Copy)]
struct Quotient {
    taken: f64,
    expected: f64,
}

impl Quotient {
    fn held(by: f64) -> Quotient {
        Quotient { taken: by, expected: by }
    }

    fn add(&mut self, taken: f64, expected: f64) {
        self.taken += taken;
        self.expected += expected;
    }

    fn value(self) -> f64 {
        if self.expected > 0.0 { self.taken / self.expected } else { 1.0 }
    }
}

impl Uptake {
    /// From the cells that were complete so many weeks before today, for so many days ahead.
    pub(super) fn learn(
        history: &History,
        cells: &[Cell],
        (weeks_ago, days): (usize, usize),
        errors: &WayErrors,
    ) -> Uptake {
        let known = &cells[..cells.partition_point(|cell| cell.weeks_ago >= weeks_ago)];
        let tanks = history.tanks.len();
        let mut uptake = Uptake {
            curve: [0.0; PARTS],
            stages: [1.0; 2],
            levels: vec![1.0; tanks],
            weeks: vec![1.0; known.first().map_or(0, |cell| cell.weeks_ago + 1)],
            now: [1.0; WAYS],
            ahead: Vec::new(),
            lately: vec![0.0; tanks],
            shares: (0..tanks).map(|tank| errors.shares(tank)).collect(),
            spans: known.iter().map(|cell| cell.spans).sum(),
        };
        let prior_l = PRIOR_LITRES * top_up_share(history, weeks_ago);
        for _ in 0..ROUNDS {
            uptake.curve = uptake.fit_curve(known, prior_l);
            uptake.fit_stages(known);
            uptake.fit_levels(known, weeks_ago);
            uptake.fit_weeks(known);
        }
        uptake.fit_now(known, weeks_ago);
        let differs = |way: usize, day: usize| (uptake.now[way] - 1.0) * LEFT_A_DAY[way].powf(day as f64);
        uptake.ahead = (0..=days).map(|day| std::array::from_fn(|way| differs(way, day))).collect();
        uptake.fit_lately(known, weeks_ago);
        uptake
    }

    fn without_site(&self, cell: &Cell) -> f64 {
        self.curve[cell.part] * self.stages[cell.late_stage] * self.levels[cell.tank] * cell.days
    }

    fn mean(&self) -> f64 {
        self.curve.iter().sum::<f64>() / PARTS as f64
    }

    fn fit_curve(&self, cells: &[Cell], prior_l: f64) -> [f64; PARTS] {
        let (mut taken, mut days) = ([0.0; PARTS], [0.0; PARTS]);
        for cell in cells {
            let usual = self.stages[cell.late_stage] * self.levels[cell.tank] * self.weeks[cell.weeks_ago];
            taken[cell.part] += cell.per_plant_l / usual;
            days[cell.part] += cell.days;
        }
        let all_days: f64 = days.iter().sum();
        let prior_l = (taken.iter().sum::<f64>() + prior_l * PRIOR_DAYS) / (all_days + PRIOR_DAYS);
        let nearness: [f64; PARTS] =
            std::array::from_fn(|apart| (-0.5 * (apart as f64 / WIDTH).powi(2)).exp());
        std::array::from_fn(|part| {
            let near = |values: &[f64; PARTS]| -> f64 {
                let each = values.iter().enumerate();
                each.map(|(other, value)| nearness[part.abs_diff(other)] * value).sum()
            };
            (near(&taken) + PRIOR_DAYS * prior_l) / (near(&days) + PRIOR_DAYS)
        })
    }

    fn fit_stages(&mut self, cells: &[Cell]) {
        let mut sums = [Quotient::held(4.0 * HOLD_DAYS * self.mean()); 2];
        for cell in cells {
            let usual = self.without_site(cell) * self.weeks[cell.weeks_ago] / self.stages[cell.late_stage];
            sums[cell.late_stage].add(cell.per_plant_l, usual);
        }
        self.stages = sums.map(Quotient::value);
    }

    fn fit_levels(&mut self, cells: &[Cell], weeks_ago: usize) {
        let mut sums = vec![Quotient::held(HOLD_DAYS * self.mean()); self.levels.len()];
        let fading = fading(f64::exp2(-1.0 / LEVEL_HALF_LIFE), self.weeks.len());
        for cell in cells {
            let weight = fading[cell.weeks_ago - weeks_ago];
            let usual = self.without_site(cell) * self.weeks[cell.weeks_ago] / self.levels[cell.tank];
            sums[cell.tank].add(weight * cell.per_plant_l, weight * usual);
        }
        self.levels = sums.into_iter().map(Quotient::value).collect();
    }

    /// Weather and light move all tanks together. With few tanks they cannot be told from the curve, so a week is held
    /// near one by what a tank and a half take.
    fn fit_weeks(&mut self, cells: &[Cell]) {
        let expected =
            |uptake: &Uptake, cell: &Cell| uptake.without_site(cell) * cell.plant_days / cell.days.max(1e-9);
        let all: f64 = cells.iter().map(|cell| expected(self, cell)).sum();
        let tank_weeks = (self.weeks.len() * self.levels.len()).max(1) as f64;
        let mut sums = vec![Quotient::held(WEEK_HOLD * all / tank_weeks); self.weeks.len()];
        for cell in cells {
            let taken = cell.per_plant_l * cell.plant_days / cell.days.max(1e-9);
            sums[cell.weeks_ago].add(taken, expected(self, cell));
        }
        self.weeks = sums.into_iter().map(|sum| sum.value().clamp(0.3, 3.0)).collect();
    }

    fn fit_now(&mut self, cells: &[Cell], weeks_ago: usize) {
        for (way, kept) in KEPT_A_WEEK.into_iter().enumerate() {
            let mut sum = Quotient::held(0.0);
            let fading = fading(kept, self.weeks.len());
            let plants = |cell: &Cell| cell.plant_days / cell.days.max(1e-9);
            for cell in cells {
                let weight = fading[cell.weeks_ago - weeks_ago] * plants(cell);
                sum.add(weight * cell.per_plant_l, weight * self.without_site(cell));
            }
            let hold = NOW_HOLD * sum.expected;
            sum.add(hold, hold);
            self.now[way] = sum.value().clamp(0.4, 2.5);
        }
    }

    fn fit_lately(&mut self, cells: &[Cell], weeks_ago: usize) {
        let last = WAYS - 1;
        let mut sums = vec![(0.0, 0.0); self.levels.len()];
        let fading = fading(KEPT_A_WEEK[last], self.weeks.len());
        for cell in cells {
            let weight = fading[cell.weeks_ago - weeks_ago];
            sums[cell.tank].0 += weight * cell.per_plant_l;
            sums[cell.tank].1 += weight * cell.days;
        }
        for (tank, (taken, days)) in sums.into_iter().enumerate() {
            // Two days of what the curve expects on average: a tank that nothing is known of goes by it.
            let usual = 2.0 * self.mean() * self.levels[tank];
            self.lately[tank] = (taken + usual) / (days + 2.0);
        }
    }

    fn at(&self, position: f64) -> f64 {
        let place = (position * PARTS as f64 - 0.5).clamp(0.0, (PARTS - 1) as f64);
        let below = (place.floor() as usize).min(PARTS - 2);
        let share = place - below as f64;
        self.curve[below] * (1.0 - share) + self.curve[below + 1] * share
    }

    fn ways(&self, tank: usize, usual: f64, ahead: usize) -> [f64; WAYS] {
        let of_curve = |way: usize| usual * (1.0 + self.ahead[ahead][way]);
        [of_curve(0), of_curve(1), self.lately[tank]]
    }

    /// Expected litres at the aim that a tank's plants take on a day, so many days after what is known.
    pub(super) fn litres(&self, tank: usize, regime: &Regime, day: usize, ahead: usize) -> f64 {
        let usual = self.at(regime.position(day as f64 + 0.5))
            * self.stages[late_stage(regime.fed.stage)]
            * self.levels[tank];
        let ways = self.ways(tank, usual, ahead);
        let mixed: f64 = ways.iter().zip(&self.shares[tank]).map(|(way, share)| way * share).sum();
        mixed * regime.fed.plants
    }

    /// How far each way is from what each tank took two weeks after a day that was so many weeks ago.
    pub(super) fn compared(&self, cells: &[Cell], weeks_ago: usize) -> Vec<(usize, [f64; WAYS])> {
        let Some(week) = weeks_ago.checked_sub(COMPARED_WEEKS + 1) else { return Vec::new() };
        let from = cells.partition_point(|cell| cell.weeks_ago > week);
        let of_week = cells[from..].iter().take_while(|cell| cell.weeks_ago == week);
        let mut sums: std::collections::BTreeMap<usize, ([f64; WAYS], f64)> =
            std::collections::BTreeMap::new();
        for cell in of_week {
            let usual = self.without_site(cell) / cell.days.max(1e-9);
            let ways = self.ways(cell.tank, usual, COMPARED_WEEKS * WEEK + WEEK / 2);
            let sum = sums.entry(cell.tank).or_default();
            for (off, way) in sum.0.iter_mut().zip(ways) {
                *off += way * cell.days - cell.per_plant_l;
            }
            sum.1 += cell.days * self.levels[cell.tank] * self.mean();
        }
        let relative = |(tank, (off, usual)): (usize, ([f64; WAYS], f64))| {
            (tank, off.map(|off| (off / usual.max(1e-9)).powi(2).min(4.0)))
        };
        sums.into_iter().map(relative).collect()
    }
}

/// What is left of one after each of so many weeks.
fn fading(kept: f64, weeks: usize) -> Vec<f64> {
    std::iter::successors(Some(1.0), |left| Some(left * kept)).take(weeks).collect()
}

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

    /// Learns what [`Uptake::compared`] found.
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

    /// The part of each way: the inverse square of its mean squared error, the site's counting as three weeks.
    fn shares(&self, tank: usize) -> [f64; WAYS] {
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

/// The strength of the top-ups to come by the programmes, as a part of the changes'. It tells how much of the litres
/// expected before anything is on record is product. Spans need it not: they are in what was poured, at any strength.
fn top_up_share(history: &History, weeks_ago: usize) -> f64 {
    let from = history.today.saturating_sub(weeks_ago * WEEK);
    let tanks = history.tanks.iter().filter(|tank| tank.mode == TankMode::Changed);
    let to_come = tanks.flat_map(|tank| (from..history.length()).filter_map(|day| tank.fed(day)));
    let (sum, days) =
        to_come.fold((0.0, 0.0), |(sum, days), regime| (sum + regime.fed.top_up_share, days + 1.0));
    if days > 0.0 { sum / days } else { 1.0 }
}
