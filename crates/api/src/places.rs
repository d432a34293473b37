//! Sites, rooms, tanks and water.

mod spans;
mod tank;

use fillmark_domain::places as words;
use fillmark_domain::{Faults, Week};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{Band, Body, Code, Patch, Stored};

pub use spans::*;
pub use tank::*;

/// A room's use by its code.
pub type RoomUse = Code<words::RoomUse>;
/// A weekday by its code.
pub type Weekday = Code<fillmark_domain::week::Day>;
/// A site as kept.
pub type Site = Stored<NewSite>;
/// A change of a site.
pub type SitePatch = Patch<NewSite>;
/// A room as kept.
pub type Room = Stored<NewRoom>;
/// A change of a room.
pub type RoomPatch = Patch<NewRoom>;

/// One address with one time zone, currency, working week and its own stock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Harbour Street", "time_zone": "Europe/Berlin", "currency": "EUR",
    "working_week": ["monday", "tuesday", "wednesday", "thursday", "friday"], "service_level": 0.95,
    "walk_rooms_min": 1, "walk_buildings_min": 5}))]
pub struct NewSite {
    /// Unique in the business.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// IANA name of its time zone; "today" and all windows follow it.
    #[schema(min_length = 1, max_length = 60)]
    pub time_zone: String,
    /// ISO 4217 code of its currency.
    #[schema(min_length = 3, max_length = 3)]
    pub currency: String,
    /// The weekdays on which staff work.
    #[schema(max_items = 7)]
    pub working_week: Vec<Weekday>,
    /// Chance of not running out that orders are planned for, 0.5 to 0.999.
    #[serde(default = "usual_service_level")]
    #[schema(minimum = 0.5, maximum = 0.999)]
    pub service_level: f64,
    /// Minutes of walking from a room to another of the same building; rounds leave time for it.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 120)]
    pub walk_rooms_min: u32,
    /// Minutes of walking from a building to another, no fewer than between rooms.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 120)]
    pub walk_buildings_min: u32,
}

fn usual_service_level() -> f64 {
    0.95
}

impl Body for NewSite {
    type Word = words::Site;

    fn word(&self) -> Result<words::Site, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        faults.range("/service_level", self.service_level, 0.5, 0.999);
        faults.range("/walk_rooms_min", self.walk_rooms_min.into(), 0.0, 120.0);
        let (rooms, buildings) = (f64::from(self.walk_rooms_min), f64::from(self.walk_buildings_min));
        // Left out, a building is as far as a room.
        if buildings > 0.0 {
            faults.range("/walk_buildings_min", buildings, rooms, 120.0);
        }
        let time_zone = self.time_zone.parse().map_err(|_| "expected an IANA time zone like Europe/Berlin");
        let time_zone = faults.take("/time_zone", "unknown_zone", time_zone);
        let currency =
            fillmark_domain::Currency::from_code(&self.currency).ok_or("expected an ISO 4217 code like EUR");
        let currency = faults.take("/currency", "unknown_currency", currency);
        let site = time_zone.zip(currency).map(|(time_zone, currency)| words::Site {
            name: self.name.trim().to_owned(),
            time_zone,
            currency,
            working_week: week(&self.working_week),
            service_level: self.service_level,
            walk_rooms_min: self.walk_rooms_min,
            walk_buildings_min: self.walk_buildings_min,
        });
        faults.or(site)
    }

    fn of(word: &words::Site) -> Self {
        Self {
            name: word.name.clone(),
            time_zone: word.time_zone.name().to_owned(),
            currency: word.currency.code(),
            working_week: weekdays(&word.working_week),
            service_level: word.service_level,
            walk_rooms_min: word.walk_rooms_min,
            walk_buildings_min: word.walk_buildings_min,
        }
    }
}

pub(crate) fn week(days: &[Weekday]) -> Week {
    Week::of(days.iter().map(|day| day.0.weekday()))
}

pub(crate) fn weekdays(week: &Week) -> Vec<Weekday> {
    week.days().map(|day| Code(day.into())).collect()
}

/// Part of a site with one growing environment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "North room", "room_use": "growing", "growing_area_m2": 42.0, "plant_places": 600,
    "hygiene_rank": 2, "building": "Old house", "bands": [{"metric": "air_temperature", "low": 18.0, "aim": 21.0, "high": 25.0}]}))]
pub struct NewRoom {
    /// Unique in the site.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// What it is used for.
    pub room_use: RoomUse,
    /// Growing area, m².
    #[serde(default)]
    #[schema(minimum = 0.01, maximum = 1000000)]
    pub growing_area_m2: Option<f64>,
    /// Places for plants.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 100000000)]
    pub plant_places: Option<u32>,
    /// A round goes from clean (low) to dirty (high); quarantine always comes last.
    #[schema(minimum = 0, maximum = 255)]
    pub hygiene_rank: u8,
    /// The building it is in; rooms that name none are in one together.
    #[serde(default)]
    #[schema(max_length = 120)]
    pub building: Option<String>,
    /// Bands of the air where no programme gives any.
    #[serde(default)]
    #[schema(max_items = 12)]
    pub bands: Vec<Band>,
}

impl Body for NewRoom {
    type Word = words::Room;

    fn word(&self) -> Result<words::Room, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        if let Some(area) = self.growing_area_m2 {
            faults.range("/growing_area_m2", area, 0.01, 1e6);
        }
        if let Some(building) = &self.building {
            faults.text("/building", building, 120);
        }
        let bands = Band::words(&self.bands, "/bands", &mut faults);
        faults.or(Some(words::Room {
            name: self.name.trim().to_owned(),
            room_use: self.room_use.0,
            growing_area_m2: self.growing_area_m2,
            plant_places: self.plant_places,
            hygiene_rank: self.hygiene_rank,
            building: self.building.as_ref().map(|building| building.trim().to_owned()),
            bands,
        }))
    }

    fn of(word: &words::Room) -> Self {
        Self {
            name: word.name.clone(),
            room_use: Code(word.room_use),
            growing_area_m2: word.growing_area_m2,
            plant_places: word.plant_places,
            hygiene_rank: word.hygiene_rank,
            building: word.building.clone(),
            bands: word.bands.iter().map(Band::from).collect(),
        }
    }
}
