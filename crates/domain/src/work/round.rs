//! Rounds: one person's ordered checks of a day, as published.

use std::collections::HashSet;

use chrono::{DateTime, NaiveDate, Utc};

use crate::Id;
use crate::code::coded;
use crate::people::Person;
use crate::places::Site;
use crate::work::{Check, Move, MoveReason, Undone};

/// One person's checks of a day in the order they are walked, as it was published. A later plan of the same
/// day is a new round: what somebody has on paper does not change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Round {
    /// Where.
    pub site: Id<Site>,
    /// Who walks it.
    pub person: Id<Person>,
    /// The local day.
    pub date: NaiveDate,
    /// When it was published.
    pub published_at: DateTime<Utc>,
    /// Its checks in order.
    pub steps: Vec<RoundStep>,
    /// Minutes of work.
    pub minutes: i64,
    /// Minutes that would have been fair, given the four weeks before.
    pub fair_minutes: i64,
}

/// One check of a round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RoundStep {
    /// Which check.
    pub check: Id<Check>,
    /// When it is planned to begin.
    pub starts_at: DateTime<Utc>,
    /// Who does it too, where it wants two.
    pub with: Option<Id<Person>>,
    /// Why it came to this person, where somebody else had it before.
    pub moved: Option<MoveReason>,
}

/// A check that nobody does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Left {
    /// Which.
    pub check: Id<Check>,
    /// Why, at least one.
    pub reasons: Vec<LeftReason>,
}

coded! {
    /// Why nobody does a check. Where it wants two people, "nobody" is fewer than two.
    LeftReason {
        /// Nobody's shift leaves time for it in its window.
        NobodyOnShift = "nobody_on_shift",
        /// Who would be on shift is away.
        AllAbsent = "all_absent",
        /// Who is not away has their break then.
        OnBreak = "on_break",
        /// Who is there is not qualified, or not any more.
        NobodyQualified = "nobody_qualified",
        /// Who could has other checks then, or the window is shorter than the work.
        NoTimeInWindow = "no_time_in_window",
        /// Who has the time would have to go from a dirty room to a clean one.
        WouldBreakHygiene = "would_break_hygiene",
    }
}

impl LeftReason {
    /// In words.
    pub fn text(self) -> &'static str {
        match self {
            LeftReason::NobodyOnShift => "no shift leaves time for it in its window",
            LeftReason::AllAbsent => "who would be on shift is away",
            LeftReason::OnBreak => "who would be on shift has their break then",
            LeftReason::NobodyQualified => "nobody who is there is qualified for it",
            LeftReason::NoTimeInWindow => "who could do it has other checks then",
            LeftReason::WouldBreakHygiene => {
                "who has the time would have to go from a dirty room to a clean one"
            }
        }
    }
}

/// The rounds of a day as they were published together, and what nobody does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Publication {
    /// The local day.
    pub date: NaiveDate,
    /// 1 for the first of the day; the highest is in force.
    pub number: i64,
    /// When.
    pub published_at: DateTime<Utc>,
    /// Who published it; nobody for a job.
    pub published_by: Option<Id<Person>>,
    /// What nobody does.
    pub left: Vec<Undone>,
    /// What went to other people than in the publication before.
    pub moves: Vec<Move>,
}

impl Round {
    /// This round, when it can be walked.
    /// # Errors
    /// [`NotARound`] when a check comes twice or a step begins before the one above it.
    pub fn checked(self) -> Result<Round, NotARound> {
        let mut seen = HashSet::new();
        if let Some(step) = self.steps.iter().find(|step| !seen.insert(step.check)) {
            return Err(NotARound::Twice { check: step.check });
        }
        let backwards = self.steps.windows(2).find(|pair| pair[1].starts_at < pair[0].starts_at);
        match backwards {
            Some(pair) => Err(NotARound::Backwards { check: pair[1].check }),
            None => Ok(self),
        }
    }
}

/// Why a list of checks is no round.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotARound {
    /// A check that stands in it twice.
    #[error("check {check} stands in the round twice")]
    Twice {
        /// Which.
        check: Id<Check>,
    },
    /// A check that begins before the one above it.
    #[error("check {check} begins before the one above it")]
    Backwards {
        /// Which.
        check: Id<Check>,
    },
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    #[track_caller]
    fn check(steps: &[(u128, &str)], refused: Option<NotARound>) {
        let step = |(check, time): &(u128, &str)| RoundStep {
            check: Id::new(Uuid::from_u128(*check)),
            starts_at: format!("2027-05-03T{time}:00Z").parse().unwrap(),
            with: None,
            moved: None,
        };
        let round = Round {
            site: Id::new(Uuid::from_u128(1)),
            person: Id::new(Uuid::from_u128(2)),
            date: "2027-05-03".parse().unwrap(),
            published_at: "2027-05-02T18:00:00Z".parse().unwrap(),
            steps: steps.iter().map(step).collect(),
            minutes: 30,
            fair_minutes: 30,
        };
        assert_eq!(round.checked().err(), refused);
    }

    #[test]
    fn a_round_goes_forward_and_has_each_check_once() {
        check(&[(1, "08:00"), (2, "08:10"), (3, "08:10")], None);
        check(&[(1, "08:00"), (1, "08:10")], Some(NotARound::Twice { check: Id::new(Uuid::from_u128(1)) }));
        check(
            &[(1, "08:10"), (2, "08:00")],
            Some(NotARound::Backwards { check: Id::new(Uuid::from_u128(2)) }),
        );
    }
}
