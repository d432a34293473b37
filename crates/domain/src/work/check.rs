//! Checks: one occurrence of a plan, and what became of it.

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;

use crate::Id;
use crate::code::{Coded, coded};
use crate::entries::{Calibration, Reading, TankChange};
use crate::local::clock_and_day;
use crate::people::Person;
use crate::work::{CheckPlan, Place, Qualification, Sharing, Span, Task};

/// Rounds begin a little early: what was measured so long before a check is due shows it all the same, unless it asks what
/// something that was poured has done. Common practice, no source.
const AHEAD: TimeDelta = TimeDelta::hours(1);

/// Who is at the tank a little before a check is due does not stand and wait: so many minutes before, it can be begun and done. Our
/// own judgement.
const EARLY_MIN: i64 = 10;

/// Who settles a check and then notes its last reading, or has two clocks, is not refused for so little.
const AFTER: TimeDelta = TimeDelta::minutes(5);

/// One occurrence of a plan or programme, or what follows advice. Cause, date and time name it once and for all.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// What made it.
    pub cause: Cause,
    /// The local date its cause names.
    pub date: NaiveDate,
    /// The local time its cause names.
    pub time: NaiveTime,
    /// Its name on the round.
    pub name: String,
    /// What is done.
    pub task: Task,
    /// Where.
    pub place: Place,
    /// When its window opens.
    pub due_at: DateTime<Utc>,
    /// When its window closes: done later is late.
    pub window_until: DateTime<Utc>,
    /// After this it is missed for good.
    pub limit: DateTime<Utc>,
    /// Minutes of work.
    pub work_min: u32,
    /// What a person must be qualified in to do it.
    pub qualification: Option<Id<Qualification>>,
    /// Whether two people must do it together.
    pub two_people: bool,
    /// What counts when it is shared out.
    pub sharing: Sharing,
    /// What became of it.
    pub state: CheckState,
}

/// What made a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cause {
    /// A check plan.
    Plan(Id<CheckPlan>),
    /// The interval between tank changes, as the feeding programme has it.
    Programme,
    /// Advice that was followed: what it did is measured again.
    Advice,
}

impl Cause {
    /// Its code in rows and JSON.
    pub fn code(self) -> &'static str {
        match self {
            Cause::Plan(_) => "plan",
            Cause::Programme => "programme",
            Cause::Advice => "advice",
        }
    }

    /// The plan, where one made it.
    pub fn plan(self) -> Option<Id<CheckPlan>> {
        match self {
            Cause::Plan(plan) => Some(plan),
            Cause::Programme | Cause::Advice => None,
        }
    }
}

coded! {
    /// Where a check stands.
    CheckStanding {
        /// Nobody has begun.
        Planned = "planned",
        /// Somebody has begun.
        Open = "open",
        /// It was done.
        Done = "done",
        /// Its limit passed.
        Missed = "missed",
        /// It need not be done.
        Excused = "excused",
    }
}

/// What became of a check.
#[derive(Debug, Clone, PartialEq)]
pub enum CheckState {
    /// Nobody has begun.
    Planned,
    /// Somebody has begun: a change of the plan leaves it alone.
    Open {
        /// Since when.
        at: DateTime<Utc>,
        /// Who.
        by: Id<Person>,
    },
    /// It was done.
    Done {
        /// When.
        at: DateTime<Utc>,
        /// Who did it.
        by: Id<Person>,
        /// The second person, where two did it.
        with: Option<Id<Person>>,
        /// What shows that it was done, at least one.
        evidence: Vec<Evidence>,
        /// Whether its window was over.
        late: bool,
    },
    /// Its limit passed.
    Missed {
        /// When that was found.
        at: DateTime<Utc>,
    },
    /// It need not be done.
    Excused {
        /// When it was excused.
        at: DateTime<Utc>,
        /// Who excused it; nobody where its tank was out of use.
        by: Option<Id<Person>>,
        /// Why.
        reason: String,
    },
}

