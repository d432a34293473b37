//! Qualifications, shifts, absences.

use chrono::{NaiveDate, NaiveTime};
use fillmark_domain::work as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Body, Code, Instant, Patch, Stored};

/// A qualification as kept.
pub type Qualification = Stored<NewQualification>;
/// A change of a qualification.
pub type QualificationPatch = Patch<NewQualification>;
/// A held qualification as kept.
pub type HeldQualification = Stored<NewHeldQualification>;
/// A change of a held qualification.
pub type HeldQualificationPatch = Patch<NewHeldQualification>;
/// A shift as kept.
pub type Shift = Stored<NewShift>;
/// A change of a shift.
pub type ShiftPatch = Patch<NewShift>;
/// An absence as kept.
pub type Absence = Stored<NewAbsence>;
/// A change of an absence.
pub type AbsencePatch = Patch<NewAbsence>;
/// Why a person is away, by its code.
pub type AbsenceReason = Code<words::AbsenceReason>;

/// Something a person must have learnt for some checks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Handling concentrated acid"}))]
pub struct NewQualification {
    /// Unique in the business.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
}

impl Body for NewQualification {
    type Word = words::Qualification;

    fn word(&self) -> Result<words::Qualification, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        faults.or(Some(words::Qualification { name: self.name.trim().to_owned() }))
    }

    fn of(word: &words::Qualification) -> Self {
        Self { name: word.name.clone() }
    }
}

/// That a person holds a qualification, and how long it is good.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"person_id": "019a0000-0000-7000-8000-000000000001",
    "qualification_id": "019a0000-0000-7000-8000-000000000002", "from_on": "2026-01-01", "until_on": "2027-12-31"}))]
pub struct NewHeldQualification {
    /// Who.
    pub person_id: Uuid,
    /// Which.
    pub qualification_id: Uuid,
    /// The first day it is good.
    pub from_on: NaiveDate,
    /// The last day it is good; null when it does not end.
    #[serde(default)]
    pub until_on: Option<NaiveDate>,
}

impl Body for NewHeldQualification {
    type Word = words::Held;

    fn word(&self) -> Result<words::Held, Faults> {
        Ok(words::Held {
            person: Id::new(self.person_id),
            qualification: Id::new(self.qualification_id),
            from: self.from_on,
            until: self.until_on,
        })
    }

    fn of(word: &words::Held) -> Self {
        Self {
            person_id: word.person.uuid(),
            qualification_id: word.qualification.uuid(),
            from_on: word.from,
            until_on: word.until,
        }
    }
}

/// Hours a person works at the site on a day, by the site's clock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"person_id": "019a0000-0000-7000-8000-000000000001", "day_on": "2026-11-24",
    "starts_local": "07:00:00", "ends_local": "15:30:00", "break_starts_local": "12:00:00", "break_min": 30}))]
pub struct NewShift {
    /// Who.
    pub person_id: Uuid,
    /// The day it starts; one across midnight belongs to it.
    pub day_on: NaiveDate,
    /// When it starts.
    #[schema(value_type = String, max_length = 8, pattern = "^[0-2][0-9]:[0-5][0-9](:[0-5][0-9])?$")]
    pub starts_local: NaiveTime,
    /// When it ends: on the next day when that is no later than it starts.
    #[schema(value_type = String, max_length = 8, pattern = "^[0-2][0-9]:[0-5][0-9](:[0-5][0-9])?$")]
    pub ends_local: NaiveTime,
    /// When its break starts; null where none is known. On the next day when that is earlier than the shift starts.
    #[serde(default)]
    #[schema(value_type = Option<String>, max_length = 8, pattern = "^[0-2][0-9]:[0-5][0-9](:[0-5][0-9])?$")]
    pub break_starts_local: Option<NaiveTime>,
    /// Minutes its break lasts, within the shift; given with when it starts.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 480)]
    pub break_min: Option<u32>,
}

impl Body for NewShift {
    type Word = words::Shift;

    fn word(&self) -> Result<words::Shift, Faults> {
        let mut faults = Faults::default();
        let rest = self.break_starts_local.zip(self.break_min);
        let both = self.break_starts_local.is_some() == self.break_min.is_some();
        faults.unless(both, "/break_min", "incomplete", "expected when the break starts and its minutes");
        if let Some((_, minutes)) = rest {
            faults.range("/break_min", minutes.into(), 1.0, 480.0);
        }
        faults.or(Some(words::Shift {
            person: Id::new(self.person_id),
            day: self.day_on,
            starts: self.starts_local,
            ends: self.ends_local,
            rest: rest.map(|(starts, minutes)| words::Break { starts, minutes }),
        }))
    }

    fn of(word: &words::Shift) -> Self {
        Self {
            person_id: word.person.uuid(),
            day_on: word.day,
            starts_local: word.starts,
            ends_local: word.ends,
            break_starts_local: word.rest.map(|rest| rest.starts),
            break_min: word.rest.map(|rest| rest.minutes),
        }
    }
}

/// Time in which a person is away, whatever their shifts say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"person_id": "019a0000-0000-7000-8000-000000000001", "from_at": "2026-11-24T00:00:00.000Z",
    "until_at": "2026-11-27T00:00:00.000Z", "reason": "leave"}))]
pub struct NewAbsence {
    /// Who.
    pub person_id: Uuid,
    /// From when.
    pub from_at: Instant,
    /// Until when, exclusive.
    pub until_at: Instant,
    /// Why; nobody has to say.
    pub reason: AbsenceReason,
}

impl Body for NewAbsence {
    type Word = words::Absence;

    fn word(&self) -> Result<words::Absence, Faults> {
        let mut faults = Faults::default();
        // Not repeated: instants come in any offset, and who sent them knows them in theirs.
        let span = words::Span::new(self.from_at.0, self.until_at.0);
        let span = span.map_err(|_| "expected an instant after from_at");
        let span = faults.take("/until_at", "out_of_order", span);
        let reason = self.reason.0;
        faults.or(span.map(|span| words::Absence { person: Id::new(self.person_id), span, reason }))
    }

    fn of(word: &words::Absence) -> Self {
        Self {
            person_id: word.person.uuid(),
            from_at: word.span.from.into(),
            until_at: word.span.until.into(),
            reason: Code(word.reason),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_absence_that_ends_before_it_begins_is_refused_without_times_in_another_offset() {
        let absence: NewAbsence = serde_json::from_value(serde_json::json!({
            "person_id": Uuid::nil(), "from_at": "2026-11-24T10:00:00+02:00", "until_at": "2026-11-24T09:30:00+02:00",
            "reason": "leave",
        }))
        .unwrap();
        let mut expected = Faults::default();
        expected.add("/until_at", "out_of_order", "expected an instant after from_at");
        assert_eq!(absence.word(), Err(expected));
    }
}
