//! A day shared out anew in its course: what has begun stays, the fewest others move, and each says why.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::people::Person;
use fillmark_domain::work::{Check, Span};

use crate::rounds::board::{Board, Hand, Slot, first_start, free};
use crate::rounds::line::Taste;
use crate::rounds::meeting::meet;
use crate::rounds::plan::Plan;
use crate::rounds::search::improve;
use crate::rounds::tidy::by_name;
use crate::rounds::{Assignment, DueCheck, Effort, Move, MoveReason, PlannedRound, WorkDay, Worker};

/// The day as people have it on paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Published {
    /// The rounds that are in force.
    pub rounds: Vec<PlannedRound>,
    /// What is begun or done.
    pub begun: Vec<Begun>,
    /// The instant it is: nothing new begins before it.
    pub now: DateTime<Utc>,
}

/// A check that somebody has begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Begun {
    /// Which; its facts are among those of the day.
    pub check: Id<Check>,
    /// By whom: each of two has an entry.
    pub person: Id<Person>,
    /// When it began.
    pub at: DateTime<Utc>,
    /// When it was done. Until then it keeps its person for its minutes, and at least until now.
    pub done_at: Option<DateTime<Utc>>,
}

/// A day shared out anew.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Replanned {
    /// What is still to do. What has begun is not in it.
    pub assignment: Assignment,
    /// Checks with other people than on paper, by check.
    pub moves: Vec<Move>,
}

/// Shares out what is still to do of a day. `day` has all its checks, begun or not, and people as they are known to
/// be there now.
pub fn replan(day: &WorkDay, published: &Published, effort: Effort) -> Replanned {
    let rest = still_to_do(day, published);
    let board = Board::of(&rest);
    let had = had_by(&board, published);
    let board = board.with_paper(had);
    let start = as_published(&board, published);
    let plan = improve(&board, start, effort);
    Replanned { moves: moves(day, &board, &plan, published), assignment: board.assignment(&plan) }
}

/// The day from now on: without what is begun, which takes its people's time, minutes and cleanness along.
pub fn still_to_do(day: &WorkDay, published: &Published) -> WorkDay {
    let facts: HashMap<Id<Check>, &DueCheck> = day.checks.iter().map(|due| (due.check, due)).collect();
    let mut rest = day.clone();
    rest.checks.retain(|due| published.begun.iter().all(|begun| begun.check != due.check));
    for worker in &mut rest.workers {
        // Shifts are of the last days; a day before any of them the past has begun.
        let past = worker.shifts.iter().map(|shift| shift.from).min().unwrap_or(published.now);
        worker.busy.extend(Span::new(past, published.now).ok());
        let person = worker.person;
        for begun in published.begun.iter().filter(|begun| begun.person == person) {
            if let Some(due) = facts.get(&begun.check) {
                count_in(worker, due, begun, published.now);
            }
        }
    }
    rest
}

fn count_in(worker: &mut Worker, due: &DueCheck, begun: &Begun, now: DateTime<Utc>) {
    let minutes = i64::from(due.minutes.max(1));
    worker.begun_min += minutes;
    worker.begun_unpleasant_min += if due.is_unpleasant { minutes } else { 0 };
    if !worker.begun_rooms.contains(&due.room) {
        worker.begun_rooms.push(due.room);
    }
    worker.been_in = worker.been_in.max(Some(due.hygiene));
    if begun.done_at.is_none() {
        let ends = begun.at + chrono::TimeDelta::minutes(minutes);
        worker.busy.extend(Span::new(begun.at, ends.max(now)).ok());
    }
}

/// Who is still there and had each job.
fn had_by(board: &Board, published: &Published) -> Vec<Vec<usize>> {
    let of = |index: usize| {
        let had = who_had(published, board.jobs[index].due.check);
        let there = |person: &Id<Person>| {
            let is_there = |hand: &Hand| hand.worker.person == *person && !hand.free.is_empty();
            board.hands.iter().position(is_there)
        };
        had.iter().filter_map(there).collect()
    };
    (0..board.jobs.len()).map(of).collect()
}

fn who_had(published: &Published, check: Id<Check>) -> Vec<Id<Person>> {
    let has = |round: &&PlannedRound| round.steps.iter().any(|step| step.check == check);
    published.rounds.iter().filter(has).map(|round| round.person).collect()
}

