//! Why a check is left: what a planner would have to change so that somebody can do it.

use std::collections::BTreeSet;

use fillmark_domain::work::Span;

use crate::rounds::Reason;
use crate::rounds::day::{Board, Hand};
use crate::rounds::search::Plan;
use crate::rounds::timetable::{Slot, first_start, fits_without_hygiene};

/// The reasons, of the first rule on which it fails for everybody; of people's rounds as they stand, each
/// reason that somebody gives.
pub(super) fn reasons(board: &Board, plan: &Plan, job: usize) -> Vec<Reason> {
    let (due, slot) = (board.jobs[job].due, board.jobs[job].slot);
    if slot.closes - slot.opens < slot.minutes {
        return vec![Reason::NoTimeInWindow];
    }
    let wanted = if due.two_people { 2 } else { 1 };
    let on_shift =
        |hand: &&Hand| hand.worker.shifts.iter().any(|shift| holds(*shift, due.window, slot.minutes));
    let there = |hand: &&Hand| first_start(&hand.free, &slot, slot.opens).is_some();
    let count = |which: &dyn Fn(&&Hand) -> bool| board.hands.iter().filter(which).count();
    if count(&on_shift) < wanted {
        return vec![Reason::NobodyOnShift];
    }
    if count(&there) < wanted {
        return vec![Reason::AllAbsent];
    }
    if count(&|hand| there(hand) && hand.qualified[job]) < wanted {
        return vec![Reason::NobodyQualified];
    }
    if count(&|hand| there(hand) && hand.may[job]) < wanted {
        return vec![Reason::WouldBreakHygiene];
    }

    let able =
        (0..board.hands.len()).filter(|hand| there(&&board.hands[*hand]) && board.hands[*hand].may[job]);
    let why: BTreeSet<Reason> = able.map(|hand| why_not(board, plan, hand, slot)).collect();
    why.into_iter().collect()
}

fn holds(shift: Span, window: Span, minutes: i64) -> bool {
    shift.overlap(window).is_some_and(|both| both.minutes() >= minutes)
}

/// A round that has the time only when hygiene is left aside is stopped by hygiene. Two who each have the
/// time, but never the same, have no time.
fn why_not(board: &Board, plan: &Plan, hand: usize, slot: Slot) -> Reason {
    let free = &board.hands[hand].free;
    let mut slots = plan.slots_of(hand).to_vec();
    slots.push(slot);
    let two = board.jobs[slot.job].due.two_people;
    if !two && fits_without_hygiene(free, &slots) {
        Reason::WouldBreakHygiene
    } else {
        Reason::NoTimeInWindow
    }
}
