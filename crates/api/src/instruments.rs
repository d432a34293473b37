//! Meters, calibrations, and what people decide about the days of tank changes.

use chrono::NaiveDate;
use fillmark_domain::entries as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Body, Code, Instant, Patch, Stored};

/// A kind of meter by its code.
pub type MeterKind = Code<words::MeterKind>;
/// What was decided about a day, by its code.
pub type ChangePlanKind = Code<words::ChangePlanKind>;

/// A meter as kept.
pub type Meter = Stored<NewMeter>;
/// A change of a meter.
pub type MeterPatch = Patch<NewMeter>;

/// An instrument.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "pH pen 2", "kind": "ph", "serial": "A-1093", "calibrate_every_days": 7}))]
pub struct NewMeter {
    /// Unique among what is not archived.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// What it measures.
    pub kind: MeterKind,
    /// Serial number.
    #[serde(default)]
    #[schema(max_length = 120)]
    pub serial: Option<String>,
    /// Days between calibrations.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 1000)]
    pub calibrate_every_days: Option<u32>,
}

impl Body for NewMeter {
    type Word = words::Meter;

    fn word(&self) -> Result<words::Meter, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        faults.or(Some(words::Meter {
            name: self.name.trim().to_owned(),
            kind: self.kind.0,
            serial: self.serial.clone(),
            calibrate_every_days: self.calibrate_every_days,
        }))
    }

    fn of(word: &words::Meter) -> Self {
        Self {
            name: word.name.clone(),
            kind: Code(word.kind),
            serial: word.serial.clone(),
            calibrate_every_days: word.calibrate_every_days,
        }
    }
}

/// A calibration as kept.
pub type Calibration = Stored<NewCalibration>;
/// A change of a calibration.
pub type CalibrationPatch = Patch<NewCalibration>;

/// One calibration of a meter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"meter_id": "019a0000-0000-7000-8000-000000000001", "calibrated_at": "2026-11-24T06:30:00.000Z", "done_by": null, "standards": "pH 4.01 and 7.00", "slope_percent": 97.5, "offset": 4.0, "passed": true, "next_due_on": "2026-12-01"}))]
pub struct NewCalibration {
    /// The meter.
    pub meter_id: Uuid,
    /// When.
    pub calibrated_at: Instant,
    /// Who; null when unknown.
    #[serde(default)]
    pub done_by: Option<Uuid>,
    /// The buffers or standards used.
    #[schema(min_length = 1, max_length = 200)]
    pub standards: String,
    /// Slope, % of the theoretical one (pH) or of the nominal cell constant (EC).
    #[serde(default)]
    #[schema(minimum = 0, maximum = 200)]
    pub slope_percent: Option<f64>,
    /// Offset, mV (pH) or mS/cm (EC).
    #[serde(default)]
    #[schema(minimum = -1000, maximum = 1000)]
    pub offset: Option<f64>,
    /// Whether the meter may be used.
    pub passed: bool,
    /// When the next is due; of one that was passed by the meter's interval, if nothing is said.
    #[serde(default)]
    pub next_due_on: Option<NaiveDate>,
}

impl Body for NewCalibration {
    type Word = words::Calibration;

    fn word(&self) -> Result<words::Calibration, Faults> {
        let mut faults = Faults::default();
        faults.text("/standards", &self.standards, 200);
        faults.or(Some(words::Calibration {
            meter: Id::new(self.meter_id),
            calibrated_at: self.calibrated_at.0,
            done_by: self.done_by.map(Id::new),
            standards: self.standards.clone(),
            slope_percent: self.slope_percent,
            offset: self.offset,
            passed: self.passed,
            next_due_on: self.next_due_on,
        }))
    }

    fn of(word: &words::Calibration) -> Self {
        Self {
            meter_id: word.meter.uuid(),
            calibrated_at: word.calibrated_at.into(),
            done_by: word.done_by.map(Id::uuid),
            standards: word.standards.clone(),
            slope_percent: word.slope_percent,
            offset: word.offset,
            passed: word.passed,
            next_due_on: word.next_due_on,
        }
    }
}

/// A planned change as kept.
pub type PlannedChange = Stored<NewPlannedChange>;
/// A change of a planned change.
pub type PlannedChangePatch = Patch<NewPlannedChange>;

/// A person's word about a day on which a tank is, or is not, changed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"tank_id": "019a0000-0000-7000-8000-000000000001", "kind": "on", "on_day": "2026-12-03", "reason": "before the buyer comes"}))]
pub struct NewPlannedChange {
    /// The tank.
    pub tank_id: Uuid,
    /// Whether it is changed on that day, or the change due that day is skipped.
    pub kind: ChangePlanKind,
    /// The day.
    pub on_day: NaiveDate,
    /// Why, in a few words.
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

impl Body for NewPlannedChange {
    type Word = words::ChangePlan;

    fn word(&self) -> Result<words::ChangePlan, Faults> {
        let mut faults = Faults::default();
        faults.text("/reason", &self.reason, 500);
        faults.or(Some(words::ChangePlan {
            tank: Id::new(self.tank_id),
            kind: self.kind.0,
            on: self.on_day,
            reason: self.reason.clone(),
        }))
    }

    fn of(word: &words::ChangePlan) -> Self {
        Self {
            tank_id: word.tank.uuid(),
            kind: Code(word.kind),
            on_day: word.on,
            reason: word.reason.clone(),
        }
    }
}
