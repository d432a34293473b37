//! Who does what, with its cost kept up as jobs come and go, and a way back.

use crate::rounds::board::{Board, Slot};
use crate::rounds::cost;
use crate::rounds::line::{Line, MetersInUse, Step, Taste};

/// Stands for no person.
const NOBODY: usize = usize::MAX;

/// Who does what.
#[derive(Clone)]
pub(super) struct Plan {
    lines: Vec<Line>,
    /// Who does each job.
    by: Vec<[usize; 2]>,
    /// Jobs of each person in each room; what is begun counts as one.
    jobs_in: Vec<Vec<u32>>,
    /// People in each room.
    people_in: Vec<u32>,
    meters: MetersInUse,
    taste: Taste,
    cost: i64,
    /// What has changed since the last mark, for the way back.
    changed: Vec<Change>,
    /// Lines as they were at the last mark.
    were: Vec<(usize, Line)>,
    cost_was: i64,
}

#[derive(Clone, Copy)]
struct Change {
    job: usize,
    hand: usize,
    is_put: bool,
}

impl Plan {
    /// Nobody does anything but what is begun.
    pub(super) fn empty(board: &Board) -> Plan {
        let mut plan = Plan {
            lines: Vec::with_capacity(board.hands.len()),
            by: vec![[NOBODY; 2]; board.jobs.len()],
            jobs_in: vec![vec![0; board.rooms.len()]; board.hands.len()],
            people_in: vec![0; board.rooms.len()],
            meters: MetersInUse::none(board),
            taste: Taste::ShortWay,
            cost: 0,
            changed: Vec::new(),
            were: Vec::new(),
            cost_was: 0,
        };
        for (index, hand) in board.hands.iter().enumerate() {
            let (load, unpleasant) = (hand.worker.begun_min, hand.worker.begun_unpleasant_min);
            plan.lines.push(Line { load, unpleasant, ..Line::default() });
            plan.cost += cost::unfair(hand, load, unpleasant);
            for room in &hand.begun_rooms {
                plan.enter(board, index, *room);
            }
        }
        for job in 0..board.jobs.len() {
            plan.cost += cost::left(board, job) + cost::moved(board) * board.had_by[job].len() as i64;
        }
        plan
    }

    pub(super) fn cost(&self) -> i64 {
        self.cost
    }

    /// From now on jobs are placed to this taste.
    pub(super) fn set_taste(&mut self, taste: Taste) {
        self.taste = taste;
    }

    /// A person's jobs in order.
    pub(super) fn steps(&self, hand: usize) -> &[Step] {
        &self.lines[hand].steps
    }

    /// A person's minutes, what is begun included.
    pub(super) fn load(&self, hand: usize) -> i64 {
        self.lines[hand].load
    }

    /// The jobs that nobody does.
    pub(super) fn left(&self, board: &Board) -> Vec<usize> {
        (0..board.jobs.len()).filter(|job| self.is_left(*job)).collect()
    }

    pub(super) fn is_left(&self, job: usize) -> bool {
        self.by[job][0] == NOBODY
    }

    /// Who does a job.
    pub(super) fn hands_of(&self, job: usize) -> impl Iterator<Item = usize> {
        self.by[job].into_iter().filter(|hand| *hand != NOBODY)
    }

    /// Who does a job besides this person.
    pub(super) fn other(&self, job: usize, hand: usize) -> Option<usize> {
        self.hands_of(job).find(|other| *other != hand)
    }

    /// People in a room.
    pub(super) fn people_in(&self, room: usize) -> u32 {
        self.people_in[room]
    }

    /// By how many minutes a person has more than is fair; fewer where it is below 0.
    pub(super) fn off(&self, board: &Board, hand: usize) -> i64 {
        self.lines[hand].load - board.hands[hand].fair
    }

    /// What it would add to the cost that a person did these jobs of a room, ways left aside.
    pub(super) fn price(&self, board: &Board, hand: usize, room: usize, jobs: &[usize]) -> i64 {
        let (who, line) = (&board.hands[hand], &self.lines[hand]);
        let (mut load, mut unpleasant, mut price) = (line.load, line.unpleasant, 0);
        for job in jobs {
            let minutes = board.jobs[*job].slot.minutes;
            load += minutes;
            if board.jobs[*job].due.is_unpleasant {
                unpleasant += minutes;
            }
            if board.had_by[*job].contains(&hand) {
                price -= cost::moved(board);
            }
        }
        if self.jobs_in[hand][room] == 0 {
            price += cost::enters(who, room, self.people_in[room]);
        }
        price + cost::unfair(who, load, unpleasant) - cost::unfair(who, line.load, line.unpleasant)
    }

    /// Where a job would go in somebody's day, if it can.
    pub(super) fn place(&mut self, board: &Board, hand: usize, slot: Slot) -> Option<usize> {
        self.meters.lift(&self.lines[hand]);
        let at = self.lines[hand].place(board, hand, slot, &self.meters, self.taste);
        self.meters.lay(&self.lines[hand]);
        at
    }