/// What shows that a check was done.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Evidence {
    /// A reading that was taken.
    Reading(Id<Reading>),
    /// A calibration that was made.
    Calibration(Id<Calibration>),
    /// The tank change that was due.
    Change(Id<TankChange>),
    /// What was seen or done, in the words of who did it.
    Note(String),
}

impl CheckState {
    /// Where it stands, without the facts.
    pub fn standing(&self) -> CheckStanding {
        match self {
            CheckState::Planned => CheckStanding::Planned,
            CheckState::Open { .. } => CheckStanding::Open,
            CheckState::Done { .. } => CheckStanding::Done,
            CheckState::Missed { .. } => CheckStanding::Missed,
            CheckState::Excused { .. } => CheckStanding::Excused,
        }
    }
}

impl Check {
    /// Whether it was done late or missed.
    pub fn is_troubled(&self) -> bool {
        matches!(self.state, CheckState::Done { late: true, .. } | CheckState::Missed { .. })
    }

    /// Whether what was measured at an instant can show that it was done at another: yesterday's pH shows nothing.
    pub fn can_be_shown_by(&self, measured_at: DateTime<Utc>, done_at: DateTime<Utc>) -> bool {
        let ahead = if self.cause == Cause::Advice { TimeDelta::minutes(EARLY_MIN) } else { AHEAD };
        (self.due_at - ahead..=done_at + AFTER).contains(&measured_at)
    }

    /// What is left, from an instant on, of the time in which it can be done.
    pub fn time_left(&self, from: DateTime<Utc>) -> Option<Span> {
        Span::new(self.due_at.max(from), self.limit).ok()
    }

    /// Whether nothing can become of it any more.
    pub fn is_settled(&self) -> bool {
        !matches!(self.state, CheckState::Planned | CheckState::Open { .. })
    }

    /// When it was settled, if it is.
    pub fn settled_at(&self) -> Option<DateTime<Utc>> {
        match self.state {
            CheckState::Planned | CheckState::Open { .. } => None,
            CheckState::Done { at, .. } | CheckState::Missed { at } | CheckState::Excused { at, .. } => {
                Some(at)
            }
        }
    }

    /// Begun by this person, ten minutes before it is due or later. Opening an open check hands it over: the phone of the first
    /// may be dead.
    /// # Errors
    /// [`NotAllowed`] when it is settled, not nearly due, or past its limit.
    pub fn open(self, at: DateTime<Utc>, by: Id<Person>) -> Result<Check, NotAllowed> {
        self.is_not_settled()?;
        self.is_time(at)?;
        Ok(self.becomes(CheckState::Open { at, by }))
    }

    /// Done at this instant by this person, and a second where the check wants two. Late once its window is
    /// over. What counts is when it was done, not when it was typed in, which may be when it was found missed already.
    /// # Errors
    /// [`NotAllowed`] when it is done or excused, not nearly due, past its limit, without evidence, or one person
    /// short. Past the limit it is missed for good: a reading that is taken later is just a reading.
    pub fn done(
        self,
        at: DateTime<Utc>,
        by: Id<Person>,
        with: Option<Id<Person>>,
        evidence: Vec<Evidence>,
    ) -> Result<Check, NotAllowed> {
        self.can_still_be_done()?;
        self.is_time(at)?;
        if self.two_people && with.is_none_or(|second| second == by) {
            return Err(NotAllowed::OnePersonShort);
        }
        if evidence.is_empty() {
            return Err(NotAllowed::NoEvidence);
        }
        let late = at > self.window_until;
        Ok(self.becomes(CheckState::Done { at, by, with, evidence, late }))
    }

    /// Done by a tank change that somebody entered, maybe when it was found missed already. A change may come some days before it
    /// is due, so that is no reason to refuse it here.
    /// # Errors
    /// [`NotAllowed`] when it is done or excused, or the change came past its limit.
    pub fn changed(
        self,
        at: DateTime<Utc>,
        by: Id<Person>,
        change: Id<TankChange>,
    ) -> Result<Check, NotAllowed> {
        self.can_still_be_done()?;
        if at > self.limit {
            return Err(NotAllowed::TooLate { limit: self.limit });
        }
        let (late, evidence) = (at > self.window_until, vec![Evidence::Change(change)]);
        Ok(self.becomes(CheckState::Done { at, by, with: None, evidence, late }))
    }