/// What people had, each check after those before it on paper, so far as they can still do it.
fn as_published(board: &Board, published: &Published) -> Plan {
    let mut plan = Plan::empty(board);
    let jobs: HashMap<Id<Check>, usize> =
        board.jobs.iter().enumerate().map(|(index, job)| (job.due.check, index)).collect();
    let mut steps: Vec<_> = published.rounds.iter().flat_map(|round| &round.steps).collect();
    steps.sort_by_key(|step| (step.starts_at, step.check));
    plan.set_taste(Taste::Late);
    for job in steps.into_iter().filter_map(|step| jobs.get(&step.check).copied()) {
        let able = |hand: &&usize| board.jobs[job].able.contains(hand);
        let hands: Vec<usize> = board.had_by[job].iter().filter(able).copied().collect();
        if !plan.is_left(job) || hands.len() < board.people(job) {
            continue;
        }
        // What was to be late on paper is late again, with who had it.
        let slots = [board.jobs[job].slot.closes, board.jobs[job].late_closes]
            .map(|closes| Slot { closes, ..board.jobs[job].slot });
        slots.into_iter().any(|slot| match board.jobs[job].due.two_people {
            true => meet(board, &mut plan, &hands, slot),
            false => plan.give(board, hands[0], slot),
        });
    }
    plan.set_taste(Taste::ShortWay);
    plan
}

fn moves(day: &WorkDay, board: &Board, plan: &Plan, published: &Published) -> Vec<Move> {
    let mut moves: Vec<Move> =
        (0..board.jobs.len()).filter_map(|job| moved(day, board, plan, published, job)).collect();
    moves.sort_by_key(|moved| moved.check);
    moves
}

fn moved(day: &WorkDay, board: &Board, plan: &Plan, published: &Published, job: usize) -> Option<Move> {
    let check = board.jobs[job].due.check;
    let mut from = who_had(published, check);
    let mut to: Vec<Id<Person>> = plan.hands_of(job).map(|hand| board.hands[hand].worker.person).collect();
    from.sort_unstable();
    to.sort_unstable();
    // Where two had it, the one whom a rule stops takes the other along.
    let gone = from.iter().filter(|person| !to.contains(person));
    let why = match gone.map(|person| why(day, board, published, job, *person)).min() {
        Some(why) => why,
        None if from.is_empty() && !to.is_empty() => MoveReason::WasLeft,
        None => return None,
    };
    Some(Move { check, from, to, why })
}

/// The first rule that stops who had it, or that none does.
fn why(day: &WorkDay, board: &Board, published: &Published, job: usize, person: Id<Person>) -> MoveReason {
    let Some(hand) = board.hands.iter().position(|hand| hand.worker.person == person) else {
        return MoveReason::PersonAway;
    };
    let own = &board.hands[hand];
    if !own.qualified[job] {
        return MoveReason::NotQualified;
    }
    if !own.may[job] {
        return MoveReason::WouldBreakHygiene;
    }
    let slot = board.jobs[job].slot;
    if first_start(&own.free, &slot, slot.opens).is_none() {
        // Whether their shift would have allowed it, had the day gone as planned.
        let planned = day.workers.iter().find(|worker| worker.person == person).map(free);
        let was_there = planned.is_some_and(|free| first_start(&free, &slot, slot.opens).is_some());
        return if was_there { MoveReason::NoTimeLeft } else { MoveReason::PersonAway };
    }
    if all_they_had_fits(board, published, hand) { MoveReason::MakesRoom } else { MoveReason::NoTimeLeft }
}

fn all_they_had_fits(board: &Board, published: &Published, hand: usize) -> bool {
    let person = board.hands[hand].worker.person;
    let had: Vec<_> = (0..board.jobs.len())
        .filter(|job| who_had(published, board.jobs[*job].due.check).contains(&person))
        .map(|job| board.jobs[job].slot)
        .collect();
    // As it was on paper, or else in the order of the board.
    let mut on_paper = had.clone();
    on_paper.sort_by_key(|slot| starts_of(published, board.jobs[slot.job].due.check));
    let fits = |slots: &[Slot]| Plan::empty(board).put_in_order(board, hand, slots);
    let mut plan = Plan::empty(board);
    fits(&on_paper) || by_name(&had).into_iter().all(|slot| plan.give(board, hand, slot))
}

fn starts_of(published: &Published, check: Id<Check>) -> Option<DateTime<Utc>> {
    let mut steps = published.rounds.iter().flat_map(|round| &round.steps);
    steps.find(|step| step.check == check).map(|step| step.starts_at)
}
