//! Reviews of days.

use chrono::NaiveDate;
use fillmark_advice::review as answers;
use fillmark_domain::work as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::Instant;

/// Signs for the records of a day as they are now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000009", "day_on": "2026-11-24", "room_id": null,
    "note": "EC of the north tank high in the morning, diluted by noon"}))]
pub struct NewReview {
    /// Made by the client: the same one twice has one effect.
    pub client_id: Uuid,
    /// The local day.
    pub day_on: NaiveDate,
    /// The room; null for the whole site.
    #[serde(default)]
    pub room_id: Option<Uuid>,
    /// What the reviewer has to say.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

impl NewReview {
    /// What is wrong with it by itself.
    pub fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        if let Some(note) = &self.note {
            faults.text("/note", note, 2000);
        }
        faults
    }
}

/// A review as kept; it never changes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "019a0000-0000-7000-8000-000000000000", "day_on": "2026-11-24", "room_id": null,
    "note": null, "reviewed_by": "019a0000-0000-7000-8000-000000000001", "reviewed_at": "2026-11-24T17:00:00.000Z",
    "journal_id": "019a0000-0000-7000-8000-000000000002"}))]
pub struct Review {
    /// Its id.
    pub id: Uuid,
    /// The local day.
    pub day_on: NaiveDate,
    /// The room; null for the whole site.
    pub room_id: Option<Uuid>,
    /// What the reviewer had to say.
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// Who signed.
    pub reviewed_by: Option<Uuid>,
    /// When.
    pub reviewed_at: Instant,
    /// The last entry of the site's journal then: what comes after it was not seen.
    pub journal_id: Option<Uuid>,
}

impl Review {
    /// A review.
    pub fn of(id: Id<words::Review>, review: &words::Review) -> Self {
        Self {
            id: id.uuid(),
            day_on: review.day,
            room_id: review.room.map(Id::uuid),
            note: review.note.clone(),
            reviewed_by: review.reviewed_by.map(Id::uuid),
            reviewed_at: review.reviewed_at.into(),
            journal_id: review.journal_id,
        }
    }
}

/// How a day stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DayStanding {
    /// Nothing was ever recorded of it.
    Empty,
    /// It has not been reviewed.
    Open,
    /// Something was entered, corrected or taken back after its review.
    Reopened,
    /// It has been reviewed, and nothing came after.
    Reviewed,
}

/// A day, its records and its last review.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"day_on": "2026-11-24", "standing": "reviewed", "record_count": 42,
    "last_entered_at": "2026-11-24T15:10:00.000Z", "reviewed_by": "019a0000-0000-7000-8000-000000000001",
    "reviewed_at": "2026-11-24T17:00:00.000Z", "note": null}))]
pub struct DayReview {
    /// The local day.
    pub day_on: NaiveDate,
    /// How it stands.
    pub standing: DayStanding,
    /// How many readings, additions, changes, harvests, calibrations and settled checks it has, without what was corrected,
    /// archived or taken back.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub record_count: u64,
    /// When the last came in, or was corrected, archived or taken back. A calibration also tells of the readings that were taken
    /// with its meter until the next.
    pub last_entered_at: Option<Instant>,
    /// Who reviewed it last.
    pub reviewed_by: Option<Uuid>,
    /// When.
    pub reviewed_at: Option<Instant>,
    /// What the reviewer had to say.
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

impl From<&answers::DayReviewed> for DayReview {
    fn from(day: &answers::DayReviewed) -> Self {
        let review = day.review.as_ref();
        Self {
            day_on: day.day,
            standing: match day.standing() {
                answers::DayStanding::Empty => DayStanding::Empty,
                answers::DayStanding::Open => DayStanding::Open,
                answers::DayStanding::Reopened => DayStanding::Reopened,
                answers::DayStanding::Reviewed => DayStanding::Reviewed,
            },
            record_count: day.records as u64,
            last_entered_at: day.last_at.map(Into::into),
            reviewed_by: review.and_then(|review| review.reviewed_by).map(Id::uuid),
            reviewed_at: review.map(|review| review.reviewed_at.into()),
            note: review.and_then(|review| review.note.clone()),
        }
    }
}
