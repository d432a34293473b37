//! Tank changes.

use chrono::NaiveDate;
use fillmark_domain::Id;
use fillmark_domain::entries as words;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{Addition, Reading, SamplePoint};
use crate::{Instant, Metric, Quantity};

/// A tank change in one request: what was drained, what went in, and what was read afterwards.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "tank_id": "019a0000-0000-7000-8000-000000000002",
    "fraction": 1.0, "drained": {"value": 380.0, "unit": "L"}, "drained_to": "reed bed", "water_in": {"value": 400.0, "unit": "L"},
    "products": [{"product_id": "019a0000-0000-7000-8000-000000000003", "amount": {"value": 800.0, "unit": "mL"}}],
    "readings": [{"metric": "ec", "value": {"value": 1.4, "unit": "mS/cm"}}], "advice_id": null, "recorded_at": "2026-11-24T09:00:00+01:00"}))]
pub struct NewTankChange {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// Which tank.
    pub tank_id: Uuid,
    /// Part drained: 1 for a full change, which starts the interval anew; less dilutes.
    #[serde(default = "full")]
    #[schema(minimum = 0.01, maximum = 1.0)]
    pub fraction: f64,
    /// Volume drained.
    pub drained: Quantity,
    /// Where it went.
    #[serde(default)]
    #[schema(max_length = 200)]
    pub drained_to: Option<String>,
    /// Water filled in.
    pub water_in: Quantity,
    /// Products put in.
    #[serde(default)]
    #[schema(max_items = 30)]
    pub products: Vec<ChangeProduct>,
    /// Readings taken afterwards.
    #[serde(default)]
    #[schema(max_items = 12)]
    pub readings: Vec<ChangeReading>,
    /// The advice for this tank that it followed.
    #[serde(default)]
    pub advice_id: Option<Uuid>,
    /// When it was done.
    pub recorded_at: Instant,
    /// Who did it, when not the one who enters it.
    #[serde(default)]
    pub done_by: Option<Uuid>,
    /// It was asked back as looking mis-keyed or entered before, and is right all the same.
    #[serde(default)]
    pub confirmed: bool,
}

fn full() -> f64 {
    1.0
}

/// A product put in at a tank change.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChangeProduct {
    /// The product.
    pub product_id: Uuid,
    /// How much.
    pub amount: Quantity,
    /// The lot on the label; without one, those that expire first.
    #[serde(default)]
    pub lot_id: Option<Uuid>,
    /// It was poured though the record holds less, or though the lot that is named has expired or is in quarantine.
    #[serde(default)]
    pub poured_all_the_same: bool,
}

/// A reading taken after a tank change.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChangeReading {
    /// What was measured.
    pub metric: Metric,
    /// As the meter showed it.
    pub value: Quantity,
    /// Where the sample was taken; the tank, if nothing is said.
    #[serde(default)]
    pub sample_point: Option<SamplePoint>,
    /// The meter used, where kept.
    #[serde(default)]
    pub meter_id: Option<Uuid>,
    /// It was asked back as looking mis-keyed, and is right all the same.
    #[serde(default)]
    pub confirmed: bool,
}

/// A tank change as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TankChange {
    /// Made by the server.
    pub id: Uuid,
    /// As it was sent.
    pub client_id: Uuid,
    /// Which tank.
    pub tank_id: Uuid,
    /// Part drained.
    #[schema(minimum = 0.0, maximum = 1.0)]
    pub fraction: f64,
    /// Volume drained, L; the opposite where it takes another back.
    #[schema(minimum = -1000000.0, maximum = 1000000.0)]
    pub drained_l: f64,
    /// Where it went.
    #[schema(max_length = 200)]
    pub drained_to: Option<String>,
    /// Water filled in, L.
    #[schema(minimum = -1000000.0, maximum = 1000000.0)]
    pub water_in_l: f64,
    /// The day it was due, where one was.
    pub due_on: Option<NaiveDate>,
    /// When it was done.
    pub recorded_at: Instant,
    /// When the server got it.
    pub received_at: Instant,
    /// Who did it.
    pub done_by: Option<Uuid>,
    /// Who typed it.
    pub entered_by: Option<Uuid>,
    /// The change it takes back.
    pub reverses_id: Option<Uuid>,
    /// The change that took it back.
    pub reversed_by_id: Option<Uuid>,
    /// Why it was taken back.
    #[schema(max_length = 500)]
    pub reversal_reason: Option<String>,
}

/// A tank change with all that was entered with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TankChangeDone {
    /// The change.
    pub change: TankChange,
    /// What went in.
    #[schema(max_items = 30)]
    pub additions: Vec<Addition>,
    /// What was read afterwards.
    #[schema(max_items = 12)]
    pub readings: Vec<Reading>,
    /// Usual cautions; label, safety data sheet and local rules go first.
    #[schema(max_items = 10)]
    pub cautions: Vec<String>,
}

/// A day on which a tank's change is due.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"tank_id": "019a0000-0000-7000-8000-000000000002", "due_on": "2026-12-03", "days_late": 0, "volume_l": 400.0,
    "last_done_on": "2026-11-19"}))]
pub struct DueChange {
    /// Which tank.
    pub tank_id: Uuid,
    /// The day.
    pub due_on: NaiveDate,
    /// Days it is late by; 0 while it is not.
    #[schema(minimum = 0, maximum = 100000)]
    pub days_late: i64,
    /// Volume at the fill mark, L.
    #[schema(minimum = 0.0, maximum = 1000000.0)]
    pub volume_l: f64,
    /// The last full change done.
    pub last_done_on: Option<NaiveDate>,
}

/// The changes that are due.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DueChanges {
    /// In the order of their days.
    #[schema(max_items = 5000)]
    pub items: Vec<DueChange>,
}

impl From<(Id<words::TankChange>, words::TankChange)> for TankChange {
    fn from((id, kept): (Id<words::TankChange>, words::TankChange)) -> Self {
        Self {
            id: id.uuid(),
            client_id: kept.client_id,
            tank_id: kept.tank.uuid(),
            fraction: kept.fraction,
            drained_l: kept.drained_l,
            drained_to: kept.drained_to,
            water_in_l: kept.water_in_l,
            due_on: kept.due_on,
            recorded_at: kept.recorded_at.into(),
            received_at: kept.received_at.into(),
            done_by: kept.done_by.map(Id::uuid),
            entered_by: kept.entered_by.map(Id::uuid),
            reverses_id: kept.reverses.as_ref().map(|(id, _)| id.uuid()),
            reversed_by_id: kept.reversed.map(Id::uuid),
            reversal_reason: kept.reverses.map(|(_, reason)| reason),
        }
    }
}
