//! Taking jobs out: rooms, people's days, and what stands in the way of something better.

use crate::rounds::board::Board;
use crate::rounds::chance::Chance;
use crate::rounds::plan::Plan;

/// Jobs taken out at a time: of so many one in sixteen, but within these (by trial: one in eight costs more time
/// and finds less).
const ONE_IN: usize = 16;
const FEWEST: usize = 14;
const MOST: usize = 60;

/// Jobs to take out, each once.
pub(super) fn ruin(board: &Board, plan: &Plan, chance: &mut Chance, left: &[usize]) -> Vec<usize> {
    let most = (board.jobs.len() / ONE_IN).clamp(FEWEST, MOST);
    let mut out = match chance.below(100) {
        _ if board.is_anew() && chance.below(100) < 50 => unsettled(board, plan, chance),
        0..15 => days(plan, &pair(board, chance)),
        15..40 => rooms(board, &some_rooms(board, chance)),
        40..60 => split_room(board, plan, chance),
        60..80 => unfair(board, plan, chance),
        _ => (0..most / 3 + 1).map(|_| chance.below(board.jobs.len())).collect(),
    };
    if !left.is_empty() && chance.below(100) < 60 {
        out.extend(in_the_way(board, plan, chance, left));
    }
    out.sort_unstable();
    out.dedup();
    out.retain(|job| !plan.is_left(*job));
    if out.len() > most {
        chance.shuffle(&mut out);
        out.truncate(most);
    }
    out
}

fn pair(board: &Board, chance: &mut Chance) -> Vec<usize> {
    (0..2).map(|_| chance.below(board.hands.len())).collect()
}

fn days(plan: &Plan, hands: &[usize]) -> Vec<usize> {
    hands.iter().flat_map(|hand| plan.steps(*hand)).map(|step| step.slot.job).collect()
}

fn some_rooms(board: &Board, chance: &mut Chance) -> Vec<usize> {
    let number = 1 + chance.below(3);
    (0..number).map(|_| chance.below(board.rooms.len())).collect()
}

fn rooms(board: &Board, rooms: &[usize]) -> Vec<usize> {
    rooms.iter().flat_map(|room| &board.rooms[*room]).copied().collect()
}

/// A room that people share, and a room of each of one or two who could have it whole.
fn split_room(board: &Board, plan: &Plan, chance: &mut Chance) -> Vec<usize> {
    let shared: Vec<usize> = (0..board.rooms.len()).filter(|room| plan.people_in(*room) > 1).collect();
    let Some(room) = chance.one_of(&shared) else { return rooms(board, &some_rooms(board, chance)) };
    let mut out = board.rooms[room].clone();
    for _ in 0..1 + chance.below(2) {
        let job = chance.one_of(&board.rooms[room]).unwrap_or_default();
        if let Some(hand) = chance.one_of(&board.jobs[job].able) {
            out.extend(room_of(board, plan, chance, hand));
        }
    }
    out
}

/// Rooms of somebody with too many or too few minutes, and of somebody else.
fn unfair(board: &Board, plan: &Plan, chance: &mut Chance) -> Vec<usize> {
    let off: Vec<usize> = (0..board.hands.len())
        .filter(|hand| !board.hands[*hand].free.is_empty() && plan.off(board, *hand).abs() > 15)
        .collect();
    let Some(hand) = chance.one_of(&off) else { return rooms(board, &some_rooms(board, chance)) };
    let mut out = room_of(board, plan, chance, hand);
    if chance.below(2) == 0 {
        out.extend(room_of(board, plan, chance, hand));
    }
    for _ in 0..1 + chance.below(2) {
        let other = chance.below(board.hands.len());
        out.extend(room_of(board, plan, chance, other));
    }
    out
}

/// What somebody does in one of their rooms.
fn room_of(board: &Board, plan: &Plan, chance: &mut Chance, hand: usize) -> Vec<usize> {
    let own: Vec<usize> = plan.steps(hand).iter().map(|step| step.slot.job).collect();
    let Some(one) = chance.one_of(&own) else { return Vec::new() };
    let room = board.jobs[one].room;
    own.into_iter().filter(|job| board.jobs[*job].room == room).collect()
}

/// What has no person of its own, or is not with them; at times something of somebody else beside it.
fn unsettled(board: &Board, plan: &Plan, chance: &mut Chance) -> Vec<usize> {
    let at_home = |job: &usize| plan.hands_of(*job).any(|hand| board.had_by[*job].contains(&hand));
    let mut out: Vec<usize> = (0..board.jobs.len()).filter(|job| !at_home(job)).collect();
    if chance.below(2) == 0 {
        let kept = chance.one_of(&out).map(|job| board.jobs[job].room);
        out.retain(|job| Some(board.jobs[*job].room) != kept);
    }
    if chance.below(2) == 0 {
        let other = chance.below(board.hands.len());
        out.extend(room_of(board, plan, chance, other));
    }
    out
}

/// The day of somebody who could do what is left.
fn in_the_way(board: &Board, plan: &Plan, chance: &mut Chance, left: &[usize]) -> Vec<usize> {
    let able = chance.one_of(left).and_then(|job| chance.one_of(&board.jobs[job].able));
    able.map_or(Vec::new(), |hand| days(plan, &[hand]))
}
