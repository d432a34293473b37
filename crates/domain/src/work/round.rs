//! Rounds: one person's ordered checks of a day, as published.

use std::collections::HashSet;

use chrono::{DateTime, NaiveDate, Utc};

use crate::Id;
use crate::people::Person;
use crate::places::Site;
use crate::work::Check;

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
}

/// One check of a round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RoundStep {
    /// Which check.
    pub check: Id<Check>,
    /// When it is planned to begin.
    pub starts_at: DateTime<Utc>,
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
        };
        let round = Round {
            site: Id::new(Uuid::from_u128(1)),
            person: Id::new(Uuid::from_u128(2)),
            date: "2027-05-03".parse().unwrap(),
            published_at: "2027-05-02T18:00:00Z".parse().unwrap(),
            steps: steps.iter().map(step).collect(),
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
