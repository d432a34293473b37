//! What becomes of checks when a day is shared out anew: which go to somebody else and why, and what would help those that
//! nobody does.

use crate::Id;
use crate::code::coded;
use crate::entries::MeterKind;
use crate::people::Person;
use crate::work::{Check, LeftReason, Qualification};

/// A check that goes to somebody else.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Move {
    /// Which.
    pub check: Id<Check>,
    /// Who had it.
    pub from: Vec<Id<Person>>,
    /// Who has it now; nobody when it is left.
    pub to: Vec<Id<Person>>,
    /// Why.
    pub why: MoveReason,
}

coded! {
    /// Why a check goes to somebody else.
    MoveReason {
        /// Who had it is not there for it any more.
        PersonAway = "person_away",
        /// Who had it is not qualified for it, or not any more.
        NotQualified = "not_qualified",
        /// Who had it has been in a dirtier room since.
        WouldBreakHygiene = "would_break_hygiene",
        /// Who had it has not the time left for all they had: something took longer, or came in between.
        NoTimeLeft = "no_time_left",
        /// Who had it has something else to do that would be left, late or shared otherwise.
        MakesRoom = "makes_room",
        /// Nobody had it: it is new, or was left before.
        WasLeft = "was_left",
        /// It was not done the day before, when somebody else had it.
        LeftOver = "left_over",
        /// People agreed on it, or a manager gave it to them.
        Agreed = "agreed",
        /// Nobody had it, or who had it is away: they took it over.
        TakenOver = "taken_over",
    }
}

impl MoveReason {
    /// In words.
    pub fn text(self) -> String {
        self.text_of("who had it")
    }

    /// In words, where whoever had it is called so.
    pub fn text_of(self, who: &str) -> String {
        match self {
            MoveReason::PersonAway => format!("{who} is not there for it any more"),
            MoveReason::NotQualified => format!("{who} is not qualified for it any more"),
            MoveReason::WouldBreakHygiene => format!("{who} has been in a dirtier room since"),
            MoveReason::NoTimeLeft => format!("{who} has no time left for it"),
            MoveReason::MakesRoom => format!("{who} does something else that nobody could do better"),
            MoveReason::WasLeft => "nobody had it before".to_owned(),
            MoveReason::LeftOver => "it is left over from the day before".to_owned(),
            MoveReason::Agreed => "they agreed on it, or a manager wanted it so".to_owned(),
            MoveReason::TakenOver => {
                format!("who has it took it over, since nobody had it or {who} is away")
            }
        }
    }
}

/// A check that nobody does, why, and what would help.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undone {
    /// Which.
    pub check: Id<Check>,
    /// Why, at least one.
    pub reasons: Vec<LeftReason>,
    /// What would help, the cheapest first. Each on its own, with the rounds as they are.
    pub cures: Vec<Cure>,
}

/// What would help a check that is left.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cure {
    /// It waits until tomorrow: its tolerance allows that.
    WaitUntilTomorrow,
    /// Somebody stays so much longer.
    Stay {
        /// Who.
        person: Id<Person>,
        /// How much longer, min.
        minutes: i64,
    },
    /// One more meter of a kind.
    AnotherMeter {
        /// Which kind.
        kind: MeterKind,
    },
    /// Somebody who has the time learns what it wants, or learns it again.
    Qualify {
        /// Who.
        person: Id<Person>,
        /// In what.
        qualification: Id<Qualification>,
    },
    /// Somebody more in its window, who is qualified and has been in no dirtier room.
    AnotherPerson {
        /// For how long, min.
        minutes: i64,
    },
}

impl Cure {
    /// Its code in rows and JSON, without the facts.
    pub fn code(self) -> &'static str {
        match self {
            Cure::WaitUntilTomorrow => "wait_until_tomorrow",
            Cure::Stay { .. } => "stay",
            Cure::AnotherMeter { .. } => "another_meter",
            Cure::Qualify { .. } => "qualify",
            Cure::AnotherPerson { .. } => "another_person",
        }
    }
}
