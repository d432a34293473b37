//! Checks that go from one person to another, and what people leave for the next to know.

use chrono::NaiveDate;
use fillmark_domain::work as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Code, Instant};

/// Where an offer stands, by its code.
pub type OfferStanding = Code<words::OfferStanding>;

/// Nobody hands over more checks at once.
const MOST_CHECKS: usize = 200;

/// Checks that shall go to somebody else now: named one by one, or all that is still to do in a room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"day_on": "2026-11-24", "check_ids": ["019a0000-0000-7000-8000-000000000001"], "room_id": null,
    "from_person_id": null, "to_person_id": "019a0000-0000-7000-8000-000000000002"}))]
pub struct NewReassignment {
    /// The local day of the rounds.
    pub day_on: NaiveDate,
    /// Which checks.
    #[serde(default)]
    #[schema(max_items = 200)]
    pub check_ids: Vec<Uuid>,
    /// Or all that is still to do in this room and at the tanks that feed it.
    #[serde(default)]
    pub room_id: Option<Uuid>,
    /// Who has them; whoever has them where it is left out.
    #[serde(default)]
    pub from_person_id: Option<Uuid>,
    /// Who shall have them.
    pub to_person_id: Uuid,
}

/// Checks that somebody offers to a colleague.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"day_on": "2026-11-24", "check_ids": ["019a0000-0000-7000-8000-000000000001"], "room_id": null,
    "return_check_ids": [], "from_person_id": null, "to_person_id": null, "note": "I have to leave at noon"}))]
pub struct NewCheckOffer {
    /// The local day of the rounds.
    pub day_on: NaiveDate,
    /// Which checks.
    #[serde(default)]
    #[schema(max_items = 200)]
    pub check_ids: Vec<Uuid>,
    /// Or all that one has still to do in this room and at the tanks that feed it.
    #[serde(default)]
    pub room_id: Option<Uuid>,
    /// What is wanted in return: a swap.
    #[serde(default)]
    #[schema(max_items = 200)]
    pub return_check_ids: Vec<Uuid>,
    /// Who has them, where a manager offers them for somebody; left out, the one who offers.
    #[serde(default)]
    pub from_person_id: Option<Uuid>,
    /// To whom; left out, to whoever wants them.
    #[serde(default)]
    pub to_person_id: Option<Uuid>,
    /// Why, or what to know about it.
    #[serde(default)]
    #[schema(max_length = 500)]
    pub note: Option<String>,
}

/// Which checks a body means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PickedChecks {
    /// These.
    Checks(Vec<Uuid>),
    /// Those of a room.
    Room(Uuid),
}

fn picked(checks: &[Uuid], room: Option<Uuid>, faults: &mut Faults) -> Option<PickedChecks> {
    let few = checks.len() <= MOST_CHECKS;
    faults.unless(few, "/check_ids", "too_many", "expected at most 200");
    let picked = match (checks, room) {
        ([], Some(room)) => Ok(PickedChecks::Room(room)),
        ([_, ..], None) => Ok(PickedChecks::Checks(checks.to_vec())),
        _ => Err("expected either checks or a room"),
    };
    faults.take("/check_ids", "checks_or_room", picked)
}

impl NewReassignment {
    /// Which checks it means.
    /// # Errors
    /// What is wrong with it.
    pub fn picked(&self) -> Result<PickedChecks, Faults> {
        let mut faults = Faults::default();
        let picked = picked(&self.check_ids, self.room_id, &mut faults);
        faults.or(picked)
    }
}

impl NewCheckOffer {
    /// Which checks it means, and its note.
    /// # Errors
    /// What is wrong with it.
    pub fn picked(&self) -> Result<(PickedChecks, Option<String>), Faults> {
        let mut faults = Faults::default();
        let picked = picked(&self.check_ids, self.room_id, &mut faults);
        let few = self.return_check_ids.len() <= MOST_CHECKS;
        faults.unless(few, "/return_check_ids", "too_many", "expected at most 200");
        let swap = self.return_check_ids.is_empty() || self.to_person_id.is_some();
        faults.unless(swap, "/to_person_id", "missing", "expected who gives something in return");
        if let Some(note) = &self.note {
            faults.text("/note", note, 500);
        }
        let note = self.note.as_ref().map(|note| note.trim().to_owned());
        faults.or(picked.map(|picked| (picked, note)))
    }
}

/// An offer as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "019a0000-0000-7000-8000-000000000000", "day_on": "2026-11-24",
    "check_ids": ["019a0000-0000-7000-8000-000000000001"], "return_check_ids": [],
    "from_person_id": "019a0000-0000-7000-8000-000000000002", "to_person_id": null, "note": "I have to leave at noon",
    "offered_at": "2026-11-24T07:00:00.000Z", "state": "open", "settled_by": null, "settled_at": null}))]
