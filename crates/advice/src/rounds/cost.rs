//! What a plan costs, in hundredths of a minute of unfairness: each goal outweighs those below it, except where a
//! great deal of the lower one is at stake. All are our own judgement.

use crate::rounds::board::{Board, Hand};

/// A check of weight 1 that nobody does.
const LEFT: i64 = 100_000;
/// The share of it that is spared where the check may still be done on the next day: who cannot do both does what cannot wait.
const MAY_WAIT: i64 = 10;
/// A check done late.
const LATE: i64 = 20_000;
/// A check with somebody else than who had it on paper.
const MOVED: i64 = 10_000;
/// Where people have a day on paper, what they have counts so many times as much beside what is merely nice: nobody is
/// sent elsewhere for fairer minutes, and what was agreed on stays agreed. The gain of moving one check is below this
/// unless it takes more than five hours.
const ON_PAPER: i64 = 10;
/// A room shared by one more person: two people who both change clothes and read the same labels.
pub(super) const SPLIT: i64 = 2_000;
/// A minute off the fair ones, beyond what nobody minds.
const UNFAIR: i64 = 100;
/// The same of unpleasant work.
const UNFAIR_UNPLEASANT: i64 = 50;
/// Minutes off the fair ones that nobody minds.
const NOBODY_MINDS: i64 = 15;
/// A minute off the fair ones that nobody minds: it decides between what is else the same.
const NEARLY_FAIR: i64 = 1;
/// A room that others know better.
const STRANGE: i64 = 300;
/// Going from a room to another, and each minute of the way.
const CHANGE: i64 = 2;
const WALK: i64 = 10;

/// Of leaving a job.
pub(super) fn left(board: &Board, job: usize) -> i64 {
    let due = board.jobs[job].due;
    let spared = if due.may_wait { LEFT / MAY_WAIT } else { 0 };
    on_paper(board) * (LEFT - spared) * i64::from(due.weight.max(1))
}

/// Of a job that is late.
pub(super) fn late(board: &Board) -> i64 {
    on_paper(board) * LATE
}

/// Of a job with somebody else, for each who had it.
pub(super) fn moved(board: &Board) -> i64 {
    on_paper(board) * MOVED
}

fn on_paper(board: &Board) -> i64 {
    if board.is_anew() { ON_PAPER } else { 1 }
}

/// Of a person's minutes, what is begun included.
pub(super) fn unfair(hand: &Hand, load: i64, unpleasant: i64) -> i64 {
    if hand.free.is_empty() {
        return 0;
    }
    let off = (load - hand.fair).abs();
    let off_unpleasant = hand.fair_unpleasant.map_or(0, |fair| (unpleasant - fair).abs());
    UNFAIR * (off - NOBODY_MINDS).max(0)
        + UNFAIR_UNPLEASANT * (off_unpleasant - NOBODY_MINDS).max(0)
        + NEARLY_FAIR * off.min(NOBODY_MINDS)
}

/// Of one more person in a room that so many others are in.
pub(super) fn enters(hand: &Hand, room: usize, others: u32) -> i64 {
    (if others > 0 { SPLIT } else { 0 }) + if hand.strange[room] { STRANGE } else { 0 }
}

/// Of going from one job to the next.
pub(super) fn way(board: &Board, from: usize, to: usize) -> i64 {
    if board.jobs[from].room == board.jobs[to].room {
        return 0;
    }
    CHANGE + WALK * board.walk_min(from, to)
}
