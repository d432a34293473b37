//! Who checks what today: one ordered round a person.
//!
//! Hard: shift, absence, breaks, window, qualification, two people where two are wanted, meters shared, the walk
//! between rooms, and hygiene (a person goes from clean to dirty, quarantine last, all day long and over the whole
//! site: what clings to clothes goes along from building to building). Wanted, in this order: nothing undone,
//! nothing late, a room with one person, fair minutes and fair unpleasant work over four weeks, familiar rooms,
//! short walks. Rounds are built greedily, then parts of them are taken out and put back, seeded and counted, so
//! that the same day gives the same plan in whatever order it is told.

mod board;
mod chance;
mod cost;
mod coverage;
mod cures;
mod fairness;
mod hand;
mod line;
mod meeting;
mod meters;
mod overtaken;
mod past;
mod plan;
mod reasons;
mod recreate;
mod replan;
mod ruin;
mod search;
mod tidy;
mod timetable;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::Id;
use fillmark_domain::entries::MeterKind;
use fillmark_domain::people::Person;
use fillmark_domain::places::Room;
use fillmark_domain::work::{Check, Held, Qualification, Span};
pub use fillmark_domain::work::{Cure, Left, LeftReason as Reason, Move, MoveReason, Undone};

use board::Board;
pub use coverage::{Coverage, DayAhead, Expected, Lack, coverage, minutes_there};
pub use cures::cures;
pub use fairness::{Attended, Load, WeekOfWork, fairness, looked_at_from, monday};
pub use hand::{Handing, NotHanded, WhyNot, hand, hindrance, is_qualified};
pub use meters::shared_meters;
pub use overtaken::{Known, Overtaken};
pub use past::{Past, Worked, past};
pub use replan::{Begun, Published, Replanned, replan, still_to_do};
pub use search::Effort;

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
    /// When it is missed for good: it may be done late until then. Without, it is never late.
    pub limit: Option<DateTime<Utc>>,
    /// How much it matters that it is done: two leave one of 1 for one of 2. At least 1.
    pub weight: u32,
    /// The kind of meter it wants.
    pub meter: Option<MeterKind>,
    /// The building of its room, by a number of the caller's choice.
    pub building: u32,
    /// Whether nobody likes to do it, so that its minutes are shared fairly too.
    pub is_unpleasant: bool,
    /// Whether its tolerance allows it to wait until tomorrow.
    pub may_wait: bool,
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
    /// Minutes of their shifts in those four weeks and this day, without breaks and absences: who is there half the time
    /// has half the checks.
    pub available_min: i64,
    /// When they rest: no check then.
    pub breaks: Vec<Span>,
    /// When they are at what is begun already; what is past is taken too.
    pub busy: Vec<Span>,
    /// Rooms they know well.
    pub familiar: Vec<Id<Room>>,
    /// Minutes of unpleasant checks they did in the four weeks up to this day.
    pub unpleasant_min: i64,
    /// Minutes of checks they have begun or done this day, which are not among the checks to be shared out.
    pub begun_min: i64,
    /// Of those, the unpleasant ones.
    pub begun_unpleasant_min: i64,
    /// The rooms of those.
    pub begun_rooms: Vec<Id<Room>>,
}

impl Worker {
    /// Somebody of whom nothing is known yet.
    pub fn new(person: Id<Person>) -> Worker {
        Worker {
            person,
            shifts: Vec::new(),
            absences: Vec::new(),
            held: Vec::new(),
            been_in: None,
            worked_min: 0,
            available_min: 0,
            breaks: Vec::new(),
            busy: Vec::new(),
            familiar: Vec::new(),
            unpleasant_min: 0,
            begun_min: 0,
            begun_unpleasant_min: 0,
            begun_rooms: Vec::new(),
        }
    }
}

/// Minutes it takes to walk. Within a room it takes none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Walks {
    /// From a room to another of the same building, min.
    pub rooms_min: u32,
    /// From a building to another, min; never less than between rooms.
    pub buildings_min: u32,
}

/// Meters that people share. A kind that is not named is at hand for everybody.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Meters {
    /// Which kind.
    pub kind: MeterKind,
    /// How many there are: so many people can use one at a time.
    pub count: u32,
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
    /// How long it takes to walk.
    pub walks: Walks,
    /// What meters there are.
    pub meters: Vec<Meters>,
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

/// Shares out a day with the effort of a page load.
pub fn assign(day: &WorkDay) -> Assignment {
    assign_with(day, Effort::of(day))
}

/// Shares out a day with a stated effort, which costs time in proportion.
pub fn assign_with(day: &WorkDay, effort: Effort) -> Assignment {
    let board = Board::of(day);
    let plan = search::search(&board, effort);
    board.assignment(&plan)
}

#[cfg(test)]
mod properties;
#[cfg(test)]
mod tests;
