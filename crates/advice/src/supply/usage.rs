//! Use of each product on each day to come, by cause, with the variance of its sum.

use fillmark_domain::stock::ProductKind;

use super::answer::{LearntFrom, UseByCause};
use super::changes::Slips;
use super::doses::{Doses, Visit, visits};
use super::fill_plan::{ComingChange, coming_changes};
use super::question::{Addition, FedDay, Question, TankAsked, TankMode};
use super::unplanned::Losses;
use super::uptake::Uptake;

/// Days of litres fed that say what a tank feeds now.
const RECENT_DAYS: i64 = 14;

/// Relative spread of what a pH adjuster takes beyond what the litres explain: water and uptake drift.
const PH_SPREAD: f64 = 0.15;

/// A visit missed or a tank left alone lets an addition slip by days: below this many days of top-ups a sum is no surer.
const LUMP_DAYS: f64 = 2.0;

/// Use of one product.
#[derive(Debug, Clone, Default)]
pub(super) struct Usage {
    /// Each day from today on.
    pub(super) days: Vec<UseByCause>,
    /// Variance of the use from today to the end of each day.
    pub(super) variance_until: Vec<f64>,
    /// What it was learnt from.
    pub(super) learnt_from: LearntFrom,
}

/// What the records taught.
struct Learnt {
    doses: Doses,
    uptake: Uptake,
    slips: Slips,
}

impl Learnt {
    fn from(&self, position: usize, losses: &Losses) -> LearntFrom {
        let (fills, top_ups, fill_ratio) = self.doses.learnt_from(position);
        LearntFrom {
            fills,
            top_ups,
            fill_ratio,
            changes_on_plan: self.slips.changes,
            uptake_spans: self.uptake.spans,
            losses: losses.count,
        }
    }
}

/// The use of each product asked about.
pub(super) fn forecast_use(question: &Question, records: &[Vec<Addition>]) -> Vec<Usage> {
    let visits: Vec<Vec<Visit>> = question
        .tanks
        .iter()
        .zip(records)
        .map(|(tank, additions)| visits(question, tank, additions))
        .collect();
    let learnt = Learnt {
        doses: Doses::learn(question, &visits),
        uptake: Uptake::learn(question, &visits),
        slips: Slips::learn(question),
    };
    let recorded_days = visits.iter().flatten().map(|visit| -visit.day).max().unwrap_or(0) as f64;
    let tanks: Vec<TankPlan> =
        (0..question.tanks.len()).map(|tank| TankPlan::new(question, &learnt, tank, &visits[tank])).collect();
    (0..question.products.len())
        .map(|position| use_of(question, &learnt, &tanks, position, recorded_days))
        .collect()
}

/// What a tank will take in litres; the same for all products.
struct TankPlan<'a> {
    tank: &'a TankAsked,
    changes: Vec<ComingChange>,
    /// Litres at the aim topped up on each day, changes allowed for.
    top_up_l: Vec<f64>,
    /// Mean and variance of the litres fed a day.
    fed_l: (f64, f64),
}

impl<'a> TankPlan<'a> {
    fn new(question: &'a Question, learnt: &Learnt, number: usize, visits: &[Visit]) -> TankPlan<'a> {
        let tank = &question.tanks[number];
        if tank.mode == TankMode::Fed {
            let top_up_l = vec![0.0; question.horizon()];
            return TankPlan { tank, changes: Vec::new(), top_up_l, fed_l: litres_fed(question, tank) };
        }
        let changes = coming_changes(question, tank, &learnt.slips);
        let top_up_l = top_up_litres(question, learnt, number, visits, &changes);
        TankPlan { tank, changes, top_up_l, fed_l: (0.0, 0.0) }
    }

    fn fed(&self, question: &Question, day: i64) -> Option<&'a FedDay> {
        self.tank.fed.get(&question.date(day))
    }
}

/// Mean and variance of recent days. A single day says nothing of its spread: a quarter is assumed.
fn litres_fed(question: &Question, tank: &TankAsked) -> (f64, f64) {
    let recent = || tank.litres_fed.iter().filter(|fed| (-RECENT_DAYS..0).contains(&question.offset(fed.on)));
    let days = recent().count() as f64;
    if days == 0.0 {
        return (0.0, 0.0);
    }
    let mean = recent().map(|fed| fed.litres).sum::<f64>() / days;
    let squares: f64 = recent().map(|fed| (fed.litres - mean).powi(2)).sum();
    // The squares of the alike days of one rise add up to one estimate, so they are shared among rises, not days.
    let rises: f64 = recent().map(|fed| 1.0 / f64::from(fed.over_days.max(1))).sum();
    (mean, (squares + (0.25 * mean).powi(2)) / rises)
}

