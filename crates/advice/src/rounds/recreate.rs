//! Putting jobs back: where they cost least, a room at a time or one by one.

use crate::rounds::board::{Board, Slot};
use crate::rounds::chance::Chance;
use crate::rounds::cost;
use crate::rounds::meeting::meet;
use crate::rounds::plan::Plan;

/// How jobs are put back.
pub(super) struct Way<'a> {
    /// A price is off by up to so much, so that not always the same is tried.
    pub(super) noise: i64,
    /// Whether what is in a room goes to one person where it can.
    pub(super) whole_rooms: bool,
    /// Whether what matters most, and what few can do, comes first; by chance otherwise.
    pub(super) hard_first: bool,
    /// Whether all goes in the order of the board instead, each in time if that can be: who is kept for a clean room does
    /// nothing dirtier before, and what is dirtier is late where it must.
    pub(super) clean_first: bool,
    pub(super) chance: &'a mut Chance,
}

/// Of those who could take a job, the share that is passed over, so that plans differ.
const PASSED_OVER: f64 = 0.03;

/// Gives these jobs to somebody, so far as it goes.
pub(super) fn recreate(board: &Board, plan: &mut Plan, jobs: &[usize], way: &mut Way) {
    if way.clean_first {
        let mut jobs = jobs.to_vec();
        jobs.sort_unstable();
        for job in jobs {
            give_one(board, plan, job, way);
        }
        return;
    }
    let (together, alone): (Vec<usize>, Vec<usize>) =
        jobs.iter().partition(|job| board.jobs[**job].due.two_people);
    for job in together {
        give_one(board, plan, job, way);
    }
    for bundle in bundles(board, alone, way) {
        if !(way.whole_rooms && bundle.len() > 1 && give_whole(board, plan, &bundle, way)) {
            give_each(board, plan, &bundle, way);
        }
    }
}

/// The jobs by room.
fn bundles(board: &Board, mut jobs: Vec<usize>, way: &mut Way) -> Vec<Vec<usize>> {
    let hard = |job: &usize| {
        let job = &board.jobs[*job];
        (
            -i64::from(job.due.weight),
            job.able.len(),
            job.slot.closes - job.slot.opens,
            -job.slot.minutes,
            job.twin,
        )
    };
    jobs.sort_by_key(|job| (board.jobs[*job].room, hard(job), *job));
    let singly = !way.whole_rooms && way.chance.below(if board.is_small() { 2 } else { 10 }) == 0;
    let same_room = |a: &usize, b: &usize| !singly && board.jobs[*a].room == board.jobs[*b].room;
    let mut bundles: Vec<Vec<usize>> = jobs.chunk_by(same_room).map(<[usize]>::to_vec).collect();
    let size = |bundle: &[usize]| bundle.iter().map(|job| board.jobs[*job].slot.minutes).sum::<i64>();
    let able = |bundle: &[usize]| bundle.iter().map(|job| board.jobs[*job].able.len()).min();
    if !way.hard_first {
        let mut order: Vec<usize> = (0..bundles.len()).collect();
        way.chance.shuffle(&mut order);
        return order.into_iter().map(|index| std::mem::take(&mut bundles[index])).collect();
    }
    let spread = way.noise > 0;
    let key = |bundle: &[usize], way: &mut Way| {
        let about = if spread { 0.5 + way.chance.even() } else { 1.0 };
        let few = if spread && way.chance.even() < 0.5 { None } else { able(bundle) };
        (few.map(|few| (few as f64 * about) as usize), (-size(bundle) as f64 * about) as i64)
    };
    let mut keyed: Vec<_> = bundles.into_iter().map(|bundle| (key(&bundle, way), bundle)).collect();
    if !spread {
        // The first time: the largest rooms first, while there is room for them.
        keyed.sort_by_key(|((_, size), _)| *size);
    } else {
        keyed.sort_by_key(|(key, _)| *key);
    }
    keyed.into_iter().map(|(_, bundle)| bundle).collect()
}

/// Gives all to the one person who suits best and can do them all.
fn give_whole(board: &Board, plan: &mut Plan, jobs: &[usize], way: &mut Way) -> bool {
    let (first, rest) = (jobs[0], &jobs[1..]);
    let may_all = |hand: &usize| rest.iter().all(|job| board.hands[*hand].may[*job]);
    let hands: Vec<usize> = board.jobs[first].able.iter().copied().filter(may_all).collect();
    for hand in by_price(board, plan, &hands, jobs, way) {
        let given = jobs.iter().take_while(|job| plan.give(board, hand, board.jobs[**job].slot)).count();
        if given == jobs.len() {
            return true;
        }
        jobs[..given].iter().for_each(|job| plan.take(board, *job));
    }
    false
}

/// Gives each to who suits best. What nobody had time for, nobody has for its twin.
fn give_each(board: &Board, plan: &mut Plan, jobs: &[usize], way: &mut Way) {
    let mut failed: Option<usize> = None;
    for job in jobs {
        let twin = board.jobs[*job].twin;
        if failed != Some(twin) && !give_one(board, plan, *job, way) {
            failed = Some(twin);
        }
    }
}

/// In time if that can be, else late.
fn give_one(board: &Board, plan: &mut Plan, job: usize, way: &mut Way) -> bool {
    let Slot { closes, .. } = board.jobs[job].slot;
    let late = board.jobs[job].late_closes;
    give_in(board, plan, job, board.jobs[job].slot, way)
        || (late > closes && give_in(board, plan, job, Slot { closes: late, ..board.jobs[job].slot }, way))
}

fn give_in(board: &Board, plan: &mut Plan, job: usize, slot: Slot, way: &mut Way) -> bool {
    let hands = by_price(board, plan, &board.jobs[job].able, &[job], way);
    if board.jobs[job].due.two_people {
        return meet(board, plan, &hands, slot);
    }
    hands.into_iter().any(|hand| plan.give(board, hand, slot))
}

/// The people by what they would cost, some passed over.
fn by_price(board: &Board, plan: &Plan, hands: &[usize], jobs: &[usize], way: &mut Way) -> Vec<usize> {
    let room = board.jobs[jobs[0]].room;
    let mut priced: Vec<(i64, i64, usize)> = Vec::with_capacity(hands.len());
    for hand in hands {
        if way.noise > 0 && hands.len() > 1 && way.chance.even() < PASSED_OVER {
            continue;
        }
        let noise = if way.noise > 0 { (way.chance.even() * way.noise as f64) as i64 } else { 0 };
        let price = plan.price(board, *hand, room, jobs) + noise;
        // Before anybody has their share, who has the smallest part of it.
        let part = plan.load(*hand) * 1_000 / (board.hands[*hand].fair + 1);
        let over = if way.noise > 0 { 0 } else { (plan.off(board, *hand)).max(0) * cost::SPLIT / 20 };
        priced.push((price + over, part, *hand));
    }
    priced.sort_unstable();
    priced.into_iter().map(|(_, _, hand)| hand).collect()
}