    /// Gives a job to somebody at its place.
    pub(super) fn put(&mut self, board: &Board, hand: usize, at: usize, slot: Slot) {
        self.keep(hand);
        self.meters.lift(&self.lines[hand]);
        self.cost -= self.cost_of(board, hand);
        self.lines[hand].insert(board, hand, at, slot, &self.meters);
        self.cost += self.cost_of(board, hand) + lateness(board, &slot);
        self.meters.lay(&self.lines[hand]);
        if self.is_left(slot.job) {
            self.cost -= cost::left(board, slot.job);
        }
        if board.had_by[slot.job].contains(&hand) {
            self.cost -= cost::moved(board);
        }
        self.enter(board, hand, board.jobs[slot.job].room);
        self.note(Change { job: slot.job, hand, is_put: true });
    }

    /// Gives a job to somebody, if they have the time for it.
    pub(super) fn give(&mut self, board: &Board, hand: usize, slot: Slot) -> bool {
        let Some(at) = self.place(board, hand, slot) else { return false };
        self.put(board, hand, at, slot);
        true
    }

    /// Takes a job from all who do it.
    pub(super) fn take(&mut self, board: &Board, job: usize) {
        for hand in self.by[job].into_iter().filter(|hand| *hand != NOBODY) {
            self.keep(hand);
            self.meters.lift(&self.lines[hand]);
            self.cost -= self.cost_of(board, hand);
            let slot = self.lines[hand].remove(board, hand, job, &self.meters);
            self.cost += self.cost_of(board, hand) - slot.map_or(0, |slot| lateness(board, &slot));
            self.meters.lay(&self.lines[hand]);
            if board.had_by[job].contains(&hand) {
                self.cost += cost::moved(board);
            }
            self.leave(board, hand, board.jobs[job].room);
            self.note(Change { job, hand, is_put: false });
        }
        self.cost += cost::left(board, job);
    }

    /// From here there is a way back.
    pub(super) fn mark(&mut self) {
        self.changed.clear();
        self.were.clear();
        self.cost_was = self.cost;
    }

    /// Goes back to the last mark.
    pub(super) fn go_back(&mut self, board: &Board) {
        for (hand, line) in std::mem::take(&mut self.were) {
            self.meters.lift(&self.lines[hand]);
            self.meters.lay(&line);
            self.lines[hand] = line;
        }
        for change in std::mem::take(&mut self.changed).into_iter().rev() {
            let room = board.jobs[change.job].room;
            if change.is_put {
                self.leave(board, change.hand, room);
            } else {
                self.enter(board, change.hand, room);
            }
            self.set(Change { is_put: !change.is_put, ..change });
        }
        self.cost = self.cost_was;
    }

    /// Changes the order of somebody's jobs; whether they can be done so.
    pub(super) fn put_in_order(&mut self, board: &Board, hand: usize, slots: &[Slot]) -> bool {
        self.meters.lift(&self.lines[hand]);
        let line = self.lines[hand].in_order(board, hand, slots, &self.meters);
        let can = line.is_some();
        if let Some(line) = line {
            self.cost += line.ways - self.lines[hand].ways;
            self.lines[hand] = line;
        }
        self.meters.lay(&self.lines[hand]);
        can
    }

    fn cost_of(&self, board: &Board, hand: usize) -> i64 {
        let line = &self.lines[hand];
        line.ways + cost::unfair(&board.hands[hand], line.load, line.unpleasant)
    }

    fn enter(&mut self, board: &Board, hand: usize, room: usize) {
        if self.jobs_in[hand][room] == 0 {
            self.cost += cost::enters(&board.hands[hand], room, self.people_in[room]);
            self.people_in[room] += 1;
        }
        self.jobs_in[hand][room] += 1;
    }

    fn leave(&mut self, board: &Board, hand: usize, room: usize) {
        self.jobs_in[hand][room] -= 1;
        if self.jobs_in[hand][room] == 0 {
            self.people_in[room] -= 1;
            self.cost -= cost::enters(&board.hands[hand], room, self.people_in[room]);
        }
    }

    fn keep(&mut self, hand: usize) {
        if !self.were.iter().any(|(kept, _)| *kept == hand) {
            self.were.push((hand, self.lines[hand].clone()));
        }
    }

    fn note(&mut self, change: Change) {
        self.changed.push(change);
        self.set(change);
    }

    fn set(&mut self, change: Change) {
        let (from, to) = if change.is_put { (NOBODY, change.hand) } else { (change.hand, NOBODY) };
        let pair = &mut self.by[change.job];
        if let Some(place) = pair.iter_mut().find(|place| **place == from) {
            *place = to;
        }
        if pair[0] == NOBODY {
            pair.swap(0, 1);
        }
    }
}

fn lateness(board: &Board, slot: &Slot) -> i64 {
    if slot.closes > board.jobs[slot.job].slot.closes { cost::late(board) } else { 0 }
}
