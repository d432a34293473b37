//! Why a check is left: what a planner would have to change so that somebody can do it.

use std::collections::BTreeSet;

use fillmark_domain::work::Span;

use crate::rounds::board::{Board, Hand, Slot, first_start, free_from};
use crate::rounds::plan::Plan;
use crate::rounds::search::slots;
use crate::rounds::timetable::fits_without_hygiene;
use crate::rounds::{Reason, Worker};

/// The reasons, of the first rule on which it fails for everybody; of people's rounds as they stand, each
/// reason that somebody gives.
pub(super) fn reasons(board: &Board, plan: &Plan, job: usize) -> Vec<Reason> {
    let (due, in_time) = (board.jobs[job].due, board.jobs[job].slot);
    let slot = Slot { closes: board.jobs[job].late_closes, ..in_time };
    let window =
        Span { until: due.limit.map_or(due.window.until, |limit| limit.max(due.window.until)), ..due.window };
    if slot.closes - slot.opens < slot.minutes {
        return vec![Reason::NoTimeInWindow];
    }
    let wanted = board.people(job);
    let on_shift = |hand: &&Hand| hand.worker.shifts.iter().any(|shift| holds(*shift, window, slot.minutes));
    let there = |hand: &&Hand| first_start(&hand.free, &slot, slot.opens).is_some();
    let count = |which: &dyn Fn(&&Hand) -> bool| board.hands.iter().filter(which).count();
    if count(&on_shift) < wanted {
        return vec![Reason::NobodyOnShift];
    }
    if count(&there) < wanted {
        return vec![not_there(board, &slot, wanted)];
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

/// What keeps those who have a shift then.
fn not_there(board: &Board, slot: &Slot, wanted: usize) -> Reason {
    let count = |taken: &dyn Fn(&Worker) -> Vec<(i64, i64)>| {
        let could = |hand: &&Hand| first_start(&taken(hand.worker), slot, slot.opens).is_some();
        board.hands.iter().filter(could).count()
    };
    if count(&|worker| free_from(worker, &[&worker.absences])) < wanted {
        Reason::AllAbsent
    } else if count(&|worker| free_from(worker, &[&worker.absences, &worker.breaks])) < wanted {
        Reason::OnBreak
    } else {
        Reason::NoTimeInWindow
    }
}

fn holds(shift: Span, window: Span, minutes: i64) -> bool {
    shift.overlap(window).is_some_and(|both| both.minutes() >= minutes)
}

/// A round that has the time only when hygiene is left aside is stopped by hygiene. Two who each have the
/// time, but never the same, have no time.
fn why_not(board: &Board, plan: &Plan, hand: usize, slot: Slot) -> Reason {
    let free = &board.hands[hand].free;
    let mut slots = slots(plan, hand);
    slots.push(slot);
    let two = board.jobs[slot.job].due.two_people;
    if !two && fits_without_hygiene(free, &slots) {
        Reason::WouldBreakHygiene
    } else {
        Reason::NoTimeInWindow
    }
}
