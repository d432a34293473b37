//! What the plants take between visits: nutrient by mass balance, as litres of solution at the EC aim.
//!
//! Water drunk is replaced by water, so what is missing is what was dosed to reach the aim again. A span between
//! two visits tells it per plant and day, and the place in the cycle says which part of the curve it teaches.

use super::doses::{Visit, litres_at_the_aim};
use super::question::{FedDay, Question, TankMode};

/// Parts of the cycle that are told apart; between their middles the curve is straight.
const PARTS: usize = 24;

/// Width in parts over which neighbours speak for each other: uptake changes over weeks, not days.
const WIDTH: f64 = 1.2;

/// Plant-spans, in days, for which the site's mean stands in a part that nothing was recorded in.
const PRIOR_DAYS: f64 = 6.0;

/// A longer gap between visits may hide a change or an idle spell, so it teaches nothing.
const LONGEST_SPAN_DAYS: i64 = 6;

/// L per plant and day before anything is on record: a middling leaf or fruit crop, common practice, no source.
pub(super) const PRIOR_LITRES: f64 = 0.3;

/// Days of records after which a tank's level weighs a third of a fresh one.
const MEMORY_DAYS: f64 = 42.0;

/// Relative spread of four weeks' uptake before it was measured: weather, mostly. Counts as four blocks on record.
const PRIOR_SPREAD: f64 = 0.12;
const PRIOR_BLOCKS: f64 = 4.0;
const BLOCK_DAYS: i64 = 28;

#[derive(Debug, Clone, Copy)]
struct Span {
    tank: usize,
    day: i64,
    days: f64,
    position: f64,
    plants: f64,
    per_plant_l: f64,
}

/// Uptake per plant and day along the cycle, and how each tank differs from it.
#[derive(Debug, Clone)]
pub(super) struct Uptake {
    curve: [f64; PARTS],
    levels: Vec<f64>,
    /// Relative spread of four weeks' uptake of the site around its expectation.
    pub(super) spread: f64,
    /// Spans it was learnt from.
    pub(super) spans: usize,
}

impl Uptake {
    /// From all visits of all tanks.
    pub(super) fn learn(question: &Question, visits: &[Vec<Visit>]) -> Uptake {
        let spans: Vec<Span> = visits
            .iter()
            .enumerate()
            .filter(|(tank, _)| question.tanks[*tank].mode == TankMode::Changed)
            .flat_map(|(tank, visits)| spans_of(question, tank, visits))
            .collect();
        let curve = curve(&spans, PRIOR_LITRES * top_up_share(question));
        let mut uptake = Uptake {
            curve,
            levels: vec![1.0; question.tanks.len()],
            spread: PRIOR_SPREAD,
            spans: spans.len(),
        };
        uptake.levels = levels(&uptake, &spans);
        uptake.spread = spread(&uptake, &spans);
        uptake
    }

    /// Expected litres at the aim that a tank's plants take on one day.
    pub(super) fn litres(&self, question: &Question, tank: usize, fed: &FedDay, day: i64) -> f64 {
        let position = fed.position_at(day as f64 + 0.5, question.offset(fed.cycle_start));
        self.at(position) * fed.plants * self.levels[tank]
    }

    fn at(&self, position: f64) -> f64 {
        let place = (position * PARTS as f64 - 0.5).clamp(0.0, (PARTS - 1) as f64);
        let below = (place.floor() as usize).min(PARTS - 2);
        let share = place - below as f64;
        self.curve[below] * (1.0 - share) + self.curve[below + 1] * share
    }

    fn expected(&self, span: &Span) -> f64 {
        self.at(span.position) * span.days
    }
}

fn spans_of(question: &Question, tank: usize, visits: &[Visit]) -> Vec<Span> {
    let fed_on = |day: i64| question.tanks[tank].fed.get(&question.date(day));
    visits.windows(2).filter_map(|pair| span(question, tank, pair, &fed_on)).collect()
}

