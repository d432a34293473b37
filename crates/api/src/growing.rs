//! Crops, programmes, cycles, where they stand and what they drink from.

mod revision;

use chrono::NaiveDate;
use fillmark_domain::growing as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Body, Code, Patch, Stage, Stored};

pub use revision::*;

/// A crop as kept.
pub type Crop = Stored<NewCrop>;
/// A change of a crop.
pub type CropPatch = Patch<NewCrop>;

/// A species or cultivar.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Basil Valla", "species": "Ocimum basilicum"}))]
pub struct NewCrop {
    /// Unique among what is not archived.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// Botanical or common name of the species.
    #[serde(default)]
    #[schema(max_length = 120)]
    pub species: Option<String>,
}

impl Body for NewCrop {
    type Word = words::Crop;

    fn word(&self) -> Result<words::Crop, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        faults.or(Some(words::Crop { name: self.name.trim().to_owned(), species: self.species.clone() }))
    }

    fn of(word: &words::Crop) -> Self {
        Self { name: word.name.clone(), species: word.species.clone() }
    }
}

/// A feeding programme as kept.
pub type Programme = Stored<NewProgramme>;
/// A change of a feeding programme.
pub type ProgrammePatch = Patch<NewProgramme>;

/// How a crop is fed; the steps stand in its revisions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Basil, potted", "crop_id": "019a0000-0000-7000-8000-000000000001"}))]
pub struct NewProgramme {
    /// Unique among what is not archived.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// The crop it is for.
    pub crop_id: Uuid,
}

impl Body for NewProgramme {
    type Word = words::Programme;

    fn word(&self) -> Result<words::Programme, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        faults.or(Some(words::Programme { name: self.name.trim().to_owned(), crop: Id::new(self.crop_id) }))
    }

    fn of(word: &words::Programme) -> Self {
        Self { name: word.name.clone(), crop_id: word.crop.uuid() }
    }
}

/// From when a cycle is in a stage: the plan until the day comes, then what happened.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"stage": "vegetative", "from_on": "2026-03-11"}))]
pub struct StageDate {
    /// The stage.
    pub stage: Stage,
    /// Its first day.
    pub from_on: NaiveDate,
}

/// A cycle as kept.
pub type Cycle = Stored<NewCycle>;
/// A change of a cycle.
pub type CyclePatch = Patch<NewCycle>;

/// One planting of a crop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Basil week 12", "crop_id": "019a0000-0000-7000-8000-000000000001", "programme_id": "019a0000-0000-7000-8000-000000000002", "plants": 400, "starts_on": "2026-03-01", "ends_on": "2026-04-30", "stages": [{"stage": "propagation", "from_on": "2026-03-01"}, {"stage": "vegetative", "from_on": "2026-03-11"}]}))]
pub struct NewCycle {
    /// Unique among what is not archived.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// The crop.
    pub crop_id: Uuid,
    /// How it is fed.
    pub programme_id: Uuid,
    /// Plants set.
    #[schema(minimum = 1, maximum = 100000000)]
    pub plants: u32,
    /// First day.
    pub starts_on: NaiveDate,
    /// Last day, planned or real; null while unknown.
    #[serde(default)]
    pub ends_on: Option<NaiveDate>,
    /// The stages in order, the first from the first day.
    #[schema(min_items = 1, max_items = 20)]
    pub stages: Vec<StageDate>,
}

impl Body for NewCycle {
    type Word = words::Cycle;

    fn word(&self) -> Result<words::Cycle, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        faults.or(Some(words::Cycle {
            name: self.name.trim().to_owned(),
            crop: Id::new(self.crop_id),
            programme: Id::new(self.programme_id),
            plants: self.plants,
            starts_on: self.starts_on,
            ends_on: self.ends_on,
            stages: self
                .stages
                .iter()
                .map(|date| words::StageDate { stage: date.stage.0, from: date.from_on })
                .collect(),
        }))
    }

    fn of(word: &words::Cycle) -> Self {
        Self {
            name: word.name.clone(),
            crop_id: word.crop.uuid(),
            programme_id: word.programme.uuid(),
            plants: word.plants,
            starts_on: word.starts_on,
            ends_on: word.ends_on,
            stages: word
                .stages
                .iter()
                .map(|date| StageDate { stage: Code(date.stage), from_on: date.from })
                .collect(),
        }
    }
}

/// A placement as kept.
pub type Placement = Stored<NewPlacement>;
/// A change of a placement.
pub type PlacementPatch = Patch<NewPlacement>;

/// Where a cycle stands: transplanting ends one placement and starts another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"cycle_id": "019a0000-0000-7000-8000-000000000001", "room_id": "019a0000-0000-7000-8000-000000000002", "from_on": "2026-03-01", "until_on": null, "plants": 400}))]
pub struct NewPlacement {
    /// The cycle.
    pub cycle_id: Uuid,
    /// The room.
    pub room_id: Uuid,
    /// First day.
    pub from_on: NaiveDate,
    /// Last day; null while it is open.
    #[serde(default)]
    pub until_on: Option<NaiveDate>,
    /// Plants of the cycle standing there.
    #[schema(minimum = 1, maximum = 100000000)]
    pub plants: u32,
}

impl Body for NewPlacement {
    type Word = words::Placement;

    fn word(&self) -> Result<words::Placement, Faults> {
        Faults::default().or(Some(words::Placement {
            cycle: Id::new(self.cycle_id),
            room: Id::new(self.room_id),
            from: self.from_on,
            until: self.until_on,
            plants: self.plants,
        }))
    }

    fn of(word: &words::Placement) -> Self {
        Self {
            cycle_id: word.cycle.uuid(),
            room_id: word.room.uuid(),
            from_on: word.from,
            until_on: word.until,
            plants: word.plants,
        }
    }
}

/// A feed as kept.
pub type Feed = Stored<NewFeed>;
/// A change of a feed.
pub type FeedPatch = Patch<NewFeed>;

/// Joins a tank and a cycle that drinks from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"tank_id": "019a0000-0000-7000-8000-000000000001", "cycle_id": "019a0000-0000-7000-8000-000000000002", "from_on": "2026-03-01", "until_on": null, "leads": true, "plants": 400}))]
pub struct NewFeed {
    /// The tank.
    pub tank_id: Uuid,
    /// The cycle that drinks from it.
    pub cycle_id: Uuid,
    /// First day.
    pub from_on: NaiveDate,
    /// Last day; null while it is open.
    #[serde(default)]
    pub until_on: Option<NaiveDate>,
    /// Whether this cycle leads the tank's programme; one does at a time.
    pub leads: bool,
    /// Plants of the cycle that drink from this tank.
    #[schema(minimum = 0, maximum = 100000000)]
    pub plants: u32,
}

impl Body for NewFeed {
    type Word = words::Feed;

    fn word(&self) -> Result<words::Feed, Faults> {
        Faults::default().or(Some(words::Feed {
            tank: Id::new(self.tank_id),
            cycle: Id::new(self.cycle_id),
            from: self.from_on,
            until: self.until_on,
            leads: self.leads,
            plants: self.plants,
        }))
    }

    fn of(word: &words::Feed) -> Self {
        Self {
            tank_id: word.tank.uuid(),
            cycle_id: word.cycle.uuid(),
            from_on: word.from,
            until_on: word.until,
            leads: word.leads,
            plants: word.plants,
        }
    }
}
