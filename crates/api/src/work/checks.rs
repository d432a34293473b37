//! Checks, and what becomes of them.

use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use chrono_tz::Tz;
use fillmark_domain::work as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::plans::{TaskKind, measured, place_ids};
use crate::{Code, Instant, Metric, SamplePoint};

/// Where a check stands, by its code.
pub type CheckStanding = Code<words::CheckStanding>;

/// One occurrence of a plan or of the feeding programme, and what became of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "019a0000-0000-7000-8000-000000000000", "cause": "plan",
    "plan_id": "019a0000-0000-7000-8000-000000000001", "due_on": "2026-11-24", "due_time_local": "08:00:00",
    "due_at": "2026-11-24T07:00:00.000Z", "due_local": "2026-11-24T08:00:00", "time_zone": "Europe/Berlin",
    "window_until_at": "2026-11-24T09:00:00.000Z", "limit_at": "2026-11-24T15:00:00.000Z", "name": "EC and pH, north tank",
    "task": "measure", "metrics": ["ec", "ph"], "sample_point": "tank", "meter_id": null, "tank_id": "019a0000-0000-7000-8000-000000000002",
    "room_id": null, "work_min": 10, "qualification_id": null, "two_people": false, "weight": 1, "is_unpleasant": false, "state": "planned", "state_at": null,
    "state_by": null, "done_with": null, "late": null, "reading_ids": [], "calibration_ids": [],
    "tank_change_id": null, "note": null, "client_id": null, "entered_by": null, "received_at": null}))]
pub struct Check {
    /// Its id.
    pub id: Uuid,
    /// What made it: `plan`, `programme` (a tank change that is due) or `advice` (what was poured on it is measured again).
    #[schema(max_length = 20)]
    pub cause: String,
    /// The plan that made it.
    pub plan_id: Option<Uuid>,
    /// The local date its plan names.
    pub due_on: NaiveDate,
    /// The local time its plan names; where the clock leaves it out, the check is due at the first instant after.
    #[schema(value_type = String, max_length = 8)]
    pub due_time_local: NaiveTime,
    /// When its window opens.
    pub due_at: Instant,
    /// The same on the clock of the site.
    #[schema(value_type = String, max_length = 19)]
    pub due_local: NaiveDateTime,
    /// The site's time zone.
    #[schema(max_length = 60)]
    pub time_zone: String,
    /// When its window closes: done later is late.
    pub window_until_at: Instant,
    /// After this it is missed for good.
    pub limit_at: Instant,
    /// Its name on the round.
    #[schema(max_length = 120)]
    pub name: String,
    /// What is done.
    pub task: TaskKind,
    /// What is measured.
    #[schema(max_items = 12)]
    pub metrics: Vec<Metric>,
    /// Where the sample is taken.
    pub sample_point: Option<SamplePoint>,
    /// The meter that is calibrated.
    pub meter_id: Option<Uuid>,
    /// The tank it is done at.
    pub tank_id: Option<Uuid>,
    /// The room it is done in.
    pub room_id: Option<Uuid>,
    /// Minutes of work.
    #[schema(minimum = 1, maximum = 10080)]
    pub work_min: u32,
    /// What a person must be qualified in to do it.
    pub qualification_id: Option<Uuid>,
    /// Whether two people must do it together.
    pub two_people: bool,
    /// How much it matters that it is done.
    #[schema(minimum = 1, maximum = 9)]
    pub weight: u32,
    /// Whether nobody likes to do it.
    pub is_unpleasant: bool,
    /// Planned, open, done, missed or excused.
    pub state: CheckStanding,
    /// When it was opened, done, found missed, or excused.
    pub state_at: Option<Instant>,
    /// Who opened, did or excused it.
    pub state_by: Option<Uuid>,
    /// Who did it too.
    pub done_with: Option<Uuid>,
    /// Whether it was done after its window; null while it is not done.
    pub late: Option<bool>,
    /// The readings that show that it was done.
    #[schema(max_items = 100)]
    pub reading_ids: Vec<Uuid>,
    /// The calibrations that show that it was done.
    #[schema(max_items = 100)]
    pub calibration_ids: Vec<Uuid>,
    /// The tank change that settled it, where that was what was due.
    pub tank_change_id: Option<Uuid>,
    /// What was seen, or why it was excused.
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// The client's id of the entry that settled it.
    pub client_id: Option<Uuid>,
    /// Who typed it in.
    pub entered_by: Option<Uuid>,
    /// When the server got it.
    pub received_at: Option<Instant>,
}

/// How something done was typed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TypedIn {
    /// The client's id of the entry.
    pub client_id: Uuid,
    /// Who typed it.
    pub by: Option<Uuid>,
    /// When the server got it.
    pub received_at: Instant,
}

