//! One person's jobs in order, with the first and the last minute at which each can begin.

use crate::rounds::board::{Board, Slot, first_start};
use crate::rounds::cost;

/// A job in its place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    pub(super) slot: Slot,
    /// When it begins: as soon as it can after the one before.
    pub(super) starts: i64,
    /// The latest begin that leaves time for those after it, scarce meters left aside.
    latest: i64,
}

/// Which place is liked best.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Taste {
    /// Where it adds least to the way.
    ShortWay,
    /// As early as can be.
    Early,
    /// As late as can be.
    Late,
}

/// Somebody's jobs in order.
#[derive(Debug, Clone, Default)]
pub(super) struct Line {
    pub(super) steps: Vec<Step>,
    /// Minutes of work, what is begun included.
    pub(super) load: i64,
    /// Of those, unpleasant ones.
    pub(super) unpleasant: i64,
    /// What its ways cost.
    pub(super) ways: i64,
}

/// How many meters of each scarce kind are in use, minute by minute.
#[derive(Debug, Clone)]
pub(super) struct MetersInUse {
    first: i64,
    pools: Vec<Vec<u32>>,
}

impl MetersInUse {
    pub(super) fn none(board: &Board) -> MetersInUse {
        let (first, last) = board.hull;
        let minutes = if board.pools.is_empty() { 0 } else { (last - first).max(0) as usize };
        MetersInUse { first, pools: vec![vec![0; minutes]; board.pools.len()] }
    }

    /// Counts the meters of a line in.
    pub(super) fn lay(&mut self, line: &Line) {
        self.each(line, |used| *used += 1);
    }

    /// Counts them out.
    pub(super) fn lift(&mut self, line: &Line) {
        self.each(line, |used| *used = used.saturating_sub(1));
    }

    fn each(&mut self, line: &Line, change: impl Fn(&mut u32)) {
        if self.pools.is_empty() {
            return;
        }
        for step in &line.steps {
            let Some(pool) = step.slot.pool else { continue };
            let from = (step.starts - self.first).max(0) as usize;
            let minutes = self.pools[pool].iter_mut().skip(from);
            minutes.take(step.slot.minutes as usize).for_each(&change);
        }
    }

    /// The first start at which there is a meter left, too.
    fn first_start(&self, board: &Board, hand: usize, slot: &Slot, earliest: i64) -> Option<i64> {
        let free = &board.hands[hand].free;
        let mut start = first_start(free, slot, earliest)?;
        let Some(pool) = slot.pool else { return Some(start) };
        // Each turn begins later than the last, within the window.
        while let Some(taken) = self.last_taken(board.pools[pool], pool, start, slot.minutes) {
            start = first_start(free, slot, taken + 1)?;
        }
        Some(start)
    }

    /// The last minute of some work at which all meters are taken.
    fn last_taken(&self, count: u32, pool: usize, start: i64, minutes: i64) -> Option<i64> {
        let used = |minute: i64| self.pools[pool].get((minute - self.first) as usize).copied();
        (start..start + minutes).rev().find(|minute| used(*minute).unwrap_or_default() >= count)
    }
}

impl Line {
    /// The best place for a job, if there is one: with the shortest way, and as late as it can be, so that nobody
    /// else is put off. The meters in use are those of the others.
    pub(super) fn place(
        &self,
        board: &Board,
        hand: usize,
        slot: Slot,
        meters: &MetersInUse,
        taste: Taste,
    ) -> Option<usize> {
        let mut places: Vec<(i64, usize)> = Vec::new();
        let scarce = !board.pools.is_empty();
        let mut best: Option<(i64, usize)> = None;
        for at in self.allowed(board, slot.job).rev() {
            if !self.has_time(board, hand, &slot, at) {
                continue;
            }
            let ways = match taste {
                Taste::ShortWay => self.ways_added(board, slot.job, at),
                Taste::Early => at as i64,
                Taste::Late => -(at as i64),
            };
            if scarce {
                places.push((ways, places.len()));
                places.last_mut()?.1 = at;
            } else if best.is_none_or(|(least, _)| ways < least) {
                best = Some((ways, at));
            }
        }
        if !scarce {
            return best.map(|(_, at)| at);
        }
        places.sort_by_key(|(ways, _)| *ways);
        let works = |at: &usize| self.clone().insert(board, hand, *at, slot, meters);
        places.into_iter().map(|(_, at)| at).find(works)
    }

