//! The search for a good plan: rooms handed out whole, then moves while they help. Every plan on the way
//! keeps the hard rules, so it can stop anywhere.

use std::collections::BTreeSet;

use fillmark_domain::Id;
use fillmark_domain::places::Room;

use crate::rounds::day::Board;
use crate::rounds::timetable::{Slot, first_start, timetable};

/// What a room shared by one more person costs, in minutes of unfairness: two people who both change
/// clothes and read the same labels.
const SPLIT: i64 = 20;
/// Minutes off the fair ones that nobody minds.
const NOBODY_MINDS: i64 = 15;
/// Rounds of improvement at most. Each only ever makes the plan better; few days need more than five.
const MOST_PASSES: usize = 12;
/// Starts tried at most for two people to meet.
const MEETINGS_TRIED: i64 = 200;

/// Who does what.
pub(super) struct Plan {
    /// The slots of each person, narrowed where two must meet.
    slots: Vec<Vec<Slot>>,
    /// Who does each job.
    by: Vec<Vec<usize>>,
}

/// The best plan found.
pub(super) fn search(board: &Board) -> Plan {
    let mut plan =
        Plan { slots: vec![Vec::new(); board.hands.len()], by: vec![Vec::new(); board.jobs.len()] };
    plan.hand_out(board);
    for _ in 0..MOST_PASSES {
        let placed = plan.place_left(board);
        let moved = plan.move_rooms(board) | plan.move_checks(board);
        if !placed && !moved {
            break;
        }
    }
    plan
}

impl Plan {
    /// The jobs that nobody does.
    pub(super) fn left(&self, board: &Board) -> Vec<usize> {
        (0..board.jobs.len()).filter(|job| self.by[*job].is_empty()).collect()
    }

    /// Who does a job besides this person.
    pub(super) fn other(&self, job: usize, hand: usize) -> Option<usize> {
        self.by[job].iter().copied().find(|other| *other != hand)
    }

    /// A person's slots as they stand.
    pub(super) fn slots_of(&self, hand: usize) -> &[Slot] {
        &self.slots[hand]
    }

    /// A person's jobs in order, with their starts.
    pub(super) fn times(&self, board: &Board, hand: usize) -> Option<Vec<(usize, i64)>> {
        timetable(&board.hands[hand].free, &board.jobs, &self.slots[hand])
    }

    fn hand_out(&mut self, board: &Board) {
        for job in self.left(board) {
            if board.jobs[job].due.two_people {
                self.meet(board, job);
            }
        }
        for room in self.largest_rooms(board) {
            if !self.give(board, &room) {
                for job in room {
                    self.give(board, &[job]);
                }
            }
        }
    }

    /// The jobs of each room for one person, largest room first; within it what few can do or what has
    /// least room in its window first.
    fn largest_rooms(&self, board: &Board) -> Vec<Vec<usize>> {
        let alone: Vec<usize> =
            self.left(board).into_iter().filter(|job| !board.jobs[*job].due.two_people).collect();
        let names: BTreeSet<Id<Room>> = alone.iter().map(|job| board.jobs[*job].due.room).collect();
        let hard_first = |job: &usize| {
            let (due, slot) = (board.jobs[*job].due, board.jobs[*job].slot);
            (due.qualification.is_none(), slot.closes - slot.opens, -slot.minutes, *job)
        };
        let mut rooms: Vec<Vec<usize>> = names
            .into_iter()
            .map(|room| alone.iter().copied().filter(|job| board.jobs[*job].due.room == room).collect())
            .collect();
        for room in &mut rooms {
            room.sort_by_key(hard_first);
        }
        rooms.sort_by_key(|room| -room.iter().map(|job| board.jobs[*job].slot.minutes).sum::<i64>());
        rooms
    }

    /// Gives these jobs to the one person who suits best and can do them all.
    fn give(&mut self, board: &Board, jobs: &[usize]) -> bool {
        let slots: Vec<Slot> = jobs.iter().map(|job| board.jobs[*job].slot).collect();
        let best = (0..board.hands.len())
            .filter(|hand| self.can_add(board, *hand, &slots))
            .min_by_key(|hand| (self.strain(board, *hand, &slots), *hand));
        let Some(hand) = best else { return false };
        for slot in slots {
            self.put(hand, slot);
        }
        true
    }

    /// How much it strains somebody to take these: a room that is new to them, minutes beyond the fair
    /// ones, then how much of their fair minutes they have already, in thousandths.
    fn strain(&self, board: &Board, hand: usize, slots: &[Slot]) -> (i64, i64) {
        let (load, fair) = (load(&self.slots[hand]), board.hands[hand].fair);
        let room = |slot: &Slot| board.jobs[slot.job].due.room;
        let new = !self.slots[hand].iter().any(|own| slots.iter().any(|slot| room(slot) == room(own)));
        let over = (load + self::load(slots) - fair).max(0);
        (over + if new { SPLIT } else { 0 }, load * 1000 / (fair + 1))
    }

    /// Lets two people meet for a job at the first time that suits both, the least strained pair first.
    fn meet(&mut self, board: &Board, job: usize) -> bool {
        let slot = board.jobs[job].slot;
        let mut hands: Vec<usize> =
            (0..board.hands.len()).filter(|hand| self.can_add(board, *hand, &[slot])).collect();
        hands.sort_by_key(|hand| (self.strain(board, *hand, &[slot]), *hand));
        for (index, second) in hands.iter().enumerate() {
            for first in &hands[..index] {
                if let Some(agreed) = self.meeting(board, *first, *second, slot) {
                    self.put(*first, agreed);
                    self.put(*second, agreed);
                    return true;
                }
            }
        }
        false
    }

