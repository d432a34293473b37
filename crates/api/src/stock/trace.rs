//! Where a lot went, and what a harvest may have drunk.

use chrono::NaiveDate;
use fillmark_advice::supply as answers;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::Instant;

/// Where a lot went at a site.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LotTrace {
    /// The lot, and those that were made of it.
    #[schema(max_items = 10000)]
    pub lot_ids: Vec<Uuid>,
    /// The tanks that it was in, from when to when.
    #[schema(max_items = 100000)]
    pub tanks: Vec<TankReached>,
    /// The cycles that drank from them meanwhile.
    #[schema(max_items = 100000)]
    pub cycles: Vec<CycleReached>,
    /// What was picked of those cycles since. What plants took up stays in them, so nothing ends it.
    #[schema(max_items = 1000000)]
    pub harvest_ids: Vec<Uuid>,
    /// The sites that hold or held some of it: each has a trace of its own.
    #[schema(max_items = 1000)]
    pub site_ids: Vec<Uuid>,
}

/// A tank in which some of a lot was.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TankReached {
    /// Which.
    pub tank_id: Uuid,
    /// When it came in first.
    pub from_at: Instant,
    /// When the tank was drained whole; null while it is still in.
    pub until_at: Option<Instant>,
    /// Of what came in last, the part that partial changes left at most, between 0 and 1.
    pub left_share: f64,
}

/// A cycle that drank of a lot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CycleReached {
    /// Which.
    pub cycle_id: Uuid,
    /// From which tank.
    pub tank_id: Uuid,
    /// The first day.
    pub from_on: NaiveDate,
    /// The last day; null while it still does.
    pub until_on: Option<NaiveDate>,
}

/// The lots that a harvest's cycle may have drunk before it was picked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HarvestTrace {
    /// The harvest.
    pub harvest_id: Uuid,
    /// Its cycle.
    pub cycle_id: Uuid,
    /// The lots.
    #[schema(max_items = 10000)]
    pub lots: Vec<LotDrunk>,
}

/// A lot that a cycle may have drunk.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LotDrunk {
    /// Which.
    pub lot_id: Uuid,
    /// From which tanks, and when.
    #[schema(max_items = 10000)]
    pub drunk: Vec<CycleReached>,
}

impl From<&answers::Exposure> for TankReached {
    fn from(exposure: &answers::Exposure) -> Self {
        Self {
            tank_id: exposure.tank.uuid(),
            from_at: exposure.from.into(),
            until_at: exposure.until.map(Instant::from),
            left_share: exposure.left,
        }
    }
}

impl From<&answers::Drank> for CycleReached {
    fn from(drank: &answers::Drank) -> Self {
        Self {
            cycle_id: drank.cycle.uuid(),
            tank_id: drank.tank.uuid(),
            from_on: drank.from,
            until_on: drank.until,
        }
    }
}