impl Check {
    /// The body of a check on the clock of a zone.
    pub fn of(id: Uuid, check: &words::Check, typed: Option<TypedIn>, zone: Tz) -> Self {
        let (metrics, sample_point) = measured(&check.task);
        let (tank_id, room_id) = place_ids(check.place);
        let facts = Facts::of(&check.state);
        Self {
            id,
            cause: check.cause.code().to_owned(),
            plan_id: check.cause.plan().map(Id::uuid),
            due_on: check.date,
            due_time_local: check.time,
            due_at: check.due_at.into(),
            due_local: check.due_at.with_timezone(&zone).naive_local(),
            time_zone: zone.name().to_owned(),
            window_until_at: check.window_until.into(),
            limit_at: check.limit.into(),
            name: check.name.clone(),
            task: Code(check.task.kind()),
            metrics,
            sample_point,
            meter_id: check.task.calibrates().map(Id::uuid),
            tank_id,
            room_id,
            work_min: check.work_min,
            qualification_id: check.qualification.map(Id::uuid),
            two_people: check.two_people,
            weight: check.sharing.weight,
            is_unpleasant: check.sharing.is_unpleasant,
            state: Code(check.state.standing()),
            state_at: facts.at,
            state_by: facts.by,
            done_with: facts.with,
            late: facts.late,
            reading_ids: facts.readings,
            calibration_ids: facts.calibrations,
            tank_change_id: facts.change,
            note: facts.note,
            client_id: typed.map(|typed| typed.client_id),
            entered_by: typed.and_then(|typed| typed.by),
            received_at: typed.map(|typed| typed.received_at),
        }
    }
}

/// The facts of a state, side by side.
#[derive(Default)]
struct Facts {
    at: Option<Instant>,
    by: Option<Uuid>,
    with: Option<Uuid>,
    late: Option<bool>,
    readings: Vec<Uuid>,
    calibrations: Vec<Uuid>,
    change: Option<Uuid>,
    note: Option<String>,
}

impl Facts {
    fn of(state: &words::CheckState) -> Facts {
        let mut facts = Facts::default();
        match state {
            words::CheckState::Planned => {}
            words::CheckState::Open { at, by } => {
                (facts.at, facts.by) = (Some((*at).into()), Some(by.uuid()));
            }
            words::CheckState::Missed { at } => facts.at = Some((*at).into()),
            words::CheckState::Excused { at, by, reason } => {
                (facts.at, facts.by) = (Some((*at).into()), by.map(Id::uuid));
                facts.note = Some(reason.clone());
            }
            words::CheckState::Done { at, by, with, evidence, late } => {
                (facts.at, facts.by) = (Some((*at).into()), Some(by.uuid()));
                (facts.with, facts.late) = (with.map(Id::uuid), Some(*late));
                evidence.iter().for_each(|one| facts.show(one));
            }
        }
        facts
    }

    fn show(&mut self, evidence: &words::Evidence) {
        match evidence {
            words::Evidence::Reading(id) => self.readings.push(id.uuid()),
            words::Evidence::Calibration(id) => self.calibrations.push(id.uuid()),
            words::Evidence::Change(id) => self.change = Some(id.uuid()),
            words::Evidence::Note(text) => self.note = Some(text.clone()),
        }
    }
}

/// That a check was done. What counts is when it was done, not when it is typed in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "7f0c2f7e-6a0f-4a57-9a0b-2f3f1f4f9b11", "done_at": "2026-11-24T07:20:00.000Z",
    "done_by": null, "done_with": null, "reading_ids": ["019a0000-0000-7000-8000-000000000003"], "calibration_ids": [],
    "note": null}))]
pub struct NewCompletion {
    /// Made by the client: the same one twice has one effect.
    pub client_id: Uuid,
    /// When it was done.
    pub done_at: Instant,
    /// Who did it, when not the one who enters it.
    #[serde(default)]
    pub done_by: Option<Uuid>,
    /// Who did it too, where the check wants two.
    #[serde(default)]
    pub done_with: Option<Uuid>,
    /// The readings that show it, taken for it: from an hour before it was due until it was done.
    #[serde(default)]
    #[schema(max_items = 100)]
    pub reading_ids: Vec<Uuid>,
    /// The calibrations that show it, made for it.
    #[serde(default)]
    #[schema(max_items = 100)]
    pub calibration_ids: Vec<Uuid>,
    /// What was seen or done; evidence where nothing is measured, and why something could not be.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// It was asked back, since somebody did it who is not qualified for it, and is so all the same.
    #[serde(default)]
    pub confirmed: bool,
}

impl NewCompletion {
    /// What shows that it was done.
    /// # Errors
    /// What is wrong with it.
    pub fn evidence(&self) -> Result<Vec<words::Evidence>, Faults> {
        let mut faults = Faults::default();
        let few = "expected at most 100";
        faults.unless(self.reading_ids.len() <= 100, "/reading_ids", "too_many", few);
        faults.unless(self.calibration_ids.len() <= 100, "/calibration_ids", "too_many", few);
        if let Some(note) = &self.note {
            // A note may have several lines; apart from those it is like any text.
            faults.text("/note", &note.replace(['\n', '\r', '\t'], " "), 2000);
        }
        let readings = self.reading_ids.iter().map(|id| words::Evidence::Reading(Id::new(*id)));
        let calibrations = self.calibration_ids.iter().map(|id| words::Evidence::Calibration(Id::new(*id)));
        let note = self.note.iter().map(|note| words::Evidence::Note(note.trim().to_owned()));
        faults.or(Some(readings.chain(calibrations).chain(note).collect()))
    }
}

/// Why a check need not be done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "the room is being fumigated"}))]
pub struct NewExcusal {
    /// Why.
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

impl NewExcusal {
    /// The reason.
    /// # Errors
    /// What is wrong with it.
    pub fn reason(&self) -> Result<String, Faults> {
        let mut faults = Faults::default();
        faults.text("/reason", &self.reason, 500);
        faults.or(Some(self.reason.trim().to_owned()))
    }
}
