//! Rounds as published.

use chrono::NaiveDate;
use fillmark_domain::Id;
use fillmark_domain::work as words;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::Check;
use crate::{Code, Instant};

/// Why nobody does a check, by its code.
pub type LeftReason = Code<words::LeftReason>;

/// A day to be shared out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"day_on": "2026-11-24"}))]
pub struct NewRounds {
    /// The local day: today or one of the next fourteen.
    pub day_on: NaiveDate,
}

/// The rounds of a day as they were published together, and what nobody can do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Rounds {
    /// The local day.
    pub day_on: NaiveDate,
    /// 1 for the first of the day; the highest is in force.
    #[schema(minimum = 1, maximum = 1000000)]
    pub number: i64,
    /// When they were published.
    pub published_at: Instant,
    /// Who published them; null for the server itself.
    pub published_by: Option<Uuid>,
    /// One a person who has something to do.
    #[schema(max_items = 10000)]
    pub rounds: Vec<Round>,
    /// What nobody can do, with the reasons.
    #[schema(max_items = 100000)]
    pub left: Vec<LeftCheck>,
}

/// One person's checks of a day in the order they are walked: from clean rooms to dirty ones, quarantine last.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Round {
    /// Its id.
    pub id: Uuid,
    /// Who walks it.
    pub person_id: Uuid,
    /// The local day.
    pub day_on: NaiveDate,
    /// Minutes of work.
    #[schema(minimum = 0, maximum = 100000)]
    pub minutes: i64,
    /// Minutes that would have been fair, given the four weeks before.
    #[schema(minimum = 0, maximum = 100000)]
    pub fair_minutes: i64,
    /// Its checks in order.
    #[schema(max_items = 10000)]
    pub steps: Vec<RoundStep>,
}

/// A check in a round.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RoundStep {
    /// Which check.
    pub check_id: Uuid,
    /// When it is planned to begin.
    pub starts_at: Instant,
    /// Who does it too, where it wants two.
    pub with_person_id: Option<Uuid>,
    /// The check as it stands now; null when its plan has withdrawn it.
    pub check: Option<Check>,
}

/// A check that nobody can do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeftCheck {
    /// Which check.
    pub check_id: Uuid,
    /// Why, at least one reason.
    #[schema(max_items = 10)]
    pub reasons: Vec<LeftReasonGiven>,
    /// The check as it stands now; null when its plan has withdrawn it.
    pub check: Option<Check>,
}

/// A reason with its words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeftReasonGiven {
    /// The reason.
    pub code: LeftReason,
    /// In words.
    #[schema(max_length = 300)]
    pub text: String,
}

impl Round {
    /// The body of a round; `check` finds the checks it names.
    pub fn of(id: Uuid, round: &words::Round, check: impl Fn(Id<words::Check>) -> Option<Check>) -> Self {
        let step = |step: &words::RoundStep| RoundStep {
            check_id: step.check.uuid(),
            starts_at: step.starts_at.into(),
            with_person_id: step.with.map(Id::uuid),
            check: check(step.check),
        };
        Self {
            id,
            person_id: round.person.uuid(),
            day_on: round.date,
            minutes: round.minutes,
            fair_minutes: round.fair_minutes,
            steps: round.steps.iter().map(step).collect(),
        }
    }
}

impl LeftCheck {
    /// The body of a check that nobody does.
    pub fn of(left: &words::Left, check: Option<Check>) -> Self {
        let reason = |reason: &words::LeftReason| LeftReasonGiven {
            code: Code(*reason),
            text: reason.text().to_owned(),
        };
        Self { check_id: left.check.uuid(), reasons: left.reasons.iter().map(reason).collect(), check }
    }
}
