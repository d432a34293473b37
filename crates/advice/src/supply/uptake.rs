//! What the plants will take, as litres of solution at the EC aim.
//!
//! Water drunk is replaced by water, so what is missing is what was dosed to reach the aim again. Uptake is the curve
//! along the cycle, times how stage and tank differ from it, times how the site does now (weather and light). How long
//! that lasts is not known beforehand, so several answers stand side by side, and each tank believes the one that came
//! nearest two weeks ahead.

use super::history::{History, Regime};
use super::question::TankMode;
use super::site_weeks::{SiteAhead, SiteWeek, SiteWeeks};
use super::spans::{Cell, PARTS, WEEK, late_stage};
use super::ways::{WAYS, WayErrors};

/// Width in parts over which neighbours speak for each other: uptake changes over weeks, not days.
const WIDTH: f64 = 1.2;

/// Tank-days for which the site's mean stands in a part that nothing was recorded in.
const PRIOR_DAYS: f64 = 6.0;

/// L per plant and day before anything is on record: a middling leaf or fruit crop, common practice, no source.
pub(super) const PRIOR_LITRES: f64 = 0.3;

/// No plant takes less than this part of that; our own judgement.
const LEAST_OF_ASSUMED: f64 = 0.01;

/// Weeks after which a tank's level counts half.
const LEVEL_HALF_LIFE: f64 = 12.0;

/// Tank-days of mean uptake that hold a level near the curve, and a stage by four times as many.
const HOLD_DAYS: f64 = 5.0;

/// Variance of the logarithms of levels before any is on record, and the tanks for which it stands: tanks of one crop differ by a
/// sixth. Our own judgement.
const LEVEL_VARIANCE: f64 = 0.03;
const LEVEL_TANKS: f64 = 3.0;

/// Tanks' weekly uptake that holds a week near one; our own judgement.
const WEEK_HOLD: f64 = 1.5;

/// Rounds in which curve, stages, tanks and weeks are fitted to each other.
const ROUNDS: usize = 2;

/// Of each week kept for the next week's estimate of what a tank took lately; our own judgement.
const KEPT_LATELY: f64 = 0.65;

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
    /// What the site will take so many days ahead.
    ahead: Vec<SiteAhead>,
    /// What the season has the site take on each day from the first on record to the last ahead, as a part of the usual.
    pub(super) seasons: Vec<f64>,
    lately: Vec<f64>,
    shares: Vec<[f64; WAYS]>,
    /// Spans it was learnt from.
    pub(super) spans: usize,
}

/// Sums of what was taken and of what was expected.
#[derive(Debug, Clone, Copy, Default)]
struct Quotient {
    taken: f64,
    expected: f64,
}

impl Quotient {
    fn add(&mut self, taken: f64, expected: f64) {
        self.taken += taken;
        self.expected += expected;
    }

    /// Held near one by so much that would have been as expected.
    fn held(self, by: f64) -> f64 {
        let expected = self.expected + by;
        if expected > 0.0 { (self.taken + by) / expected } else { 1.0 }
    }
}

