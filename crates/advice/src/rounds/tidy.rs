//! The last touch: each round in the order that is walked most easily, of those that can be.

use std::collections::BTreeMap;

use crate::rounds::board::{Board, Slot};
use crate::rounds::plan::Plan;
use crate::rounds::search::slots;
use crate::rounds::{cost, timetable};

/// Puts each round in order: by hygiene, room and name where windows allow it; else the more urgent rooms first
/// within a rank of hygiene; else as the more urgent check asks for. The search's own order stands where it is
/// shorter.
pub(super) fn tidy(board: &Board, plan: &mut Plan) {
    for hand in 0..board.hands.len() {
        let own = slots(plan, hand);
        let mut ways: Vec<Vec<Slot>> = vec![by_name(&own), by_room(board, &own)];
        ways.extend(timetable::urgent_first(&board.hands[hand].free, &own, |slot| {
            board.jobs[slot.job].due.hygiene
        }));
        let length = |slots: &[Slot]| -> i64 {
            slots.windows(2).map(|pair| cost::way(board, pair[0].job, pair[1].job)).sum()
        };
        ways.retain(|slots| length(slots) <= length(&own));
        ways.sort_by_key(|slots| length(slots));
        let _is_in_order = ways.iter().any(|slots| plan.put_in_order(board, hand, slots));
    }
}

/// The order of the board.
pub(super) fn by_name(own: &[Slot]) -> Vec<Slot> {
    let mut slots = own.to_vec();
    slots.sort_by_key(|slot| slot.job);
    slots
}

fn by_room(board: &Board, own: &[Slot]) -> Vec<Slot> {
    let mut latest: BTreeMap<usize, i64> = BTreeMap::new();
    for slot in own {
        let room = latest.entry(board.jobs[slot.job].room).or_insert(i64::MAX);
        *room = (*room).min(slot.latest_start());
    }
    let mut slots = own.to_vec();
    let key = |slot: &Slot| {
        let job = &board.jobs[slot.job];
        (job.due.hygiene, latest[&job.room], job.room, slot.job)
    };
    slots.sort_by_key(key);
    slots
}