    /// The places that keep the order from clean to dirty.
    fn allowed(&self, board: &Board, job: usize) -> std::ops::RangeInclusive<usize> {
        let hygiene = board.jobs[job].due.hygiene;
        let of = |step: &Step| board.jobs[step.slot.job].due.hygiene;
        let first = self.steps.partition_point(|step| of(step) < hygiene);
        let last = self.steps.partition_point(|step| of(step) <= hygiene);
        first..=last
    }

    fn has_time(&self, board: &Board, hand: usize, slot: &Slot, at: usize) -> bool {
        let arrives = match at.checked_sub(1) {
            Some(before) => {
                let before = &self.steps[before];
                before.starts + before.slot.minutes + board.walk_min(before.slot.job, slot.job)
            }
            None => i64::MIN,
        };
        let Some(start) = first_start(&board.hands[hand].free, slot, arrives) else { return false };
        self.steps
            .get(at)
            .is_none_or(|next| start + slot.minutes + board.walk_min(slot.job, next.slot.job) <= next.latest)
    }

    fn ways_added(&self, board: &Board, job: usize, at: usize) -> i64 {
        let before = at.checked_sub(1).map(|before| self.steps[before].slot.job);
        let after = self.steps.get(at).map(|step| step.slot.job);
        let way = |from: Option<usize>, to: Option<usize>| match (from, to) {
            (Some(from), Some(to)) => cost::way(board, from, to),
            _ => 0,
        };
        way(before, Some(job)) + way(Some(job), after) - way(before, after)
    }

    /// Puts a job in its place; whether all can still be done.
    pub(super) fn insert(
        &mut self,
        board: &Board,
        hand: usize,
        at: usize,
        slot: Slot,
        meters: &MetersInUse,
    ) -> bool {
        self.ways += self.ways_added(board, slot.job, at);
        self.load += slot.minutes;
        self.unpleasant += unpleasant(board, &slot);
        self.steps.insert(at, Step { slot, starts: 0, latest: 0 });
        self.time(board, hand, meters)
    }

    /// Takes a job out. Nothing begins later for that: each way saved is no longer than the two it replaces.
    pub(super) fn remove(
        &mut self,
        board: &Board,
        hand: usize,
        job: usize,
        meters: &MetersInUse,
    ) -> Option<Slot> {
        let at = self.steps.iter().position(|step| step.slot.job == job)?;
        let Step { slot, .. } = self.steps.remove(at);
        self.ways -= self.ways_added(board, job, at);
        self.load -= slot.minutes;
        self.unpleasant -= unpleasant(board, &slot);
        self.time(board, hand, meters);
        Some(slot)
    }

    /// The same jobs in another order, if they can be done so.
    pub(super) fn in_order(
        &self,
        board: &Board,
        hand: usize,
        slots: &[Slot],
        meters: &MetersInUse,
    ) -> Option<Line> {
        let steps = slots.iter().map(|slot| Step { slot: *slot, starts: 0, latest: 0 }).collect();
        let ways = slots.windows(2).map(|pair| cost::way(board, pair[0].job, pair[1].job)).sum();
        let mut line = Line { steps, ways, ..*self };
        line.time(board, hand, meters).then_some(line)
    }

    /// Sets the first and the last starts; whether there are any.
    fn time(&mut self, board: &Board, hand: usize, meters: &MetersInUse) -> bool {
        let mut before: Option<(usize, i64)> = None;
        for step in &mut self.steps {
            let job = step.slot.job;
            let arrives = before.map_or(i64::MIN, |(last, ends)| ends + board.walk_min(last, job));
            let Some(starts) = meters.first_start(board, hand, &step.slot, arrives) else { return false };
            step.starts = starts;
            before = Some((job, starts + step.slot.minutes));
        }
        let mut after: Option<(usize, i64)> = None;
        for step in self.steps.iter_mut().rev() {
            let job = step.slot.job;
            let bound = after.map_or(i64::MAX, |(next, latest)| latest - board.walk_min(job, next));
            let bound = bound.min(step.slot.closes);
            // A start that works is at hand, so this is never before it.
            step.latest = last_start(&board.hands[hand].free, &step.slot, bound).max(step.starts);
            after = Some((job, step.latest));
        }
        true
    }
}

/// The last start of work that ends by `bound`; the smallest number when there is none.
fn last_start(free: &[(i64, i64)], slot: &Slot, bound: i64) -> i64 {
    let starts = free.iter().rev().map(|(begin, end)| ((*end).min(bound) - slot.minutes, *begin));
    starts.into_iter().find(|(start, begin)| start >= begin).map_or(i64::MIN, |(start, _)| start)
}

fn unpleasant(board: &Board, slot: &Slot) -> i64 {
    if board.jobs[slot.job].due.is_unpleasant { slot.minutes } else { 0 }
}