/// Variance of the logarithms of tanks' levels beyond what comes of few days, each counting the more the more is known of it: of so
/// many days as hold it, a level is off by as much as levels differ.
fn apart(levels: &[Quotient], hold: f64) -> f64 {
    let known = levels.iter().filter(|level| level.taken > 0.0 && level.expected > 0.0);
    let each: Vec<(f64, f64)> =
        known.map(|one| ((one.taken / one.expected).ln(), one.expected / (one.expected + hold))).collect();
    let weight: f64 = each.iter().map(|(_, weight)| weight).sum();
    let mean = each.iter().map(|(log, weight)| log * weight).sum::<f64>() / weight.max(1e-9);
    let beyond = |(log, weight): &(f64, f64)| weight * (log - mean).powi(2) - (1.0 - weight) * LEVEL_VARIANCE;
    let squares = each.iter().map(beyond).sum::<f64>().max(0.0);
    (squares + LEVEL_TANKS * LEVEL_VARIANCE) / (weight + LEVEL_TANKS)
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
            ahead: Vec::new(),
            seasons: Vec::new(),
            lately: vec![0.0; tanks],
            shares: (0..tanks).map(|tank| errors.shares(tank)).collect(),
            spans: known.iter().map(|cell| cell.spans).sum(),
        };
        let prior_l = PRIOR_LITRES * top_up_share(history, weeks_ago);
        let mut sums = Vec::new();
        for _ in 0..ROUNDS {
            uptake.curve = uptake.fit_curve(known, prior_l);
            uptake.fit_stages(known);
            uptake.fit_levels(known, weeks_ago);
            sums = uptake.fit_weeks(known);
        }
        let of_site = sums.into_iter().enumerate().skip(weeks_ago).filter(|(_, sum)| sum.expected > 0.0);
        let week = |(week, sum): (usize, Quotient)| SiteWeek {
            ago: week - weeks_ago,
            taken_l: sum.taken,
            usual_l: sum.expected,
        };
        let day = history.today_of_year - (WEEK * weeks_ago) as f64;
        let of_site = SiteWeeks::new(of_site.map(week).collect(), day);
        uptake.ahead = of_site.ahead(days);
        uptake.seasons = of_site.seasons(history.today - WEEK * weeks_ago, days);
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
        let prior_l = usual_litres(taken.iter().sum(), all_days, prior_l);
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
        let mut sums = [Quotient::default(); 2];
        for cell in cells {
            let usual = self.without_site(cell) * self.weeks[cell.weeks_ago] / self.stages[cell.late_stage];
            sums[cell.late_stage].add(cell.per_plant_l, usual);
        }
        self.stages = sums.map(|sum| sum.held(4.0 * HOLD_DAYS * self.mean()));
    }

    /// A tank is held near the others by what they have in common: lettuce and tomatoes on one site, which differ tenfold by the
    /// plant, say little of each other.
    fn fit_levels(&mut self, cells: &[Cell], weeks_ago: usize) {
        let mut sums = vec![Quotient::default(); self.levels.len()];
        let fading = fading(f64::exp2(-1.0 / LEVEL_HALF_LIFE), self.weeks.len());
        for cell in cells {
            let weight = fading[cell.weeks_ago - weeks_ago];
            let usual = self.without_site(cell) * self.weeks[cell.weeks_ago] / self.levels[cell.tank];
            sums[cell.tank].add(weight * cell.per_plant_l, weight * usual);
        }
        let hold = HOLD_DAYS * self.mean();
        let hold = hold * (LEVEL_VARIANCE / apart(&sums, hold)).min(1.0);
        self.levels = sums.into_iter().map(|sum| sum.held(hold)).collect();
    }

    /// Weather and light move all tanks together. With few tanks they cannot be told from the curve, so a week is held
    /// near one by what a tank and a half take. Its sums without that are answered.
    fn fit_weeks(&mut self, cells: &[Cell]) -> Vec<Quotient> {
        let expected =
            |uptake: &Uptake, cell: &Cell| uptake.without_site(cell) * cell.plant_days / cell.days.max(1e-9);
        let all: f64 = cells.iter().map(|cell| expected(self, cell)).sum();
        let tank_weeks = (self.weeks.len() * self.levels.len()).max(1) as f64;
        let mut sums = vec![Quotient::default(); self.weeks.len()];
        for cell in cells {
            let taken = cell.per_plant_l * cell.plant_days / cell.days.max(1e-9);
            sums[cell.weeks_ago].add(taken, expected(self, cell));
        }
        let hold = WEEK_HOLD * all / tank_weeks;
        self.weeks = sums.iter().map(|sum| sum.held(hold).clamp(0.3, 3.0)).collect();
        sums
    }

    fn fit_lately(&mut self, cells: &[Cell], weeks_ago: usize) {
        let mut sums = vec![(0.0, 0.0); self.levels.len()];
        let fading = fading(KEPT_LATELY, self.weeks.len());
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
        let site = self.ahead[ahead];
        [usual * site.passing, usual * site.lasting, self.lately[tank] * site.season]
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

/// What a plant usually takes, L a day: the mean of what is on record and what is assumed before, by their logarithms, since a
/// seedling and a tomato differ by the factor. What takes next to nothing is taken for a hundredth of what is assumed.
fn usual_litres(taken: f64, days: f64, assumed: f64) -> f64 {
    let least = LEAST_OF_ASSUMED * assumed.max(1e-9);
    let on_record = (taken / days.max(1e-9)).max(least);
    ((days * on_record.ln() + PRIOR_DAYS * assumed.max(least).ln()) / (days + PRIOR_DAYS)).exp()
}
