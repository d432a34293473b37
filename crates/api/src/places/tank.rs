//! Tanks and the water they are filled with.

use chrono::NaiveDate;
use fillmark_domain::metric::Dimension;
use fillmark_domain::places::{self as words, CACO3_MG_PER_MEQ};
use fillmark_domain::{Faults, Id, Metric, Unit};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Band, Body, Patch, Quantity, Stored};

/// A tank as kept.
pub type Tank = Stored<NewTank>;
/// A change of a tank.
pub type TankPatch = Patch<NewTank>;
/// A water source as kept.
pub type WaterSource = Stored<NewWaterSource>;
/// A change of a water source.
pub type WaterSourcePatch = Patch<NewWaterSource>;

/// How a tank works.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TankMode {
    /// The drain comes back; changed at an interval.
    Recirculating,
    /// The drain is let go.
    RunToWaste,
    /// Filled, used up, filled again.
    Batch,
    /// A concentrate made on site behind a doser.
    StockTank,
}

/// A tank that feeds one or more rooms.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "North 1", "mode": "recirculating", "stock_ratio": null,
    "fill_mark": {"value": 400.0, "unit": "L"}, "water_source_id": null, "two_people_change": false, "bands": []}))]
pub struct NewTank {
    /// Unique in the site.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// How it works.
    pub mode: TankMode,
    /// Parts of water to one part of concentrate; for a stock tank only.
    #[serde(default)]
    #[schema(minimum = 1.0, maximum = 10000.0)]
    pub stock_ratio: Option<f64>,
    /// Working volume at its fill mark.
    pub fill_mark: Quantity,
    /// The water it is filled with.
    #[serde(default)]
    pub water_source_id: Option<Uuid>,
    /// Whether it takes two people to change it.
    #[serde(default)]
    pub two_people_change: bool,
    /// Its own bands, in force while no feed leads it.
    #[serde(default)]
    #[schema(max_items = 12)]
    pub bands: Vec<Band>,
}

impl Body for NewTank {
    type Word = words::Tank;

    fn word(&self) -> Result<words::Tank, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        let mode =
            self.mode.word(self.stock_ratio).ok_or("expected a ratio for a stock tank, and for no other");
        let mode = faults.take("/stock_ratio", "ratio", mode);
        let fill_mark_l = self.fill_mark.of(Metric::Volume, "/fill_mark", &mut faults);
        let bands = Band::words(&self.bands, "/bands", &mut faults);
        let tank = mode.zip(fill_mark_l).map(|(mode, fill_mark_l)| words::Tank {
            name: self.name.trim().to_owned(),
            mode,
            fill_mark_l,
            water_source: self.water_source_id.map(Id::new),
            two_people_change: self.two_people_change,
            bands,
        });
        faults.or(tank)
    }

    fn of(word: &words::Tank) -> Self {
        let (mode, stock_ratio) = TankMode::of(word.mode);
        Self {
            name: word.name.clone(),
            mode,
            stock_ratio,
            fill_mark: Quantity::new(word.fill_mark_l, Unit::Litre),
            water_source_id: word.water_source.map(Id::uuid),
            two_people_change: word.two_people_change,
            bands: word.bands.iter().map(Band::from).collect(),
        }
    }
}

impl TankMode {
    fn word(self, ratio: Option<f64>) -> Option<words::TankMode> {
        match (self, ratio) {
            (TankMode::Recirculating, None) => Some(words::TankMode::Recirculating),
            (TankMode::RunToWaste, None) => Some(words::TankMode::RunToWaste),
            (TankMode::Batch, None) => Some(words::TankMode::Batch),
            (TankMode::StockTank, Some(ratio)) => Some(words::TankMode::StockTank { ratio }),
            _ => None,
        }
    }

    fn of(mode: words::TankMode) -> (TankMode, Option<f64>) {
        match mode {
            words::TankMode::Recirculating => (TankMode::Recirculating, None),
            words::TankMode::RunToWaste => (TankMode::RunToWaste, None),
            words::TankMode::Batch => (TankMode::Batch, None),
            words::TankMode::StockTank { ratio } => (TankMode::StockTank, Some(ratio)),
        }
    }
}

/// The water of a site as analysed. Dosing starts from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Well", "ec": {"value": 0.35, "unit": "mS/cm"}, "ph": 7.4,
    "alkalinity": {"value": 120.0, "unit": "mg/L"}, "analysed_on": "2026-09-01"}))]
pub struct NewWaterSource {
    /// Unique in the site.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// Its conductivity.
    pub ec: Quantity,
    /// Its pH.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 14)]
    pub ph: Option<f64>,
    /// Its alkalinity: mg/L as CaCO3, or meq/L.
    #[serde(default)]
    pub alkalinity: Option<Quantity>,
    /// Day of the analysis.
    #[serde(default)]
    pub analysed_on: Option<NaiveDate>,
}

impl Body for NewWaterSource {
    type Word = words::WaterSource;

    fn word(&self) -> Result<words::WaterSource, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        if let Some(ph) = self.ph {
            faults.range("/ph", ph, 0.0, 14.0);
        }
        let ec_ms_cm = self.ec.of(Metric::Ec, "/ec", &mut faults);
        let alkalinity_meq_l = self.alkalinity.and_then(|entered| alkalinity(entered, &mut faults));
        if let (Some(ec_ms_cm), Some(meq_l)) = (ec_ms_cm, alkalinity_meq_l) {
            let most = words::most_alkalinity_meq_l(ec_ms_cm);
            let detail = format!(
                "expected at most {most:.1} meq/L ({:.0} mg/L as CaCO3): water of this EC holds no more",
                most * CACO3_MG_PER_MEQ
            );
            faults.unless(meq_l <= most, "/alkalinity", "out_of_range", detail);
        }
        let source = ec_ms_cm.map(|ec_ms_cm| words::WaterSource {
            name: self.name.trim().to_owned(),
            ec_ms_cm,
            ph: self.ph,
            alkalinity_meq_l,
            analysed_on: self.analysed_on,
        });
        faults.or(source)
    }

    fn of(word: &words::WaterSource) -> Self {
        Self {
            name: word.name.clone(),
            ec: Quantity::new(word.ec_ms_cm, Unit::MilliSiemensPerCm),
            ph: word.ph,
            alkalinity: word
                .alkalinity_meq_l
                .map(|meq_l| Quantity::new(meq_l, Unit::MilliequivalentPerLitre)),
            analysed_on: word.analysed_on,
        }
    }
}

fn alkalinity(entered: Quantity, faults: &mut Faults) -> Option<f64> {
    let canonical = entered.word().canonical();
    let meq_l = match entered.unit.0.dimension() {
        Dimension::ChargeConcentration => canonical,
        Dimension::MassConcentration => canonical / CACO3_MG_PER_MEQ,
        _ => {
            faults.add("/alkalinity", "wrong_unit", "expected mg/L as CaCO3 or meq/L");
            return None;
        }
    };
    faults.range("/alkalinity", meq_l, 0.0, 50.0);
    Some(meq_l)
}
