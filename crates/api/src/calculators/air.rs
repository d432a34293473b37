//! Moisture of the air, and light of a day.

use fillmark_advice::solution::calculate::air as words;
use fillmark_domain::{Faults, Metric};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{figure, ranged};
use crate::Quantity;

/// Temperature and humidity, flux and hours, or both pairs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"air_temperature": {"value": 24.5, "unit": "Cel"},
    "relative_humidity": {"value": 60, "unit": "%"}, "leaf_temperature": null,
    "ppfd": {"value": 250, "unit": "umol/m2/s"}, "light_hours": 16}))]
pub struct AirQuestion {
    /// Temperature of the air.
    #[serde(default)]
    pub air_temperature: Option<Quantity>,
    /// Relative humidity.
    #[serde(default)]
    pub relative_humidity: Option<Quantity>,
    /// Temperature of the leaf; the air's, if nothing is said.
    #[serde(default)]
    pub leaf_temperature: Option<Quantity>,
    /// Photosynthetic photon flux density.
    #[serde(default)]
    pub ppfd: Option<Quantity>,
    /// Hours of light a day.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 24)]
    pub light_hours: Option<f64>,
}

impl AirQuestion {
    /// As it is asked inside.
    /// # Errors
    /// All fields that cannot be taken.
    pub fn word(&self) -> Result<words::AirQuestion, Faults> {
        let mut faults = Faults::default();
        ranged(self.light_hours, (0.0, 24.0), "/light_hours", &mut faults);
        let mut of = |quantity: Option<Quantity>, metric, pointer| {
            quantity.and_then(|quantity| quantity.of(metric, pointer, &mut faults))
        };
        let question = words::AirQuestion {
            air_c: of(self.air_temperature, Metric::AirTemperature, "/air_temperature"),
            humidity_percent: of(self.relative_humidity, Metric::RelativeHumidity, "/relative_humidity"),
            leaf_c: of(self.leaf_temperature, Metric::AirTemperature, "/leaf_temperature"),
            ppfd_umol_m2_s: of(self.ppfd, Metric::Ppfd, "/ppfd"),
            light_h: self.light_hours,
        };
        faults.or(Some(question))
    }
}

/// What follows from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "moisture": {"dew_point_c": 16.2, "saturation_kpa": 3.075, "vapour_kpa": 1.845, "vpd_kpa": 1.23, "water_g_m3": 13.43},
    "dli_mol_m2": 14.4,
    "reasons": ["Vapour pressure by FAO Paper 56, equation 11.",
        "The light is taken to be constant for these hours."],
    "cautions": ["The leaf is taken to be as warm as the air; two degrees cooler or warmer it lacks 0.88 or 1.62 kPa."]}))]
pub struct AirAnswer {
    /// How moist the air is; null where temperature and humidity were not told.
    pub moisture: Option<Moisture>,
    /// Daily light integral, mol/m²; null where flux and hours were not told.
    pub dli_mol_m2: Option<f64>,
    /// Why the figures are so.
    #[schema(max_items = 20)]
    pub reasons: Vec<String>,
    /// What to beware of.
    #[schema(max_items = 20)]
    pub cautions: Vec<String>,
}

/// How moist the air is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Moisture {
    /// Saturation vapour pressure at the air's temperature, kPa.
    pub saturation_kpa: f64,
    /// Vapour pressure, kPa.
    pub vapour_kpa: f64,
    /// Vapour pressure deficit at the leaf, kPa; below nought where dew forms on it.
    pub vpd_kpa: f64,
    /// Dew point, °C.
    pub dew_point_c: f64,
    /// Water in the air, g/m³.
    pub water_g_m3: f64,
}

impl From<&words::Air> for AirAnswer {
    fn from(air: &words::Air) -> Self {
        Self {
            moisture: air.moisture.map(|moisture| Moisture {
                saturation_kpa: figure(moisture.saturation_kpa),
                vapour_kpa: figure(moisture.vapour_kpa),
                vpd_kpa: figure(moisture.deficit_kpa),
                dew_point_c: (moisture.dew_point_c * 10.0).round() / 10.0,
                water_g_m3: figure(moisture.water_g_m3),
            }),
            dli_mol_m2: air.light_mol_m2.map(figure),
            reasons: air.reasons.iter().map(reason).collect(),
            cautions: air.cautions.iter().map(caution).collect(),
        }
    }
}

fn reason(reason: &words::Reason) -> String {
    match reason {
        words::Reason::FaoVapourPressure => "Vapour pressure by FAO Paper 56, equation 11.".into(),
        words::Reason::ConstantLight => "The light is taken to be constant for these hours.".into(),
    }
}

fn caution(caution: &words::Caution) -> String {
    match caution {
        words::Caution::LeafTakenForAir { from_kpa, to_kpa } => format!(
            "The leaf is taken to be as warm as the air; two degrees cooler or warmer it lacks {from_kpa:.2} or {to_kpa:.2} kPa."
        ),
        words::Caution::DewOnLeaf => "The leaf is not above the dew point: water settles on it.".into(),
    }
}