fn span<'a>(
    question: &Question,
    tank: usize,
    pair: &[Visit],
    fed_on: &impl Fn(i64) -> Option<&'a FedDay>,
) -> Option<Span> {
    let (before, visit) = (&pair[0], &pair[1]);
    let days = visit.day - before.day;
    let (was, fed) = (fed_on(before.day)?, fed_on(visit.day)?);
    // What was poured for a new aim is a step of the aim, and a fill replaces all: neither is uptake.
    let same_solution = was.ec_aim == fed.ec_aim && was.cycle_start == fed.cycle_start;
    if visit.changed || days > LONGEST_SPAN_DAYS || !same_solution || fed.plants <= 0.0 {
        return None;
    }
    let litres = litres_at_the_aim(question, fed, &visit.top_up);
    let middle = visit.day as f64 - days as f64 / 2.0;
    Some(Span {
        tank,
        day: visit.day,
        days: days as f64,
        position: fed.position_at(middle, question.offset(fed.cycle_start)),
        plants: fed.plants,
        per_plant_l: litres / fed.plants,
    })
}

/// The strength of the top-ups to come by the programmes, as a part of the changes'. It tells how much of the litres
/// expected before anything is on record is product. Spans need it not: they are in what was poured, at any strength.
fn top_up_share(question: &Question) -> f64 {
    let tanks = question.tanks.iter().filter(|tank| tank.mode == TankMode::Changed);
    let to_come = tanks.flat_map(|tank| tank.fed.range(question.today..).map(|(_, fed)| fed.top_up_share));
    let (sum, days) = to_come.fold((0.0, 0.0), |(sum, days), share| (sum + share, days + 1.0));
    if days > 0.0 { sum / days } else { 1.0 }
}

fn curve(spans: &[Span], expected_l: f64) -> [f64; PARTS] {
    let (mut taken, mut days) = ([0.0; PARTS], [0.0; PARTS]);
    for span in spans {
        let part = ((span.position * PARTS as f64) as usize).min(PARTS - 1);
        taken[part] += span.per_plant_l;
        days[part] += span.days;
    }
    let all_days: f64 = days.iter().sum();
    let prior_l = (taken.iter().sum::<f64>() + expected_l * PRIOR_DAYS) / (all_days + PRIOR_DAYS);
    let near = |part: usize, values: &[f64; PARTS]| -> f64 {
        let weight = |other: usize| (-0.5 * ((part as f64 - other as f64) / WIDTH).powi(2)).exp();
        values.iter().enumerate().map(|(other, value)| weight(other) * value).sum()
    };
    std::array::from_fn(|part| (near(part, &taken) + PRIOR_DAYS * prior_l) / (near(part, &days) + PRIOR_DAYS))
}

/// Recent spans weigh more; four days of mean uptake hold a level near one.
fn levels(uptake: &Uptake, spans: &[Span]) -> Vec<f64> {
    let hold = 4.0 * uptake.curve.iter().sum::<f64>() / PARTS as f64;
    let mut sums = vec![(hold, hold); uptake.levels.len()];
    for span in spans {
        let weight = (span.day as f64 / MEMORY_DAYS).exp();
        sums[span.tank].0 += weight * span.per_plant_l;
        sums[span.tank].1 += weight * uptake.expected(span);
    }
    sums.iter().map(|(taken, expected)| if *expected > 0.0 { taken / expected } else { 1.0 }).collect()
}

/// How far blocks of four weeks, all tanks together, lay from what the curve expects of them.
fn spread(uptake: &Uptake, spans: &[Span]) -> f64 {
    let mut blocks: std::collections::BTreeMap<i64, (f64, f64)> = std::collections::BTreeMap::new();
    for span in spans {
        let block = blocks.entry((-1 - span.day) / BLOCK_DAYS).or_default();
        block.0 += span.per_plant_l * span.plants;
        block.1 += uptake.expected(span) * span.plants;
    }
    let squares: f64 = blocks
        .values()
        .filter(|(_, expected)| *expected > 0.0)
        .map(|(taken, expected)| (taken / expected - 1.0).powi(2).min(1.0))
        .sum();
    let count = blocks.len() as f64;
    ((squares + PRIOR_BLOCKS * PRIOR_SPREAD.powi(2)) / (count + PRIOR_BLOCKS)).sqrt()
}
