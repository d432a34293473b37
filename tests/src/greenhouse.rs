//! A small site one can reason about: the north room with one tank of 200 L, basil in its second week.

use fillmark_api::*;
use serde_json::{Value, json as value};
use uuid::Uuid;

use crate::World;
use crate::world::json;

/// Ids of the small site.
#[derive(Debug, Clone, Copy)]
pub struct Greenhouse {
    /// The site, in Berlin.
    pub site: Uuid,
    /// A growing room of 20 m².
    pub north_room: Uuid,
    /// Recirculating, 200 L at its mark.
    pub north_tank: Uuid,
    /// Basil.
    pub crop: Uuid,
    /// EC 1.0 to 1.4 to 1.8, pH 5.8 to 6.0 to 6.4, changed every 7 days.
    pub programme: Uuid,
    /// 200 plants since 10 November 2026, vegetative since the 17th.
    pub cycle: Uuid,
}

impl World {
    /// The small site, by Ada's hand.
    pub async fn greenhouse(&self) -> Greenhouse {
        let site = self.site("Harbour").await.id;
        let (business, here) = (self.ada.business(), self.ada.site(site));
        let room = value!({ "name": "North room", "room_use": "growing", "growing_area_m2": 20.0, "hygiene_rank": 1 });
        let north_room = here.create::<NewRoom>(&json(room)).await.expect("a room").id;
        let tank = value!({ "name": "North tank", "mode": "recirculating", "fill_mark": { "value": 200.0, "unit": "L" } });
        let north_tank = here.create::<NewTank>(&json(tank)).await.expect("a tank").id;
        let fed =
            value!({ "tank_id": north_tank, "room_id": north_room, "from_on": "2026-11-01", "share": 1.0 });
        here.create::<NewTankRoom>(&json(fed)).await.expect("a tank's room");
        let crop = business.create::<NewCrop>(&json(value!({ "name": "Basil" }))).await.expect("a crop").id;
        let programme = value!({ "name": "Basil, potted", "crop_id": crop });
        let programme = business.create::<NewProgramme>(&json(programme)).await.expect("a programme").id;
        let revision = value!({ "programme_id": programme, "effective_at": "2026-01-01T00:00:00Z", "steps": steps(&[]) });
        business.create::<NewProgrammeRevision>(&json(revision)).await.expect("a revision");
        let cycle = value!({ "name": "Basil 46", "crop_id": crop, "programme_id": programme, "plants": 200,
            "starts_on": "2026-11-10", "ends_on": "2026-12-20",
            "stages": [{ "stage": "propagation", "from_on": "2026-11-10" }, { "stage": "vegetative", "from_on": "2026-11-17" }] });
        let cycle = here.create::<NewCycle>(&json(cycle)).await.expect("a cycle").id;
        let placement =
            value!({ "cycle_id": cycle, "room_id": north_room, "from_on": "2026-11-10", "plants": 200 });
        here.create::<NewPlacement>(&json(placement)).await.expect("a placement");
        let feed = value!({ "tank_id": north_tank, "cycle_id": cycle, "from_on": "2026-11-10", "leads": true, "plants": 200 });
        here.create::<NewFeed>(&json(feed)).await.expect("a feed");
        Greenhouse { site, north_room, north_tank, crop, programme, cycle }
    }
}

/// The steps of the small site's programme, with doses at full strength.
pub fn steps(doses: &[(Uuid, f64)]) -> Value {
    let doses: Vec<Value> = doses
        .iter()
        .map(|(product, per_litre)| value!({ "product_id": product, "per_litre": per_litre }))
        .collect();
    let bands = value!([
        { "metric": "ec", "low": 1.0, "aim": 1.4, "high": 1.8 },
        { "metric": "ph", "low": 5.8, "aim": 6.0, "high": 6.4 },
        { "metric": "air_temperature", "low": 18.0, "aim": 21.0, "high": 25.0 },
    ]);
    let step = |stage: &str, strength: f64| {
        value!({ "stage": stage, "days": 7, "doses": doses, "strength": strength, "bands": bands,
            "change_every_days": 7, "top_up_strength": strength })
    };
    value!([step("propagation", 0.5), step("vegetative", 1.0)])
}

/// A reading of the north tank.
pub fn reading(tank: Uuid, metric: &str, value: f64, unit: &str, recorded_at: &str) -> NewReading {
    json(value!({ "client_id": Uuid::new_v4(), "tank_id": tank, "sample_point": "tank", "metric": metric,
        "value": { "value": value, "unit": unit }, "recorded_at": recorded_at }))
}
