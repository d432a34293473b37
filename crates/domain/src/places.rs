//! Places: sites, rooms, tanks and the water they are filled with.

use chrono::NaiveDate;
use chrono_tz::Tz;

use crate::code::coded;
use crate::growing::spans;
use crate::{Band, Currency, Days, Id, Week};

/// The id of a site.
pub type SiteId = Id<Site>;
/// The id of a room.
pub type RoomId = Id<Room>;
/// The id of a tank.
pub type TankId = Id<Tank>;
/// The id of a water source.
pub type WaterSourceId = Id<WaterSource>;

/// One address with one time zone, one currency, one working week and its own stock.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Unique in the business.
    pub name: String,
    /// Local time, "today" and windows of the site follow it.
    pub time_zone: Tz,
    /// ISO 4217 code. Currencies are never summed.
    pub currency: Currency,
    /// The weekdays on which staff work.
    pub working_week: Week,
    /// Chance of not running out that orders are planned for.
    pub service_level: f64,
    /// Minutes of walking from a room to another of the same building.
    pub walk_rooms_min: u32,
    /// Minutes of walking from a building to another.
    pub walk_buildings_min: u32,
}

/// Days on which nobody works at a site though the week says so.
#[derive(Debug, Clone, PartialEq)]
pub struct Closure {
    /// First and last day.
    pub days: Days,
    /// Why.
    pub reason: String,
}

coded! {
    /// What a room is used for.
    RoomUse {
        /// Seeds and cuttings.
        Propagation = "propagation",
        /// Plants kept for cuttings.
        StockPlants = "stock_plants",
        /// Growing on.
        Growing = "growing",
        /// Bearing a crop.
        Cropping = "cropping",
        /// Several of these.
        Mixed = "mixed",
        /// New or suspect plants, apart from the rest.
        Quarantine = "quarantine",
    }
}

/// Part of a site with one growing environment.
#[derive(Debug, Clone, PartialEq)]
pub struct Room {
    /// Unique in the site.
    pub name: String,
    /// What it is used for.
    pub room_use: RoomUse,
    /// Growing area, m².
    pub growing_area_m2: Option<f64>,
    /// Places for plants.
    pub plant_places: Option<u32>,
    /// A round goes from clean (low) to dirty (high); quarantine always comes last.
    pub hygiene_rank: u8,
    /// The building it is in; rooms that name none are in one together.
    pub building: Option<String>,
    /// Bands of the air where no programme gives any.
    pub bands: Vec<Band>,
}

/// How a tank works.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TankMode {
    /// The drain comes back; changed at an interval.
    Recirculating,
    /// The drain is let go; no turnover and no change interval.
    RunToWaste,
    /// Filled, used up, filled again.
    Batch,
    /// A concentrate made on site behind a doser.
    StockTank {
        /// Parts of water to one part of concentrate.
        ratio: f64,
    },
}

impl TankMode {
    /// Its code, without the ratio.
    pub fn code(self) -> &'static str {
        match self {
            TankMode::Recirculating => "recirculating",
            TankMode::RunToWaste => "run_to_waste",
            TankMode::Batch => "batch",
            TankMode::StockTank { .. } => "stock_tank",
        }
    }

    /// The mode with this code; only a stock tank has a ratio, and it needs one.
    pub fn from_code(code: &str, ratio: Option<f64>) -> Option<TankMode> {
        match (code, ratio) {
            ("recirculating", None) => Some(TankMode::Recirculating),
            ("run_to_waste", None) => Some(TankMode::RunToWaste),
            ("batch", None) => Some(TankMode::Batch),
            ("stock_tank", Some(ratio)) => Some(TankMode::StockTank { ratio }),
            _ => None,
        }
    }

    /// Whether its solution is changed as a whole from time to time.
    pub fn is_changed(self) -> bool {
        matches!(self, TankMode::Recirculating | TankMode::Batch)
    }
}

/// Stands at a site and feeds one or more rooms.
#[derive(Debug, Clone, PartialEq)]
pub struct Tank {
    /// Unique in the site.
    pub name: String,
    /// How it works.
    pub mode: TankMode,
    /// Working volume at its fill mark, L.
    pub fill_mark_l: f64,
    /// The water it is filled with.
    pub water_source: Option<WaterSourceId>,
    /// Whether it takes two people to change it.
    pub two_people_change: bool,
    /// Its own bands, in force while no feed leads it.
    pub bands: Vec<Band>,
}

