//! Harvests.

use fillmark_domain::metric::Dimension;
use fillmark_domain::{Faults, Id, Unit, growing as words};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Instant, Quantity};

/// One picking of a cycle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "cycle_id": "019a0000-0000-7000-8000-000000000002",
    "room_id": null, "harvested_at": "2026-11-24T10:00:00+01:00", "saleable": {"value": 12.4, "unit": "kg"},
    "rejected": {"value": 0.6, "unit": "kg"}, "pieces": 248, "grade": "A", "brix": null}))]
pub struct NewHarvest {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// The cycle.
    pub cycle_id: Uuid,
    /// The room it was picked in.
    #[serde(default)]
    pub room_id: Option<Uuid>,
    /// When.
    pub harvested_at: Instant,
    /// Saleable mass.
    pub saleable: Quantity,
    /// Rejected mass.
    pub rejected: Quantity,
    /// Pieces or bunches, where counted.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 100000000)]
    pub pieces: Option<u32>,
    /// The grade in the grower's own words.
    #[serde(default)]
    #[schema(max_length = 60)]
    pub grade: Option<String>,
    /// Soluble solids, °Bx, if measured.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 85)]
    pub brix: Option<f64>,
    /// Who picked, when not the one who enters it.
    #[serde(default)]
    pub done_by: Option<Uuid>,
    /// It was asked back as looking mis-keyed, and is right all the same.
    #[serde(default)]
    pub confirmed: bool,
}

/// A harvest as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Harvest {
    /// Made by the server.
    pub id: Uuid,
    /// As it was sent.
    pub client_id: Uuid,
    /// The cycle.
    pub cycle_id: Uuid,
    /// The room it was picked in.
    pub room_id: Option<Uuid>,
    /// When.
    pub harvested_at: Instant,
    /// When the server got it.
    pub received_at: Instant,
    /// Saleable mass, kg; the opposite where it takes another back.
    #[schema(minimum = -1000000.0, maximum = 1000000.0)]
    pub saleable_kg: f64,
    /// Rejected mass, kg.
    #[schema(minimum = -1000000.0, maximum = 1000000.0)]
    pub rejected_kg: f64,
    /// Pieces or bunches, where counted.
    #[schema(minimum = 0, maximum = 100000000)]
    pub pieces: Option<u32>,
    /// The grade in the grower's own words.
    #[schema(max_length = 60)]
    pub grade: Option<String>,
    /// Soluble solids, °Bx.
    #[schema(minimum = 0, maximum = 85)]
    pub brix: Option<f64>,
    /// Who picked.
    pub done_by: Option<Uuid>,
    /// Who typed it.
    pub entered_by: Option<Uuid>,
    /// The harvest it takes back.
    pub reverses_id: Option<Uuid>,
    /// The harvest that took it back.
    pub reversed_by_id: Option<Uuid>,
    /// Why it was taken back.
    #[schema(max_length = 500)]
    pub reversal_reason: Option<String>,
}

impl NewHarvest {
    /// The harvest's saleable and rejected mass, kg, when every field can be taken.
    /// # Errors
    /// Each field that cannot be taken.
    pub fn masses(&self) -> Result<(f64, f64), Faults> {
        let mut faults = Faults::default();
        let saleable = kilograms("/saleable", self.saleable, &mut faults);
        let rejected = kilograms("/rejected", self.rejected, &mut faults);
        if let Some(pieces) = self.pieces {
            faults.range("/pieces", pieces.into(), 0.0, 1e8);
        }
        if let Some(brix) = self.brix {
            faults.range("/brix", brix, 0.0, 85.0);
        }
        if let Some(grade) = &self.grade {
            faults.text("/grade", grade, 60);
        }
        faults.or(Some((saleable, rejected)))
    }
}

fn kilograms(pointer: &str, entered: Quantity, faults: &mut Faults) -> f64 {
    let fits = entered.unit.0.dimension() == Dimension::Mass;
    faults.unless(
        fits,
        pointer,
        "wrong_unit",
        format!("expected a mass like {}", fillmark_domain::Coded::code(Unit::Kilogram)),
    );
    let kg = entered.word().canonical() / 1000.0;
    faults.range(pointer, kg, 0.0, 1e6);
    kg
}

impl From<(Id<words::Harvest>, words::Harvest)> for Harvest {
    fn from((id, kept): (Id<words::Harvest>, words::Harvest)) -> Self {
        Self {
            id: id.uuid(),
            client_id: kept.client_id,
            cycle_id: kept.cycle.uuid(),
            room_id: kept.room.map(Id::uuid),
            harvested_at: kept.harvested_at.into(),
            received_at: kept.received_at.into(),
            saleable_kg: kept.saleable_kg,
            rejected_kg: kept.rejected_kg,
            pieces: kept.pieces,
            grade: kept.grade,
            brix: kept.brix,
            done_by: kept.done_by.map(Id::uuid),
            entered_by: kept.entered_by.map(Id::uuid),
            reverses_id: kept.reverses.as_ref().map(|(id, _)| id.uuid()),
            reversed_by_id: kept.reversed.map(Id::uuid),
            reversal_reason: kept.reverses.map(|(_, reason)| reason),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(pieces: u32, expected: &[&str]) {
        let kg = |value| Quantity::new(value, Unit::Kilogram);
        let harvest = NewHarvest {
            client_id: Uuid::nil(),
            cycle_id: Uuid::nil(),
            room_id: None,
            harvested_at: chrono::DateTime::UNIX_EPOCH.into(),
            saleable: kg(12.5),
            rejected: kg(0.5),
            pieces: Some(pieces),
            grade: None,
            brix: None,
            done_by: None,
            confirmed: false,
        };
        let faults = harvest.masses().err().unwrap_or_default();
        let found: Vec<&str> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn more_pieces_than_anybody_picks_are_refused() {
        check(100_000_000, &[]);
        check(100_000_001, &["/pieces"]);
    }
}
