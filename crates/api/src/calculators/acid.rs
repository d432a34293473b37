//! A water, a product and a target; the dose and what it does.

use fillmark_advice::solution::calculate::acid as words;
use fillmark_domain::{Dimension, Faults};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{ElementAmount, LITRES, PH, SOLUTION_C, figure, measured, ranged, told};
use crate::Quantity;
use crate::stock::Reagent;

/// A water that shall come to a pH.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"water": {"ph": 7.8, "alkalinity": {"value": 150, "unit": "mg{CaCO3}/L"}},
    "volume": {"value": 1000, "unit": "L"}, "temperature": {"value": 25, "unit": "Cel"},
    "product": {"reagent": "nitric_acid", "strength_percent": 60, "density_kg_per_l": null}, "target_ph": 6.0}))]
pub struct AcidQuestion {
    /// The water.
    pub water: AcidWater,
    /// How much of it.
    pub volume: Quantity,
    /// How warm it is; 20 °C, if nothing is said.
    #[serde(default)]
    pub temperature: Option<Quantity>,
    /// What is given.
    pub product: AcidProduct,
    /// pH wanted.
    #[schema(minimum = 3, maximum = 11)]
    pub target_ph: f64,
}

/// A water by its pH and alkalinity.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AcidWater {
    /// pH, freshly drawn.
    #[schema(minimum = 0, maximum = 14)]
    pub ph: f64,
    /// Alkalinity: `meq/L`, `mg{CaCO3}/L`, `mg{HCO3}/L`, `dH`…
    pub alkalinity: Quantity,
}

/// An acid or alkali as it is sold.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AcidProduct {
    /// What it is.
    pub reagent: Reagent,
    /// How much of it, per cent by weight.
    #[schema(minimum = 0.01, maximum = 100)]
    pub strength_percent: f64,
    /// Density by the label, kg/L; by table, if nothing is said.
    #[serde(default)]
    #[schema(minimum = 0.5, maximum = 3)]
    pub density_kg_per_l: Option<f64>,
}

/// Of a water whose temperature nobody told, °C.
const ROOM_C: f64 = 20.0;

impl AcidQuestion {
    /// As chemistry asks it.
    /// # Errors
    /// All fields that cannot be taken.
    pub fn word(&self) -> Result<words::AcidQuestion, Faults> {
        let mut faults = Faults::default();
        ranged(Some(self.water.ph), PH, "/water/ph", &mut faults);
        ranged(Some(self.target_ph), (3.0, 11.0), "/target_ph", &mut faults);
        ranged(Some(self.product.strength_percent), (0.01, 100.0), "/product/strength_percent", &mut faults);
        ranged(self.product.density_kg_per_l, (0.5, 3.0), "/product/density_kg_per_l", &mut faults);
        let alkalinity = measured(
            self.water.alkalinity,
            Dimension::ChargeConcentration,
            (0.0, 50.0),
            "/water/alkalinity",
            &mut faults,
        );
        let litres = measured(self.volume, Dimension::Volume, LITRES, "/volume", &mut faults);
        let temperature = self.temperature.map_or(Some(ROOM_C), |temperature| {
            measured(temperature, Dimension::Temperature, SOLUTION_C, "/temperature", &mut faults)
        });
        let (Some(alkalinity_meq_l), Some(water_l), Some(temperature_c)) = (alkalinity, litres, temperature)
        else {
            return Err(faults);
        };
        faults.or(Some(words::AcidQuestion {
            water_ph: self.water.ph,
            alkalinity_meq_l,
            water_l,
            temperature_c,
            reagent: self.product.reagent.0,
            strength_percent: self.product.strength_percent,
            density_kg_l: self.product.density_kg_per_l,
            target_ph: self.target_ph,
        }))
    }
}

/// The dose and what it does.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "volume_ml": 153.4,
    "dose_mmol_l": 1.997,
    "adds": [{"element": "N", "mg_l": 27.97}],
    "alkalinity_left_meq_l": 1.0,
    "ph_after_aeration": 8.14,
    "reasons": ["The dose is what brings the water to the target while its carbon dioxide stays in.",
        "The product has 13.02 mol/L: its strength at 1.367 kg/L by table at 20 °C.",
        "Left standing or bubbled, it comes to rest with air of 420 ppm carbon dioxide."],
    "cautions": ["Burns skin and eyes: wear eye and hand protection, and add it to water, never water to it.",
        "Never bring acid and a chlorine cleaner together: toxic gas. Rinse well between them.",
        "Feeds fire: keep it apart from fuels, paper, wood and other organic matter.",
        "Label and safety data sheet come first.",
        "Give 92.05 mL first, mix, measure, then the rest in parts: what is too much has to be brought back.",
        "Under air the pH climbs towards 8.1 as carbon dioxide leaves: measure again later.",
        "What the product adds counts in the recipe."]}))]
pub struct AcidAnswer {
    /// Of the product for all of the water, mL.
    pub volume_ml: f64,
    /// Of the acid or alkali itself in the water, mmol/L.
    pub dose_mmol_l: f64,
    /// What it adds of each element.
    #[schema(max_items = 15)]
    pub adds: Vec<ElementAmount>,
    /// Alkalinity left, to pH 4.5, meq/L.
    pub alkalinity_left_meq_l: f64,
    /// pH once the water has come to rest with the air.
    pub ph_after_aeration: f64,
    /// Why the figures are so.
    #[schema(max_items = 20)]
    pub reasons: Vec<String>,
    /// What to beware of.
    #[schema(max_items = 20)]
    pub cautions: Vec<String>,
}

impl From<&words::AcidDose> for AcidAnswer {
    fn from(dose: &words::AcidDose) -> Self {
        Self {
            volume_ml: figure(dose.volume_ml),
            dose_mmol_l: figure(dose.dose_mmol_l),
            adds: dose.adds.iter().map(ElementAmount::from).collect(),
            alkalinity_left_meq_l: figure(dose.alkalinity_left_meq_l),
            ph_after_aeration: (dose.ph_after_aeration * 100.0).round() / 100.0,
            reasons: told::reasons(&dose.reasons),
            cautions: told::cautions(&dose.cautions),
        }
    }
}