/// Which room a tank feeds from when until when.
#[derive(Debug, Clone, PartialEq)]
pub struct TankRoom {
    /// The tank.
    pub tank: TankId,
    /// The room it feeds.
    pub room: RoomId,
    /// First day.
    pub from: NaiveDate,
    /// Last day, open when unknown.
    pub until: Option<NaiveDate>,
    /// The room's share of what the tank gives, by plants or area; 0 to 1.
    pub share: f64,
}

/// The first day on which a tank would give more than all it gives: the shares in force together exceed 1, but for
/// what is lost in writing a third as a decimal.
pub fn over_shared(new: &TankRoom, others: &[TankRoom]) -> Option<NaiveDate> {
    let of_tank = || others.iter().filter(|other| other.tank == new.tank).chain([new]);
    let in_force = |day| of_tank().filter(move |fed| spans(fed.from, fed.until, day));
    let share = |day| in_force(day).map(|fed| fed.share).sum::<f64>();
    // A sum grows only on a day on which a share begins.
    let begin = of_tank().map(|fed| fed.from).filter(|day| spans(new.from, new.until, *day));
    begin.filter(|day| share(*day) > 1.001).min()
}

/// Days on which a tank is out of use: its checks are excused and its forecast rests.
#[derive(Debug, Clone, PartialEq)]
pub struct OutOfUse {
    /// The tank.
    pub tank: TankId,
    /// First day.
    pub from: NaiveDate,
    /// Last day, open when unknown.
    pub until: Option<NaiveDate>,
    /// Why.
    pub reason: String,
}

/// The water of a site as analysed.
#[derive(Debug, Clone, PartialEq)]
pub struct WaterSource {
    /// Unique in the site.
    pub name: String,
    /// EC, mS/cm at 25 °C.
    pub ec_ms_cm: f64,
    /// pH.
    pub ph: Option<f64>,
    /// Alkalinity, meq/L.
    pub alkalinity_meq_l: Option<f64>,
    /// Day of the analysis.
    pub analysed_on: Option<NaiveDate>,
}

/// What a meq/L of alkalinity conducts at least, mS/cm: sodium and bicarbonate, the slowest pair of ions in waters, 50.1 and 44.5
/// S cm²/mol (CRC Handbook, from memory), less a tenth at the strength of hard water.
const EC_PER_MEQ_L: f64 = 0.085;

/// Drop kits count to half a meq/L; common practice, no source.
const KIT_MEQ_L: f64 = 0.5;

/// The most alkalinity that water of an EC can hold, meq/L.
pub fn most_alkalinity_meq_l(ec_ms_cm: f64) -> f64 {
    ec_ms_cm / EC_PER_MEQ_L + KIT_MEQ_L
}

/// Milligrams of CaCO3 to one milliequivalent: half its molar mass of 100.087 g/mol (IUPAC 2021 atomic masses).
pub const CACO3_MG_PER_MEQ: f64 = 50.043;

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    fn fed(share: f64, from: &str, until: Option<&str>) -> TankRoom {
        let [tank, room] = [1, 2].map(Uuid::from_u128);
        let day = |text: &str| format!("2026-{text}").parse().unwrap();
        TankRoom { tank: Id::new(tank), room: Id::new(room), from: day(from), until: until.map(day), share }
    }

    #[track_caller]
    fn check(new: TankRoom, others: &[TankRoom], expected: Option<&str>) {
        let found = over_shared(&new, others).map(|day| day.to_string());
        assert_eq!(found.as_deref(), expected);
    }

    #[test]
    fn a_tank_gives_no_more_than_all_it_gives() {
        let third = || fed(0.3334, "01-01", None);
        check(third(), &[third(), third()], None);
        check(fed(0.5, "01-01", None), &[fed(0.6, "03-01", None)], Some("2026-03-01"));
        check(fed(0.5, "03-01", None), &[fed(0.6, "01-01", Some("03-01"))], Some("2026-03-01"));
        check(fed(0.5, "03-02", None), &[fed(0.6, "01-01", Some("03-01"))], None);
        // Two that follow one another are never in force together.
        let others = [fed(0.6, "01-01", Some("02-01")), fed(0.6, "02-02", None)];
        check(fed(0.4, "01-01", None), &others, None);
    }
}
