//! Who checks what today: one ordered round a person.
//!
//! Hard: shift, absence, window, qualification, and hygiene (a person goes from clean to dirty, quarantine
//! last, all day long). Wanted, in this order: as few checks left as can be, a room with one person, minutes
//! that are fair over four weeks. Rooms are handed out whole, the largest first, then checks and rooms are
//! moved while that makes the plan better. The same day gives the same plan, in whatever order it is told.

mod day;
mod reasons;
mod search;
mod timetable;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::Id;
use fillmark_domain::people::Person;
use fillmark_domain::places::Room;
use fillmark_domain::work::{Check, Held, Qualification, Span};
pub use fillmark_domain::work::{Left, LeftReason as Reason};

use day::Board;

/// How clean a room must be kept. The order is that of a round.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hygiene {
    /// Quarantine comes after everything, whatever its rank.
    pub quarantine: bool,
    /// The room's hygiene rank: low is clean.
    pub rank: u16,
}

/// A check that is to be done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueCheck {
    /// Which.
    pub check: Id<Check>,
    /// The room it is done in.
    pub room: Id<Room>,
    /// How clean that is kept.
    pub hygiene: Hygiene,
    /// The name of its tank or room, for the order within a room.
    pub name: String,
    /// When it may be done, beginning to end.
    pub window: Span,
    /// Minutes of work.
    pub minutes: u32,
    /// What each who does it must be qualified in.
    pub qualification: Option<Id<Qualification>>,
    /// Whether two people must do it together.
    pub two_people: bool,
}

/// Somebody who may work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worker {
    /// Who.
    pub person: Id<Person>,
    /// Their shifts; a check lies within one.
    pub shifts: Vec<Span>,
    /// When they are away.
    pub absences: Vec<Span>,
    /// What they are qualified in.
    pub held: Vec<Held>,
    /// The dirtiest room they have been in this day already, when the day is shared out anew in its course.
    pub been_in: Option<Hygiene>,
    /// Minutes of checks they did in the four weeks up to this day.
    pub worked_min: i64,
    /// Minutes of their shifts in those four weeks and this day: who is there half the time has half the
    /// checks.
    pub available_min: i64,
}

/// A day to be shared out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorkDay {
    /// The local day: qualifications must be good on it.
    pub date: NaiveDate,
    /// What is to be done.
    pub checks: Vec<DueCheck>,
    /// Who is there.
    pub workers: Vec<Worker>,
}

/// Rounds of a day, and what nobody can do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Assignment {
    /// One a person who has something to do, by person.
    pub rounds: Vec<PlannedRound>,
    /// Checks that nobody does, by check.
    pub left: Vec<Left>,
}

/// One person's checks in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedRound {
    /// Who.
    pub person: Id<Person>,
    /// What, in order.
    pub steps: Vec<PlannedStep>,
    /// Minutes of work.
    pub minutes: i64,
    /// Minutes that would be fair, given the four weeks before.
    pub fair_minutes: i64,
}

/// A check in a round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlannedStep {
    /// Which.
    pub check: Id<Check>,
    /// When it begins.
    pub starts_at: DateTime<Utc>,
    /// Who does it too, where it wants two.
    pub with: Option<Id<Person>>,
}

/// Shares out a day.
pub fn assign(day: &WorkDay) -> Assignment {
    let board = Board::of(day);
    let plan = search::search(&board);
    board.assignment(&plan)
}

#[cfg(test)]
mod tests;
