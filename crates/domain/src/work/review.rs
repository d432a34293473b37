//! Reviews: a supervisor has looked through the records of a day and signs for it (21 CFR 112.161(b) wants records
//! reviewed, dated and signed within a reasonable time after they are made).

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use crate::people::PersonId;
use crate::places::RoomId;

/// A review of a local day, of one room or of the whole site. It is never changed: what is entered or corrected later
/// leaves the day open again until another review.
#[derive(Debug, Clone, PartialEq)]
pub struct Review {
    /// Made by the client, so that signing twice has one effect.
    pub client_id: Uuid,
    /// The local day.
    pub day: NaiveDate,
    /// The room; nothing for the whole site.
    pub room: Option<RoomId>,
    /// What the reviewer has to say.
    pub note: Option<String>,
    /// Who signs.
    pub reviewed_by: Option<PersonId>,
    /// When.
    pub reviewed_at: DateTime<Utc>,
    /// The last entry of the site's journal then: what comes after it was not seen.
    pub journal_id: Option<Uuid>,
}

impl Review {
    /// Whether it speaks of a room; a review of the whole site speaks of each. None asks for the whole site.
    pub fn covers(&self, room: Option<RoomId>) -> bool {
        self.room.is_none() || self.room == room
    }
}
