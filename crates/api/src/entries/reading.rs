//! Readings.

use fillmark_domain::entries as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{Batch, SamplePoint};
use crate::{Code, Instant, Metric, Quantity};

/// Up to 500 readings.
pub type ReadingBatch = Batch<NewReading>;

/// How a conductivity meter brought its value to the reference temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Compensation {
    /// % per °C; null when the meter shows the conductivity at the solution's own temperature.
    #[schema(minimum = 0.0, maximum = 10.0)]
    pub percent_per_c: Option<f64>,
    /// Reference temperature, °C; null without compensation, 25 where a percentage stands alone.
    #[schema(minimum = 0.0, maximum = 40.0)]
    pub reference_c: Option<f64>,
}

/// A reading as somebody enters it: of a tank or of a room.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "tank_id": "019a0000-0000-7000-8000-000000000002",
    "sample_point": "tank", "metric": "ec", "value": {"value": 1250.0, "unit": "uS/cm"}, "recorded_at": "2026-11-24T06:30:00+01:00"}))]
pub struct NewReading {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// The tank, or null for a room.
    #[serde(default)]
    pub tank_id: Option<Uuid>,
    /// The room, or null for a tank.
    #[serde(default)]
    pub room_id: Option<Uuid>,
    /// Where the sample was taken.
    pub sample_point: SamplePoint,
    /// What was measured.
    pub metric: Metric,
    /// As the meter showed it.
    pub value: Quantity,
    /// The meter's temperature compensation, for EC, where known; taken to be to 25 °C where it is not. What was read at another
    /// reference is kept as at 25 °C beside what was shown; without compensation the solution's temperature is wanted, from
    /// within an hour or sent along.
    #[serde(default)]
    pub compensation: Option<Compensation>,
    /// The meter used, where kept.
    #[serde(default)]
    pub meter_id: Option<Uuid>,
    /// When it was taken, by the clock of whoever took it.
    pub recorded_at: Instant,
    /// When the client sent it, by the same clock: tells how far that clock is off.
    #[serde(default)]
    pub sent_at: Option<Instant>,
    /// Who took it, when not the one who enters it.
    #[serde(default)]
    pub done_by: Option<Uuid>,
    /// It was asked back as looking mis-keyed, and is right all the same.
    #[serde(default)]
    pub confirmed: bool,
}

/// A correction: the reading that stands in the place of another, and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReadingCorrection {
    /// The reading as it should have been.
    pub reading: NewReading,
    /// Why.
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

/// A reading as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Reading {
    /// Made by the server.
    pub id: Uuid,
    /// As it was sent.
    pub client_id: Uuid,
    /// The tank, or null for a room.
    pub tank_id: Option<Uuid>,
    /// The room, or null for a tank.
    pub room_id: Option<Uuid>,
    /// Where the sample was taken.
    pub sample_point: SamplePoint,
    /// What was measured.
    pub metric: Metric,
    /// As the meter showed it.
    pub entered: Quantity,
    /// In the metric's canonical unit.
    pub value: Quantity,
    /// The meter's temperature compensation, where known.
    pub compensation: Option<Compensation>,
    /// The meter used, where kept.
    pub meter_id: Option<Uuid>,
    /// The tank change it was taken after, and entered with.
    pub change_id: Option<Uuid>,
    /// When it was taken, by the clock of whoever took it.
    pub recorded_at: Instant,
    /// When the server got it.
    pub received_at: Instant,
    /// How far the server's clock was ahead of the client's, ms, where the client told its own.
    #[schema(minimum = -9007199254740991i64, maximum = 9007199254740991i64)]
    pub clock_offset_ms: Option<i64>,
    /// Whether `recorded_at` lies further in the future than clocks differ.
    pub clock_suspect: bool,
    /// Who took it.
    pub done_by: Option<Uuid>,
    /// Who typed it.
    pub entered_by: Option<Uuid>,
    /// The device that sent it; null where a person entered it.
    pub device_id: Option<Uuid>,
    /// The band in force then: lowest value in band.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub band_low: Option<f64>,
    /// The aim then.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub band_aim: Option<f64>,
    /// Highest value in band then.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub band_high: Option<f64>,
    /// Whether it is in band; null where no band was in force.
    pub in_band: Option<bool>,
    /// The later reading that stands in its place.
    pub superseded_by_id: Option<Uuid>,
    /// The earlier reading in whose place it stands.
    pub supersedes_id: Option<Uuid>,
    /// Why it stands there.
    #[schema(max_length = 500)]
    pub correction_reason: Option<String>,
}

