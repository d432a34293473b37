//! Alerts.

use fillmark_domain::Id;
use fillmark_domain::work as words;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Code, Instant};

/// What an alert is about, by its code.
pub type AlertKind = Code<words::AlertKind>;
/// Where an alert stands, by its code.
pub type AlertStanding = Code<words::AlertStanding>;

/// Something that a person must see.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "019a0000-0000-7000-8000-000000000000", "kind": "check_missed",
    "about_id": "019a0000-0000-7000-8000-000000000001", "person_id": null, "text": "EC and pH (North 1) was not done by 2026-11-24 10:00",
    "raised_at": "2026-11-24T09:00:00.000Z", "state": "open", "seen_by": null, "seen_at": null,
    "closed_by_person": null, "closed_by_record": null, "closed_at": null}))]
pub struct Alert {
    /// Its id.
    pub id: Uuid,
    /// What it is about.
    pub kind: AlertKind,
    /// The record it is about, as the kind says.
    pub about_id: Uuid,
    /// Whom it is for; null for whoever manages.
    pub person_id: Option<Uuid>,
    /// What a person reads.
    #[schema(max_length = 2000)]
    pub text: String,
    /// When it was raised.
    pub raised_at: Instant,
    /// Open, seen or closed.
    pub state: AlertStanding,
    /// Who saw it first.
    pub seen_by: Option<Uuid>,
    /// When it was first seen.
    pub seen_at: Option<Instant>,
    /// The person who closed it, if one did.
    pub closed_by_person: Option<Uuid>,
    /// The record that closed it, if one did. Closed by neither: what it warned of is over.
    pub closed_by_record: Option<Uuid>,
    /// When it was closed.
    pub closed_at: Option<Instant>,
}

impl Alert {
    /// The body of an alert, with who had seen it before it was closed.
    pub fn of(id: Uuid, alert: words::Alert, seen: Option<(Uuid, Instant)>) -> Self {
        let closed = match alert.state {
            words::AlertState::Closed { by, at } => Some((by, at)),
            words::AlertState::Open | words::AlertState::Seen { .. } => None,
        };
        let (person, record) = match closed {
            Some((words::ClosedBy::Person(person), _)) => (Some(person.uuid()), None),
            Some((words::ClosedBy::Record(record), _)) => (None, Some(record)),
            Some((words::ClosedBy::Over, _)) | None => (None, None),
        };
        Self {
            id,
            kind: Code(alert.kind),
            about_id: alert.about,
            person_id: alert.whom.map(Id::uuid),
            text: alert.text,
            raised_at: alert.raised_at.into(),
            state: Code(alert.state.standing()),
            seen_by: seen.map(|(by, _)| by),
            seen_at: seen.map(|(_, at)| at),
            closed_by_person: person,
            closed_by_record: record,
            closed_at: closed.map(|(_, at)| at.into()),
        }
    }
}
