//! Two people who meet for a job.

use crate::rounds::board::{Board, Slot, first_start};
use crate::rounds::plan::Plan;

/// Starts tried at most for two people to meet.
const MEETINGS_TRIED: i64 = 200;
/// Minutes between starts tried, at least.
const STEP_MIN: i64 = 5;
/// Of those who could, so many of the least strained are tried with one another first.
const TRIED_FIRST: usize = 6;

/// Lets two people meet for a job at the first time that suits both; `hands` begins with who suits best.
pub(super) fn meet(board: &Board, plan: &mut Plan, hands: &[usize], slot: Slot) -> bool {
    let few = &hands[..hands.len().min(TRIED_FIRST)];
    if meet_among(board, plan, few, slot) {
        return true;
    }
    hands.len() > few.len() && meet_among(board, plan, hands, slot)
}

fn meet_among(board: &Board, plan: &mut Plan, hands: &[usize], slot: Slot) -> bool {
    for (index, second) in hands.iter().enumerate() {
        for first in &hands[..index] {
            let agreed = starts(board, plan, [*first, *second], slot)
                .into_iter()
                .map(|start| Slot { opens: start, closes: start + slot.minutes, ..slot })
                .find(|agreed| both(board, plan, *first, *second, *agreed));
            if agreed.is_some() {
                return true;
            }
        }
    }
    false
}

/// One of the two brings the meter.
fn both(board: &Board, plan: &mut Plan, first: usize, second: usize, agreed: Slot) -> bool {
    let without = Slot { pool: None, ..agreed };
    let Some(at) = plan.place(board, second, without) else { return false };
    if !plan.give(board, first, agreed) {
        return false;
    }
    plan.put(board, second, at, without);
    true
}

/// Starts worth trying: when either ends a job, and every few minutes of the window.
fn starts(board: &Board, plan: &Plan, hands: [usize; 2], slot: Slot) -> Vec<i64> {
    let step = ((slot.closes - slot.opens) / MEETINGS_TRIED).max(STEP_MIN);
    let regular = (0..=MEETINGS_TRIED).map(|index| slot.opens + index * step);
    let ends = hands.iter().flat_map(|hand| plan.steps(*hand));
    let ends = ends.map(|own| own.starts + own.slot.minutes);
    let begins = hands.iter().flat_map(|hand| &board.hands[*hand].free).map(|(begin, _)| *begin);
    let mut starts: Vec<i64> = regular.chain(ends).chain(begins).collect();
    starts.retain(|start| {
        let agreed = Slot { opens: *start, closes: start + slot.minutes, ..slot };
        let is_free = |hand: &usize| first_start(&board.hands[*hand].free, &agreed, *start).is_some();
        slot.opens <= *start && agreed.closes <= slot.closes && hands.iter().all(is_free)
    });
    starts.sort_unstable();
    starts.dedup();
    starts
}