impl From<(Id<words::Reading>, words::Reading)> for Reading {
    fn from((id, kept): (Id<words::Reading>, words::Reading)) -> Self {
        let (tank_id, room_id) = spot_ids(kept.spot);
        Self {
            id: id.uuid(),
            client_id: kept.client_id,
            tank_id,
            room_id,
            sample_point: Code(kept.sample_point),
            metric: Code(kept.metric),
            entered: kept.entered.into(),
            value: Quantity::new(kept.value, kept.metric.unit()),
            compensation: kept.compensation.map(Compensation::from),
            meter_id: kept.meter.map(Id::uuid),
            change_id: kept.change.map(Id::uuid),
            recorded_at: kept.recorded_at.into(),
            received_at: kept.received_at.into(),
            clock_offset_ms: kept.clock_offset_ms,
            clock_suspect: kept.clock_suspect,
            done_by: kept.done_by.map(Id::uuid),
            entered_by: kept.entered_by.map(Id::uuid),
            device_id: kept.entered_with.map(Id::uuid),
            band_low: kept.band.map(|band| band.low),
            band_aim: kept.band.map(|band| band.aim),
            band_high: kept.band.map(|band| band.high),
            in_band: kept.in_band(),
            superseded_by_id: kept.superseded.map(Id::uuid),
            supersedes_id: kept.supersedes.as_ref().map(|(id, _)| id.uuid()),
            correction_reason: kept.supersedes.map(|(_, reason)| reason),
        }
    }
}

pub(crate) fn spot_ids(spot: words::Spot) -> (Option<Uuid>, Option<Uuid>) {
    match spot {
        words::Spot::Tank(tank) => (Some(tank.uuid()), None),
        words::Spot::Room(room) => (None, Some(room.uuid())),
    }
}

impl From<words::Compensation> for Compensation {
    fn from(compensation: words::Compensation) -> Self {
        match compensation {
            words::Compensation::Linear { percent_per_c, reference_c } => {
                Self { percent_per_c: Some(percent_per_c), reference_c: Some(reference_c) }
            }
            words::Compensation::None => Self { percent_per_c: None, reference_c: None },
        }
    }
}

impl Compensation {
    /// The word. A percentage without a reference means 25 °C, which nearly every meter refers to; a reference without
    /// a percentage says nothing that could be kept.
    pub fn word(self, pointer: &str, faults: &mut Faults) -> words::Compensation {
        if let Some(reference_c) = self.reference_c {
            faults.range(&format!("{pointer}/reference_c"), reference_c, 0.0, 40.0);
        }
        let Some(percent_per_c) = self.percent_per_c else {
            let none = self.reference_c.is_none();
            let detail = "expected a percentage with a reference temperature";
            faults.unless(none, &format!("{pointer}/percent_per_c"), "missing", detail);
            return words::Compensation::None;
        };
        faults.range(&format!("{pointer}/percent_per_c"), percent_per_c, 0.0, 10.0);
        words::Compensation::Linear { percent_per_c, reference_c: self.reference_c.unwrap_or(25.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(
        percent_per_c: Option<f64>,
        reference_c: Option<f64>,
        expected: Result<words::Compensation, &[&str]>,
    ) {
        let mut faults = Faults::default();
        let word = Compensation { percent_per_c, reference_c }.word("/compensation", &mut faults);
        match expected {
            Ok(expected) => assert_eq!(faults.or(Some(word)), Ok(expected)),
            Err(pointers) => {
                let found: Vec<&str> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
                assert_eq!(found, pointers);
            }
        }
    }

    #[test]
    fn a_compensation_is_taken_as_the_meter_states_it() {
        let linear = |reference_c| words::Compensation::Linear { percent_per_c: 2.0, reference_c };
        check(Some(2.0), Some(20.0), Ok(linear(20.0)));
        check(Some(2.0), None, Ok(linear(25.0)));
        check(None, None, Ok(words::Compensation::None));
    }

    #[test]
    fn what_no_meter_does_is_refused() {
        check(Some(10.1), Some(41.0), Err(&["/compensation/reference_c", "/compensation/percent_per_c"]));
        check(Some(f64::NAN), None, Err(&["/compensation/percent_per_c"]));
        check(None, Some(25.0), Err(&["/compensation/percent_per_c"]));
    }
}