/// What the plants took since the last visit is replaced at the next one, unless the tank is changed then. What a
/// visit of today replaced is out of the stock already.
fn top_up_litres(
    question: &Question,
    learnt: &Learnt,
    number: usize,
    visits: &[Visit],
    changes: &[ComingChange],
) -> Vec<f64> {
    let tank = &question.tanks[number];
    let mut change_chance = vec![0.0; question.horizon()];
    for (day, chance) in changes.iter().flat_map(|change| &change.odds) {
        if let Some(total) = change_chance.get_mut(usize::try_from(*day).unwrap_or(usize::MAX)) {
            *total += chance;
        }
    }
    let mut litres = vec![0.0; question.horizon()];
    let mut owed_l = 0.0;
    let last_visit = visits.last().map(|visit| visit.day).filter(|day| *day >= -6);
    let mut aim = last_visit.and_then(|day| tank.fed.get(&question.date(day))).map(|fed| fed.ec_aim);
    let seen_today = tank.visits.iter().chain(&tank.changes_done).any(|on| *on == question.today);
    for day in last_visit.unwrap_or(0)..question.horizon() as i64 {
        let Some(fed) = tank.fed.get(&question.date(day)) else {
            (owed_l, aim) = (0.0, None);
            continue;
        };
        if day >= 0 && question.open.has(question.date(day)) {
            let change = change_chance[day as usize].min(1.0);
            if day > 0 || !seen_today {
                litres[day as usize] = (1.0 - change) * (owed_l + step_litres(tank, fed, aim));
            }
            (owed_l, aim) = (0.0, Some(fed.ec_aim));
        }
        owed_l += learnt.uptake.litres(question, number, fed, day);
    }
    litres
}

/// Litres at the new aim that raise the whole tank from the old one.
fn step_litres(tank: &TankAsked, fed: &FedDay, old_aim: Option<f64>) -> f64 {
    let added = fed.ec_aim - fed.source_ec;
    match old_aim {
        Some(old_aim) if added > 0.0 => tank.working_volume_l * ((fed.ec_aim - old_aim) / added).max(0.0),
        _ => 0.0,
    }
}

fn use_of(
    question: &Question,
    learnt: &Learnt,
    tanks: &[TankPlan<'_>],
    position: usize,
    recorded_days: f64,
) -> Usage {
    let product = &question.products[position];
    let losses = Losses::learn(question, product, recorded_days);
    let mut days =
        vec![UseByCause { unplanned: losses.per_day, ..UseByCause::default() }; question.horizon()];
    let mut variance_until = vec![0.0; question.horizon()];
    for tank in tanks {
        add_changes(question, learnt, tank, position, &mut days, &mut variance_until);
        add_top_ups_and_fed(question, learnt, tank, position, &mut days, &mut variance_until);
    }
    if product.kind == ProductKind::PhAdjuster {
        for day in &mut days {
            *day = UseByCause { ph: day.changes + day.top_ups, changes: 0.0, top_ups: 0.0, ..*day };
        }
    }
    add_shared_variance(learnt, &losses, &days, &mut variance_until);
    Usage { days, variance_until, learnt_from: learnt.from(position, &losses) }
}

/// What all days have in common: weather and drift move them together, so their spread does not average out.
fn add_shared_variance(learnt: &Learnt, losses: &Losses, days: &[UseByCause], variance: &mut [f64]) {
    let (mut top_ups, mut ph) = (0.0, 0.0);
    for (place, (day, variance)) in days.iter().zip(variance).enumerate() {
        top_ups += day.top_ups;
        ph += day.ph;
        let so_far = (place + 1) as f64;
        let lump = LUMP_DAYS * (top_ups / so_far).powi(2);
        *variance += (learnt.uptake.spread * top_ups).powi(2) + (PH_SPREAD * ph).powi(2) + lump;
        *variance += losses.variance(so_far);
    }
}

/// A change not yet done on a day is a change still to come, so its day is uncertain but not its being done: the
/// variance of the sum rises while it is open and falls again when it is surely done.
fn add_changes(
    question: &Question,
    learnt: &Learnt,
    plan: &TankPlan<'_>,
    position: usize,
    days: &mut [UseByCause],
    variance: &mut [f64],
) {
    let spread = learnt.doses.fill_spread(position);
    for change in &plan.changes {
        let mut amounts = vec![0.0; days.len()];
        let mut squares = vec![0.0; days.len()];
        for (day, chance) in &change.odds {
            let Some(fed) = plan.fed(question, *day) else { continue };
            let Some(place) = usize::try_from(*day).ok().filter(|place| *place < days.len()) else {
                continue;
            };
            let dose = fed.dose_of(question.products[position].product);
            let amount = plan.tank.working_volume_l * learnt.doses.per_fill_l(position, dose);
            days[place].changes += chance * amount;
            amounts[place] += chance * amount;
            squares[place] += chance * amount * amount * (1.0 + spread * spread);
        }
        let (mut mean, mut square) = (0.0, 0.0);
        for place in 0..days.len() {
            mean += amounts[place];
            square += squares[place];
            variance[place] += (square - mean * mean).max(0.0);
        }
    }
}

fn add_top_ups_and_fed(
    question: &Question,
    learnt: &Learnt,
    plan: &TankPlan<'_>,
    position: usize,
    days: &mut [UseByCause],
    variance: &mut [f64],
) {
    let mut fed_variance = 0.0;
    let (mean_l, variance_l) = plan.fed_l;
    for (place, by_cause) in days.iter_mut().enumerate() {
        if let Some(fed) = plan.fed(question, place as i64) {
            let dose = fed.dose_of(question.products[position].product);
            by_cause.top_ups += plan.top_up_l[place] * learnt.doses.per_top_up_l(position, dose);
            by_cause.fed += mean_l * dose;
            fed_variance += variance_l * dose * dose;
        }
        variance[place] += fed_variance;
    }
}
