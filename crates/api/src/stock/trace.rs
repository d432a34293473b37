//! Where a lot went, and what a harvest may have drunk.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use fillmark_advice::supply as answers;
use fillmark_domain::Id;
use fillmark_domain::growing::Harvest;
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
    pub harvests: Vec<HarvestReached>,
    /// The sites that hold or held some of it, or of what was made of it, or that it is on its way to, as far as the caller may see them:
    /// each has a trace of its own once it has arrived.
    #[schema(max_items = 1000)]
    pub site_ids: Vec<Uuid>,
    /// How many such sites the caller may not see: whoever may is to be asked to follow it there.
    #[serde(default)]
    #[schema(maximum = 9007199254740991i64)]
    pub unseen_sites: usize,
    /// What lots, tanks, cycles and sites are called, by id: a lot by its number.
    pub names: BTreeMap<Uuid, String>,
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

/// A harvest of a cycle that drank of a lot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HarvestReached {
    /// Which.
    pub harvest_id: Uuid,
    /// Of which cycle.
    pub cycle_id: Uuid,
    /// When it was picked.
    pub harvested_at: Instant,
    /// What of it may be sold, kg.
    #[schema(minimum = 0, maximum = 1e12)]
    pub saleable_kg: f64,
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
    /// What lots, tanks and cycles are called, by id: a lot by its number.
    pub names: BTreeMap<Uuid, String>,
}

/// A lot that a cycle may have drunk.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LotDrunk {
    /// Which.
    pub lot_id: Uuid,
    /// From which tanks, and when.
    #[schema(max_items = 10000)]
    pub drunk: Vec<DrunkFrom>,
}

/// A tank from which a harvest's cycle may have drunk a lot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DrunkFrom {
    /// Which.
    pub tank_id: Uuid,
    /// The first day.
    pub from_on: NaiveDate,
    /// The last day, that of the harvest at most.
    pub until_on: Option<NaiveDate>,
    /// Of what came in last, the part that partial changes had left at most when it was picked, between 0 and 1: 0 where the
    /// tank had been drained.
    pub left_share: f64,
}

/// A row of a trace in CSV.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TraceRow {
    /// What was reached: a `lot` made of it, a `site`, `tank`, `cycle` or `harvest`.
    pub reached: &'static str,
    /// The lot's number.
    pub lot: String,
    /// The lot.
    pub lot_id: Uuid,
    /// The tank's name.
    pub tank: String,
    /// The tank.
    pub tank_id: Option<Uuid>,
    /// The cycle's name.
    pub cycle: String,
    /// The cycle.
    pub cycle_id: Option<Uuid>,
    /// The harvest.
    pub harvest_id: Option<Uuid>,
    /// From when: an instant or a local day; of a harvest, when it was picked.
    pub from: String,
    /// Until when; empty where it still is.
    pub until: String,
    /// What partial changes left at most, between 0 and 1.
    pub left_share: Option<f64>,
    /// What may be sold of the harvest, kg.
    pub saleable_kg: Option<f64>,
    /// The site's name.
    pub site: String,
    /// The site.
    pub site_id: Option<Uuid>,
}

impl LotTrace {
    /// What was reached, a row each: lots made of it, sites, tanks, cycles, harvests.
    pub fn rows(&self, lot_id: Uuid) -> Vec<TraceRow> {
        let row = |reached| TraceRow {
            reached,
            lot: called(&self.names, lot_id),
            lot_id,
            tank: String::new(),
            tank_id: None,
            cycle: String::new(),
            cycle_id: None,
            harvest_id: None,
            from: String::new(),
            until: String::new(),
            left_share: None,
            saleable_kg: None,
            site: String::new(),
            site_id: None,
        };
        let made = self.lot_ids.iter().filter(|made| **made != lot_id);
        let lots = made.map(|made| TraceRow { lot: called(&self.names, *made), lot_id: *made, ..row("lot") });
        let sites = self.site_ids.iter().map(|site| TraceRow {
            site: called(&self.names, *site),
            site_id: Some(*site),
            ..row("site")
        });
        let tanks = self.tanks.iter().map(|tank| TraceRow {
            tank: called(&self.names, tank.tank_id),
            tank_id: Some(tank.tank_id),
            from: tank.from_at.text(),
            until: tank.until_at.map(|at| at.text()).unwrap_or_default(),
            left_share: Some(tank.left_share),
            ..row("tank")
        });
        let cycles = self.cycles.iter().map(|cycle| TraceRow {
            tank: called(&self.names, cycle.tank_id),
            tank_id: Some(cycle.tank_id),
            cycle: called(&self.names, cycle.cycle_id),
            cycle_id: Some(cycle.cycle_id),
            from: cycle.from_on.to_string(),
            until: cycle.until_on.map(|on| on.to_string()).unwrap_or_default(),
            ..row("cycle")
        });
        let harvests = self.harvests.iter().map(|harvest| TraceRow {
            cycle: called(&self.names, harvest.cycle_id),
            cycle_id: Some(harvest.cycle_id),
            harvest_id: Some(harvest.harvest_id),
            from: harvest.harvested_at.text(),
            saleable_kg: Some(harvest.saleable_kg),
            ..row("harvest")
        });
        let unseen = (self.unseen_sites > 0).then(|| TraceRow {
            site: format!("{} more that you may not see", self.unseen_sites),
            ..row("site")
        });
        lots.chain(sites).chain(unseen).chain(tanks).chain(cycles).chain(harvests).collect()
    }
}

impl HarvestTrace {
    /// The lots that may have been drunk, a row for each tank.
    pub fn rows(&self) -> Vec<TraceRow> {
        let of_lot = |lot: &LotDrunk| {
            let lot_id = lot.lot_id;
            let row = |from: &DrunkFrom| TraceRow {
                reached: "harvest",
                lot: called(&self.names, lot_id),
                lot_id,
                tank: called(&self.names, from.tank_id),
                tank_id: Some(from.tank_id),
                cycle: called(&self.names, self.cycle_id),
                cycle_id: Some(self.cycle_id),
                harvest_id: Some(self.harvest_id),
                from: from.from_on.to_string(),
                until: from.until_on.map(|on| on.to_string()).unwrap_or_default(),
                left_share: Some(from.left_share),
                saleable_kg: None,
                site: String::new(),
                site_id: None,
            };
            lot.drunk.iter().map(row).collect::<Vec<_>>()
        };
        self.lots.iter().flat_map(of_lot).collect()
    }
}

fn called(names: &BTreeMap<Uuid, String>, id: Uuid) -> String {
    names.get(&id).cloned().unwrap_or_default()
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

impl From<&(Id<Harvest>, Harvest)> for HarvestReached {
    fn from((id, harvest): &(Id<Harvest>, Harvest)) -> Self {
        Self {
            harvest_id: id.uuid(),
            cycle_id: harvest.cycle.uuid(),
            harvested_at: harvest.harvested_at.into(),
            saleable_kg: harvest.saleable_kg,
        }
    }
}

impl From<&answers::Drunk> for DrunkFrom {
    fn from(drunk: &answers::Drunk) -> Self {
        Self {
            tank_id: drunk.drank.tank.uuid(),
            from_on: drunk.drank.from,
            until_on: drunk.drank.until,
            left_share: drunk.left,
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