pub struct CheckOffer {
    /// Its id.
    pub id: Uuid,
    /// The local day of the rounds.
    pub day_on: NaiveDate,
    /// What is offered.
    #[schema(max_items = 1000)]
    pub check_ids: Vec<Uuid>,
    /// What is wanted in return.
    #[schema(max_items = 200)]
    pub return_check_ids: Vec<Uuid>,
    /// Who has them.
    pub from_person_id: Uuid,
    /// To whom; null for whoever wants them.
    pub to_person_id: Option<Uuid>,
    /// Why, or what to know about it.
    #[schema(max_length = 500)]
    pub note: Option<String>,
    /// When it was offered.
    pub offered_at: Instant,
    /// Open, accepted, declined, withdrawn, or lapsed when a check of it has gone another way or its day is over.
    pub state: OfferStanding,
    /// Who settled it; null where it lapsed.
    pub settled_by: Option<Uuid>,
    /// When.
    pub settled_at: Option<Instant>,
}

impl CheckOffer {
    /// The body of an offer.
    pub fn of(id: Uuid, offer: &words::CheckOffer) -> Self {
        let ids = |checks: &[Id<words::Check>]| checks.iter().map(|check| check.uuid()).collect();
        let settled = match offer.state {
            words::OfferState::Open => None,
            words::OfferState::Lapsed { at } => Some((None, at.into())),
            words::OfferState::Settled { by, at, .. } => Some((Some(by.uuid()), at.into())),
        };
        Self {
            id,
            day_on: offer.day,
            check_ids: ids(&offer.checks),
            return_check_ids: ids(&offer.returns),
            from_person_id: offer.from.uuid(),
            to_person_id: offer.to.map(Id::uuid),
            note: offer.note.clone(),
            offered_at: offer.offered_at.into(),
            state: Code(offer.state.standing()),
            settled_by: settled.and_then(|(by, _)| by),
            settled_at: settled.map(|(_, at)| at),
        }
    }
}

/// What the next person needs to know, about a check or a room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"check_id": null, "room_id": "019a0000-0000-7000-8000-000000000001",
    "text": "The pump of tank 2 hums; look at it before noon"}))]
pub struct NewHandoverNote {
    /// The check it is about, or null.
    #[serde(default)]
    pub check_id: Option<Uuid>,
    /// The room it is about, or null. One of check and room is given.
    #[serde(default)]
    pub room_id: Option<Uuid>,
    /// What there is to know.
    #[schema(min_length = 1, max_length = 2000)]
    pub text: String,
}

impl NewHandoverNote {
    /// What it is about, and its text.
    /// # Errors
    /// What is wrong with it.
    pub fn word(&self) -> Result<(words::NoteAbout, String), Faults> {
        let mut faults = Faults::default();
        let about = match (self.check_id, self.room_id) {
            (Some(check), None) => Ok(words::NoteAbout::Check(Id::new(check))),
            (None, Some(room)) => Ok(words::NoteAbout::Room(Id::new(room))),
            _ => Err("expected either a check or a room"),
        };
        let about = faults.take("/check_id", "check_or_room", about);
        // A note may have several lines; apart from those it is like any text.
        faults.text("/text", &self.text.replace(['\n', '\r', '\t'], " "), 2000);
        faults.or(about.map(|about| (about, self.text.trim().to_owned())))
    }
}

/// A note as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "019a0000-0000-7000-8000-000000000000", "check_id": null,
    "room_id": "019a0000-0000-7000-8000-000000000001", "text": "The pump of tank 2 hums; look at it before noon",
    "written_by": "019a0000-0000-7000-8000-000000000002", "written_at": "2026-11-24T14:00:00.000Z",
    "seen_by": null, "seen_at": null}))]
pub struct HandoverNote {
    /// Its id.
    pub id: Uuid,
    /// The check it is about.
    pub check_id: Option<Uuid>,
    /// The room it is about.
    pub room_id: Option<Uuid>,
    /// What there is to know.
    #[schema(max_length = 2000)]
    pub text: String,
    /// Who wrote it.
    pub written_by: Uuid,
    /// When.
    pub written_at: Instant,
    /// Who has seen it first; null while nobody has.
    pub seen_by: Option<Uuid>,
    /// When.
    pub seen_at: Option<Instant>,
}

impl HandoverNote {
    /// The body of a note.
    pub fn of(id: Uuid, note: &words::HandoverNote) -> Self {
        let (check_id, room_id) = match note.about {
            words::NoteAbout::Check(check) => (Some(check.uuid()), None),
            words::NoteAbout::Room(room) => (None, Some(room.uuid())),
        };
        Self {
            id,
            check_id,
            room_id,
            text: note.text.clone(),
            written_by: note.written_by.uuid(),
            written_at: note.written_at.into(),
            seen_by: note.seen.map(|(by, _)| by.uuid()),
            seen_at: note.seen.map(|(_, at)| at.into()),
        }
    }
}
