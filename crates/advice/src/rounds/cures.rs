//! What would have to be so that a check which is left is done, the cheapest first.

use std::collections::HashMap;

use fillmark_domain::Id;
use fillmark_domain::work::Check;

use crate::rounds::board::{Board, Slot, first_start, minute};
use crate::rounds::plan::Plan;
use crate::rounds::{Assignment, Cure, Undone, WorkDay};

/// Nobody is asked to stay longer than this, min (our own judgement).
const LONGEST_STAY_MIN: i64 = 60;
/// A stay is asked for in steps of this, min.
const STAY_STEP_MIN: i64 = 5;

/// What is left of a day that was shared out so, with its cures.
pub fn cures(day: &WorkDay, assignment: &Assignment) -> Vec<Undone> {
    let board = Board::of(day);
    let mut plan = as_assigned(&board, assignment);
    let numbers: HashMap<Id<Check>, usize> =
        board.jobs.iter().enumerate().map(|(index, job)| (job.due.check, index)).collect();
    let undone = assignment.left.iter().filter_map(|left| {
        let job = *numbers.get(&left.check)?;
        let cures = cures_of(&board, &mut plan, job);
        Some(Undone { check: left.check, reasons: left.reasons.clone(), cures })
    });
    undone.collect()
}

fn as_assigned(board: &Board, assignment: &Assignment) -> Plan {
    let mut plan = Plan::empty(board);
    let numbers: HashMap<Id<Check>, usize> =
        board.jobs.iter().enumerate().map(|(index, job)| (job.due.check, index)).collect();
    for round in &assignment.rounds {
        let hand = board.hands.iter().position(|hand| hand.worker.person == round.person);
        for step in &round.steps {
            let (Some(hand), Some(job)) = (hand, numbers.get(&step.check)) else { continue };
            // Pinned to the minutes that were planned, whatever was planned there.
            let slot = board.jobs[*job].slot;
            let opens = minute(step.starts_at);
            let pool = if plan.is_left(*job) { slot.pool } else { None };
            plan.give(board, hand, Slot { opens, closes: opens + slot.minutes, pool, ..slot });
        }
    }
    plan
}

fn cures_of(board: &Board, plan: &mut Plan, job: usize) -> Vec<Cure> {
    let (due, slot) = (board.jobs[job].due, board.jobs[job].slot);
    let slot = Slot { closes: board.jobs[job].late_closes, ..slot };
    let mut cures = Vec::new();
    if due.may_wait {
        cures.push(Cure::WaitUntilTomorrow);
    }
    cures.extend(stay(board, plan, job));
    let alone = !due.two_people;
    let fits = |plan: &mut Plan, hand: usize, slot: Slot| plan.place(board, hand, slot).is_some();
    let able = |hand: &usize| board.hands[*hand].may[job];
    let without_meter = Slot { pool: None, ..slot };
    let mut hands = 0..board.hands.len();
    if let Some(kind) = due.meter.filter(|_| alone && slot.pool.is_some())
        && hands.clone().filter(able).any(|hand| fits(plan, hand, without_meter))
    {
        cures.push(Cure::AnotherMeter { kind });
    }
    if let Some(qualification) = due.qualification {
        let is_cure = |hand: &usize| {
            let own = &board.hands[*hand];
            let is_clean = own.worker.been_in.is_none_or(|been| been <= due.hygiene);
            !own.qualified[job] && is_clean && fits(plan, *hand, slot)
        };
        if let Some(hand) = hands.find(is_cure) {
            let person = board.hands[hand].worker.person;
            cures.push(Cure::Qualify { person, qualification });
        }
    }
    if cures.is_empty() {
        cures.push(Cure::AnotherPerson { minutes: slot.minutes });
    }
    cures
}

/// Who would have to stay least. Two who must meet are not asked.
fn stay(board: &Board, plan: &Plan, job: usize) -> Option<Cure> {
    if board.jobs[job].due.two_people {
        return None;
    }
    let slot = Slot { closes: board.jobs[job].late_closes, ..board.jobs[job].slot };
    let least = |hand: usize| {
        let own = &board.hands[hand];
        let leaves = own.worker.shifts.iter().map(|shift| minute(shift.until)).max()?;
        // Somebody who is away at the end of their shift cannot stay on.
        let (begin, _) = *own.free.iter().find(|(_, until)| *until == leaves)?;
        let last = plan.steps(hand).last();
        let is_clean =
            last.is_none_or(|last| board.jobs[last.slot.job].due.hygiene <= board.jobs[job].due.hygiene);
        let arrives =
            last.map_or(begin, |last| last.starts + last.slot.minutes + board.walk_min(last.slot.job, job));
        let fits = |stays: i64| first_start(&[(begin, leaves + stays)], &slot, arrives).is_some();
        if !own.may[job] || !is_clean || fits(0) {
            return None;
        }
        (1..=LONGEST_STAY_MIN / STAY_STEP_MIN).map(|steps| steps * STAY_STEP_MIN).find(|stays| fits(*stays))
    };
    let stays = (0..board.hands.len()).filter_map(|hand| least(hand).map(|minutes| (minutes, hand)));
    stays.min().map(|(minutes, hand)| Cure::Stay { person: board.hands[hand].worker.person, minutes })
}