    fn meeting(&self, board: &Board, first: usize, second: usize, slot: Slot) -> Option<Slot> {
        let step = ((slot.closes - slot.opens) / MEETINGS_TRIED).max(5);
        let at = |start: i64| Slot { opens: start, closes: start + slot.minutes, ..slot };
        let free =
            |hand: usize, start: i64| first_start(&board.hands[hand].free, &at(start), start).is_some();
        (0..=MEETINGS_TRIED)
            .map(|index| slot.opens + index * step)
            .take_while(|start| start + slot.minutes <= slot.closes)
            .filter(|start| free(first, *start) && free(second, *start))
            .map(at)
            .find(|agreed| [first, second].iter().all(|hand| self.can_add(board, *hand, &[*agreed])))
    }

    /// Places what is left, if need be by moving one check of somebody else.
    fn place_left(&mut self, board: &Board) -> bool {
        let mut any = false;
        for job in self.left(board) {
            any |= if board.jobs[job].due.two_people {
                self.meet(board, job)
            } else {
                self.give(board, &[job]) || self.make_room(board, job)
            };
        }
        any
    }

    fn make_room(&mut self, board: &Board, job: usize) -> bool {
        let wanted = board.jobs[job].slot;
        for hand in (0..board.hands.len()).filter(|hand| board.hands[*hand].may[job]) {
            for moved in self.movable(hand, |_| true) {
                let mut without = self.without(hand, &[moved]);
                without.push(wanted);
                if !fits(board, hand, &without) {
                    continue;
                }
                let taker = (0..board.hands.len())
                    .filter(|taker| *taker != hand && self.can_add(board, *taker, &[moved]))
                    .min_by_key(|taker| (self.strain(board, *taker, &[moved]), *taker));
                if let Some(taker) = taker {
                    self.take(hand, moved);
                    self.put(taker, moved);
                    self.put(hand, wanted);
                    return true;
                }
            }
        }
        false
    }

    /// Moves what somebody does in a room to somebody else, where that is better.
    fn move_rooms(&mut self, board: &Board) -> bool {
        let mut any = false;
        for hand in 0..board.hands.len() {
            let rooms: BTreeSet<Id<Room>> =
                self.slots[hand].iter().map(|slot| board.jobs[slot.job].due.room).collect();
            for room in rooms {
                let moved = self.movable(hand, |slot| board.jobs[slot.job].due.room == room);
                any |= self.move_if_better(board, hand, &moved);
            }
        }
        any
    }

    /// Moves single checks to somebody else, where that is better.
    fn move_checks(&mut self, board: &Board) -> bool {
        let mut any = false;
        for hand in 0..board.hands.len() {
            for slot in self.movable(hand, |_| true) {
                any |= self.move_if_better(board, hand, &[slot]);
            }
        }
        any
    }

    fn move_if_better(&mut self, board: &Board, hand: usize, moved: &[Slot]) -> bool {
        if moved.is_empty() {
            return false;
        }
        let rest = self.without(hand, moved);
        let gained = cost(board, hand, &self.slots[hand]) - cost(board, hand, &rest);
        let paid = |taker: usize| {
            cost(board, taker, &self.with(taker, moved)) - cost(board, taker, &self.slots[taker])
        };
        let best = (0..board.hands.len())
            .filter(|taker| *taker != hand && paid(*taker) < gained)
            .filter(|taker| self.can_add(board, *taker, moved))
            .min_by_key(|taker| (paid(*taker), *taker));
        let Some(taker) = best else { return false };
        for slot in moved {
            self.take(hand, *slot);
            self.put(taker, *slot);
        }
        true
    }

    fn can_add(&self, board: &Board, hand: usize, slots: &[Slot]) -> bool {
        let may = &board.hands[hand].may;
        slots.iter().all(|slot| may[slot.job]) && fits(board, hand, &self.with(hand, slots))
    }

    /// What a person does alone: a meeting stays where it is.
    fn movable(&self, hand: usize, which: impl Fn(&Slot) -> bool) -> Vec<Slot> {
        let alone = |slot: &&Slot| self.by[slot.job].len() == 1 && which(slot);
        self.slots[hand].iter().filter(alone).copied().collect()
    }

    fn with(&self, hand: usize, slots: &[Slot]) -> Vec<Slot> {
        self.slots[hand].iter().chain(slots).copied().collect()
    }

    fn without(&self, hand: usize, slots: &[Slot]) -> Vec<Slot> {
        self.slots[hand].iter().filter(|own| !slots.contains(own)).copied().collect()
    }

    fn put(&mut self, hand: usize, slot: Slot) {
        self.slots[hand].push(slot);
        self.by[slot.job].push(hand);
    }

    fn take(&mut self, hand: usize, slot: Slot) {
        self.slots[hand].retain(|own| *own != slot);
        self.by[slot.job].retain(|own| *own != hand);
    }
}

fn fits(board: &Board, hand: usize, slots: &[Slot]) -> bool {
    timetable(&board.hands[hand].free, &board.jobs, slots).is_some()
}

fn load(slots: &[Slot]) -> i64 {
    slots.iter().map(|slot| slot.minutes).sum()
}

/// What one person's round costs: the rooms they have to go into, and how far their minutes are from fair.
fn cost(board: &Board, hand: usize, slots: &[Slot]) -> i64 {
    let rooms: BTreeSet<Id<Room>> = slots.iter().map(|slot| board.jobs[slot.job].due.room).collect();
    let off = (load(slots) - board.hands[hand].fair).abs();
    SPLIT * rooms.len() as i64 + (off - NOBODY_MINDS).max(0)
}
