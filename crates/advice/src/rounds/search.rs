//! The search for a good plan: rooms handed out whole, then parts of the plan taken out and put back. A worse plan
//! is kept for a while, less and less (simulated annealing: Kirkpatrick, Gelatt and Vecchi, Science 220, 1983; ruin
//! and recreate: Schrimpf and others, Journal of Computational Physics 159, 2000; both from memory). Every plan on
//! the way keeps the hard rules, so it can stop anywhere.

use crate::rounds::board::{Board, Slot};
use crate::rounds::chance::Chance;
use crate::rounds::line::Taste;
use crate::rounds::plan::Plan;
use crate::rounds::recreate::{Way, recreate};
use crate::rounds::ruin::ruin;
use crate::rounds::{WorkDay, cost, tidy};

/// How long to search, counted and not timed, since the same day must give the same plan on every machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Effort {
    /// Times that a part of the plan is taken out and put back, at most.
    pub iterations: u32,
    /// Where chance begins.
    pub seed: u64,
}

impl Effort {
    /// What a page load allows: a day of 120 checks and 9 people in about 50 ms. More is for a job in the background.
    pub fn of(day: &WorkDay) -> Effort {
        let checks = u32::try_from(day.checks.len()).unwrap_or(u32::MAX);
        Effort { iterations: checks.saturating_mul(15).clamp(300, 1_500), seed: 1 }
    }
}

/// How much worse a plan may be kept at first and at the end: below two splits, and where the day is shared out anew
/// at times above one check moved (chosen by trial on days of 30 to 1000 checks).
const WARM: f64 = 4_000.0;
const HOT: f64 = 120_000.0;
const COLD: f64 = 20.0;
/// How far off a price may be: mostly by less than a split, at times by more, or by more than a check moved.
const NOISE: i64 = 400;
const WIDE_NOISE: i64 = 3_000;
const WIDEST_NOISE: i64 = 120_000;
/// Of small days, and of those shared out anew, several runs from the start find what one misses.
const RUNS: u32 = 4;

/// The best plan found.
pub(super) fn search(board: &Board, effort: Effort) -> Plan {
    let mut chance = Chance::seeded(effort.seed);
    let mut plan = Plan::empty(board);
    hand_out(board, &mut plan, &mut chance);
    improved(board, plan, effort, &mut chance)
}

/// The same from a plan at hand.
pub(super) fn improve(board: &Board, mut plan: Plan, effort: Effort) -> Plan {
    let mut chance = Chance::seeded(effort.seed);
    hand_out(board, &mut plan, &mut chance);
    improved(board, plan, effort, &mut chance)
}

fn improved(board: &Board, start: Plan, effort: Effort, chance: &mut Chance) -> Plan {
    let runs = if board.is_small() || board.is_anew() { RUNS } else { 1 };
    let mut best = start.clone();
    for run in 0..runs {
        let from = if run + 1 < runs { &start } else { &best };
        let is_hot = board.is_anew() && run % 2 == 0;
        let found =
            anneal(board, from.clone(), effort.iterations / runs, Run { is_hot, clean_first: false }, chance);
        if found.cost() < best.cost() {
            best = found;
        }
    }
    // A check that two do in a dirty room at ten may have to be late for a clean one at one: no order of the runs above
    // places the clean one first.
    if !possible(board, &best).is_empty() {
        let run = Run { is_hot: false, clean_first: true };
        let found = anneal(board, best.clone(), effort.iterations / runs, run, chance);
        if found.cost() < best.cost() {
            best = found;
        }
    }
    tidy::tidy(board, &mut best);
    best
}

/// Everything that is left to whom it suits best.
fn hand_out(board: &Board, plan: &mut Plan, chance: &mut Chance) {
    let left: Vec<usize> = possible(board, plan);
    recreate(
        board,
        plan,
        &left,
        &mut Way { noise: 0, whole_rooms: true, hard_first: true, clean_first: false, chance },
    );
}

/// How a run goes.
#[derive(Clone, Copy)]
struct Run {
    /// Whether much worse plans are kept for a while.
    is_hot: bool,
    /// Whether jobs are put back from clean to dirty at times.
    clean_first: bool,
}

fn anneal(board: &Board, mut plan: Plan, iterations: u32, run: Run, chance: &mut Chance) -> Plan {
    let mut best = plan.clone();
    if board.jobs.is_empty() || board.hands.is_empty() {
        return best;
    }
    let nothing_better = least(board);
    let (warm, wide_noise) = if run.is_hot { (HOT, WIDEST_NOISE) } else { (WARM, WIDE_NOISE) };
    for iteration in 0..iterations {
        if best.cost() <= nothing_better {
            break;
        }
        let gone = f64::from(iteration) / f64::from(iterations);
        let heat = warm * (1.0 - gone).powi(2) + COLD;
        plan.mark();
        let before = plan.cost();
        let left = possible(board, &plan);
        let mut out = ruin(board, &plan, chance, &left);
        out.iter().for_each(|job| plan.take(board, *job));
        let clean_first = run.clean_first && chance.below(3) == 0;
        out.extend(left);
        let (whole_rooms, hard_first) = (chance.below(100) < 60, chance.below(100) < 70);
        plan.set_taste(match chance.below(8) {
            0 => Taste::Early,
            1 => Taste::Late,
            _ => Taste::ShortWay,
        });
        let noise = if chance.below(100) < 80 { NOISE } else { wide_noise };
        recreate(board, &mut plan, &out, &mut Way { noise, whole_rooms, hard_first, clean_first, chance });
        let worse = (plan.cost() - before) as f64;
        if worse > 0.0 && chance.even() >= (-worse / heat).exp() {
            plan.go_back(board);
        } else if plan.cost() < best.cost() {
            best = plan.clone();
        }
    }
    best
}

/// What is left although it could be done.
fn possible(board: &Board, plan: &Plan) -> Vec<usize> {
    let mut left = plan.left(board);
    left.retain(|job| board.is_possible(*job));
    left
}

/// No plan costs less than what nobody can do at all.
fn least(board: &Board) -> i64 {
    let moved = |job: usize| board.had_by[job].len() as i64 * cost::moved(board);
    let impossible = (0..board.jobs.len()).filter(|job| !board.is_possible(*job));
    impossible.map(|job| cost::left(board, job) + moved(job)).sum::<i64>()
        + NEARLY_NOTHING * board.hands.len() as i64
}

/// A person's day with a few changes of room and minutes that are nearly fair.
const NEARLY_NOTHING: i64 = 10;

/// The slots of a plan's line, for a new order.
pub(super) fn slots(plan: &Plan, hand: usize) -> Vec<Slot> {
    plan.steps(hand).iter().map(|step| step.slot).collect()
}