    /// Missed, found at this instant.
    /// # Errors
    /// [`NotAllowed`] when it is settled, or its limit has not passed.
    pub fn missed(self, at: DateTime<Utc>) -> Result<Check, NotAllowed> {
        self.is_not_settled()?;
        if at <= self.limit {
            return Err(NotAllowed::StillTime { limit: self.limit });
        }
        Ok(self.becomes(CheckState::Missed { at }))
    }

    /// Excused by this person, or by nobody when its tank is out of use; before it is due as well as after.
    /// # Errors
    /// [`NotAllowed`] when it is settled, or without a reason.
    pub fn excused(
        self,
        at: DateTime<Utc>,
        by: Option<Id<Person>>,
        reason: String,
    ) -> Result<Check, NotAllowed> {
        self.is_not_settled()?;
        if reason.trim().is_empty() {
            return Err(NotAllowed::NoReason);
        }
        Ok(self.becomes(CheckState::Excused { at, by, reason }))
    }

    fn becomes(self, state: CheckState) -> Check {
        Check { state, ..self }
    }

    fn is_not_settled(&self) -> Result<(), NotAllowed> {
        if self.is_settled() {
            return Err(NotAllowed::AlreadySettled { state: self.state.standing().code() });
        }
        Ok(())
    }

    /// What was found missed may have been done in time, and is typed in now.
    fn can_still_be_done(&self) -> Result<(), NotAllowed> {
        if matches!(self.state, CheckState::Missed { .. }) { Ok(()) } else { self.is_not_settled() }
    }

    fn is_time(&self, at: DateTime<Utc>) -> Result<(), NotAllowed> {
        if at < self.due_at - TimeDelta::minutes(EARLY_MIN) {
            return Err(NotAllowed::TooEarly { due_at: self.due_at });
        }
        if at > self.limit {
            return Err(NotAllowed::TooLate { limit: self.limit });
        }
        Ok(())
    }
}

/// Why a check does not change so.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAllowed {
    /// Something became of it already.
    #[error("the check is {state} already")]
    AlreadySettled {
        /// What became of it.
        state: &'static str,
    },
    /// Its window is not open yet, nor will it be in some minutes.
    #[error("the check is not due before {due_at}")]
    TooEarly {
        /// When its window opens.
        due_at: DateTime<Utc>,
    },
    /// Its limit has passed.
    #[error("the check could be done until {limit}, it is missed")]
    TooLate {
        /// Its limit.
        limit: DateTime<Utc>,
    },
    /// It can still be done.
    #[error("the check can be done until {limit}")]
    StillTime {
        /// Its limit.
        limit: DateTime<Utc>,
    },
    /// Two people are wanted.
    #[error("the check wants two people")]
    OnePersonShort,
    /// Nothing shows that it was done.
    #[error("a check that is done needs evidence")]
    NoEvidence,
    /// Excused for nothing.
    #[error("an excuse needs a reason")]
    NoReason,
}

impl NotAllowed {
    /// As people are told, by the clock of the site's zone.
    pub fn told(&self, zone: Tz) -> String {
        let clock = |at: DateTime<Utc>| clock_and_day(zone, at);
        match self {
            NotAllowed::TooEarly { due_at } => {
                let due = clock(*due_at);
                format!("the check is not due before {due}, and can be begun {EARLY_MIN} minutes ahead")
            }
            NotAllowed::TooLate { limit } => {
                format!("the check could be done until {}, it is missed", clock(*limit))
            }
            NotAllowed::StillTime { limit } => format!("the check can be done until {}", clock(*limit)),
            NotAllowed::AlreadySettled { .. }
            | NotAllowed::OnePersonShort
            | NotAllowed::NoEvidence
            | NotAllowed::NoReason => self.to_string(),
        }
    }
}

#[cfg(test)]
mod tests;
