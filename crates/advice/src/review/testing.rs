//! A site one can reckon in one's head: a north room of 20 m² and a south room of 10, a tank that is changed every
//! seven days, basil in the first half of the year and once more later.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::entries::TankChange;
use fillmark_domain::growing::{
    Cycle, CycleId, Feed, Harvest, Placement, ProgrammeId, ProgrammeRevision, StageDate, Step,
};
use fillmark_domain::places::{Room, RoomId, RoomUse, Tank, TankId, TankMode, TankRoom};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::{Id, Kept, OpenDays, Stage};
use uuid::Uuid;

fn id<W>(number: u128) -> Id<W> {
    Id::new(Uuid::from_u128(number))
}

/// A day of 2026.
#[track_caller]
pub(crate) fn day(text: &str) -> NaiveDate {
    format!("2026-{text}").parse().unwrap()
}

/// Noon of a day of 2026.
#[track_caller]
pub(crate) fn noon(text: &str) -> DateTime<Utc> {
    format!("2026-{text}T12:00:00Z").parse().unwrap()
}

pub(crate) fn north_room() -> RoomId {
    id(1)
}

pub(crate) fn south_room() -> RoomId {
    id(2)
}

pub(crate) fn north_tank() -> TankId {
    id(3)
}

/// 200 plants from 1 January to 30 June.
pub(crate) fn basil() -> CycleId {
    id(4)
}

/// 100 plants from 1 March to 30 August.
pub(crate) fn later_basil() -> CycleId {
    id(5)
}

fn programme() -> ProgrammeId {
    id(6)
}

fn kept<W>(id: Id<W>, content: W) -> Kept<W> {
    Kept {
        id,
        version: 1,
        created_at: DateTime::UNIX_EPOCH,
        updated_at: DateTime::UNIX_EPOCH,
        archived_at: None,
        content,
    }
}

fn room(id: RoomId, area_m2: f64) -> Kept<Room> {
    let room = Room {
        name: "room".into(),
        room_use: RoomUse::Growing,
        growing_area_m2: Some(area_m2),
        plant_places: None,
        hygiene_rank: 1,
        building: None,
        bands: Vec::new(),
    };
    kept(id, room)
}

fn cycle(id: CycleId, plants: u32, from: &str, until: &str) -> (CycleId, Kept<Cycle>) {
    let cycle = Cycle {
        name: "basil".into(),
        crop: Id::new(Uuid::nil()),
        programme: programme(),
        plants,
        starts_on: day(from),
        ends_on: Some(day(until)),
        stages: vec![StageDate { stage: Stage::Vegetative, from: day(from) }],
    };
    (id, kept(id, cycle))
}

fn weekly() -> ProgrammeRevision {
    let step = Step {
        stage: Stage::Vegetative,
        days: 30,
        doses: Vec::new(),
        strength: 1.0,
        bands: Vec::new(),
        change_every_days: Some(7),
        top_up_strength: 1.0,
    };
    ProgrammeRevision { programme: programme(), effective_at: DateTime::UNIX_EPOCH, steps: vec![step] }
}

/// The plan of the site, nothing placed yet.
pub(crate) struct Site(pub(crate) SitePlan);

impl Default for Site {
    fn default() -> Site {
        let tank = Tank {
            name: "north".into(),
            mode: TankMode::Recirculating,
            fill_mark_l: 100.0,
            water_source: None,
            two_people_change: false,
            bands: Vec::new(),
        };
        let fed =
            TankRoom { tank: north_tank(), room: north_room(), from: day("01-01"), until: None, share: 1.0 };
        let feed = Feed {
            tank: north_tank(),
            cycle: basil(),
            from: day("01-01"),
            until: None,
            leads: true,
            plants: 200,
        };
        Site(SitePlan {
            zone: chrono_tz::UTC,
            open: OpenDays::EVERY_DAY,
            rooms: vec![room(north_room(), 20.0), room(south_room(), 10.0)],
            tanks: vec![kept(north_tank(), tank)],
            tank_rooms: vec![fed],
            outages: Vec::new(),
            sources: Vec::new(),
            cycles: HashMap::from([
                cycle(basil(), 200, "01-01", "06-30"),
                cycle(later_basil(), 100, "03-01", "08-30"),
            ]),
            placements: Vec::new(),
            feeds: vec![feed],
            revisions: HashMap::from([(programme(), vec![weekly()])]),
            change_plans: Vec::new(),
        })
    }
}

impl Site {
    /// The tank feeds its room until a day.
    pub(crate) fn fed_until(mut self, until: &str) -> Site {
        self.0.tank_rooms[0].until = Some(day(until));
        self
    }

    /// All plants of a cycle stand in a room from a day on.
    pub(crate) fn placed(mut self, cycle: CycleId, room: RoomId, from: &str, until: Option<&str>) -> Site {
        let plants = self.0.cycles[&cycle].content.plants;
        self.0.placements.push(Placement { cycle, room, from: day(from), until: until.map(day), plants });
        self
    }
}

/// A full change of the tank at noon of a day.
#[track_caller]
pub(crate) fn tank_change(done: &str, due: Option<&str>) -> TankChange {
    TankChange {
        client_id: Uuid::nil(),
        tank: north_tank(),
        fraction: 1.0,
        drained_l: 100.0,
        drained_to: None,
        water_in_l: 100.0,
        due_on: due.map(day),
        recorded_at: noon(done),
        received_at: noon(done),
        done_by: None,
        entered_by: None,
        reverses: None,
        reversed: None,
    }
}

/// So many saleable kg of a cycle.
pub(crate) fn harvest(cycle: CycleId, saleable_kg: f64) -> Harvest {
    Harvest {
        client_id: Uuid::nil(),
        cycle,
        room: None,
        harvested_at: noon("03-20"),
        received_at: noon("03-20"),
        saleable_kg,
        rejected_kg: 0.0,
        pieces: None,
        grade: None,
        brix: None,
        done_by: None,
        entered_by: None,
        reverses: None,
        reversed: None,
    }
}
