//! A recipe and what it comes to.

use fillmark_advice::solution::calculate::solution as words;
use fillmark_advice::solution::label;
use fillmark_domain::stock;
use fillmark_domain::{Dimension, Faults};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{ElementAmount, LITRES, PH, at_most, figure, measured, ranged, told};
use crate::Quantity;
use crate::stock::{Basis, DeclaredPercent, declared};

/// Of salts, products or ions no recipe has more.
const MOST: usize = 40;

/// Salts and products, and the water they go into.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"volume": {"value": 100, "unit": "[gal_us]"},
    "salts": [{"formula": "5Ca(NO3)2.NH4NO3.10H2O", "as_sold": false, "amount": {"value": 184, "unit": "g"}},
        {"formula": "NH4NO3", "as_sold": false, "amount": {"value": 14.4, "unit": "g"}},
        {"formula": "KNO3", "as_sold": false, "amount": {"value": 167.3, "unit": "g"}},
        {"formula": "KH2PO4", "as_sold": false, "amount": {"value": 51.5, "unit": "g"}},
        {"formula": "MgSO4.7H2O", "as_sold": false, "amount": {"value": 93.1, "unit": "g"}}],
    "products": [], "water": null}))]
pub struct SolutionQuestion {
    /// The solution that the amounts are for; one litre, if nothing is said.
    #[serde(default)]
    pub volume: Option<Quantity>,
    /// Salts by their formula.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub salts: Vec<SaltAmount>,
    /// Products by their label.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub products: Vec<ProductAmount>,
    /// The water; pure, if nothing is said.
    #[serde(default)]
    pub water: Option<WaterKnown>,
}

/// A salt and how much of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SaltAmount {
    /// Formula; points join parts: `MgSO4.7H2O`.
    #[schema(min_length = 1, max_length = 60)]
    pub formula: String,
    /// Whether it is the salt as it is sold for feeds, by its usual analysis, instead of the pure one. `Ca(NO3)2` as sold is
    /// the double salt with ammonium.
    #[serde(default)]
    pub as_sold: bool,
    /// A mass.
    pub amount: Quantity,
}

/// A product and how much of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProductAmount {
    /// What the label declares.
    #[schema(min_items = 1, max_items = 40)]
    pub analysis: Vec<DeclaredPercent>,
    /// What the percentages are of.
    pub basis: Basis,
    /// Density, kg/L: joins a volume with percentages by weight.
    #[serde(default)]
    #[schema(minimum = 0.5, maximum = 3)]
    pub density_kg_per_l: Option<f64>,
    /// A volume or a mass.
    pub amount: Quantity,
}

/// What is known of a water.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"ec": {"value": 0.6, "unit": "mS/cm"}, "ph": 7.6,
    "alkalinity": {"value": 150, "unit": "mg{CaCO3}/L"}, "ions": []}))]
pub struct WaterKnown {
    /// Conductivity at 25 °C.
    #[serde(default)]
    pub ec: Option<Quantity>,
    /// pH; needed with alkalinity or ions.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 14)]
    pub ph: Option<f64>,
    /// Alkalinity: `meq/L`, `mg{CaCO3}/L`, `mg{HCO3}/L`, `dH`…
    #[serde(default)]
    pub alkalinity: Option<Quantity>,
    /// Ions of an analysis.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub ions: Vec<IonAmount>,
}

/// An ion and how much of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"ion": "Ca", "amount": {"value": 80, "unit": "mg/L"}}))]
pub struct IonAmount {
    /// Its formula without charge: `Ca`, `NO3`, `HCO3`.
    #[schema(min_length = 1, max_length = 20)]
    pub ion: String,
    /// Mass of the ion in a volume; of nitrate itself, not of its nitrogen.
    pub amount: Quantity,
}

impl SolutionQuestion {
    /// As chemistry asks it.
    /// # Errors
    /// All fields that cannot be taken.
    pub fn word(&self) -> Result<words::Recipe, Faults> {
        let mut faults = Faults::default();
        let litres = self
            .volume
            .map_or(Some(1.0), |volume| measured(volume, Dimension::Volume, LITRES, "/volume", &mut faults));
        at_most(self.salts.len(), MOST, "/salts", &mut faults);
        at_most(self.products.len(), MOST, "/products", &mut faults);
        let something = self.water.is_some() || !(self.salts.is_empty() && self.products.is_empty());
        faults.unless(something, "", "needed", "expected salts, products or a water");
        let Some(litres) = litres.filter(|_| faults.is_empty()) else { return Err(faults) };
        let mut recipe = words::Recipe::default();
        for (at, salt) in self.salts.iter().enumerate() {
            let pointer = format!("/salts/{at}");
            recipe.salts.extend(faults.part(&pointer, salt.word(litres)));
        }
        for (at, product) in self.products.iter().enumerate() {
            let pointer = format!("/products/{at}");
            recipe.products.extend(faults.part(&pointer, product.word(litres)));
        }
        recipe.water = self.water.as_ref().and_then(|water| faults.part("/water", water.word()));
        faults.or(Some(recipe))
    }
}

/// More than a kilogram in a litre is no solution.
const PER_LITRE: (f64, f64) = (0.0, 1000.0);

impl SaltAmount {
    fn word(&self, litres: f64) -> Result<words::SaltDose, Faults> {
        let mut faults = Faults::default();
        faults.text("/formula", &self.formula, 60);
        let most = (0.0, PER_LITRE.1 * litres);
        let grams = measured(self.amount, Dimension::Mass, most, "/amount", &mut faults);
        faults.or(grams.map(|grams| words::SaltDose {
            formula: self.formula.trim().to_owned(),
            as_sold: self.as_sold,
            g_l: grams / litres,
        }))
    }
}

impl ProductAmount {
    fn word(&self, litres: f64) -> Result<words::ProductDose, Faults> {
        let mut faults = Faults::default();
        ranged(self.density_kg_per_l, (0.5, 3.0), "/density_kg_per_l", &mut faults);
        let analysis = declared(&self.analysis, self.basis.0, "/analysis", &mut faults);
        let dose = self.dose(litres, &mut faults);
        let basis = match self.basis.0 {
            stock::Basis::WeightPerWeight => label::Basis::MassByMass { density_kg_l: self.density_kg_per_l },
            stock::Basis::WeightPerVolume => label::Basis::MassByVolume,
        };
        faults.or(dose.map(|dose| words::ProductDose { label: label::Label { basis, analysis }, dose }))
    }

    fn dose(&self, litres: f64, faults: &mut Faults) -> Option<label::Dose> {
        let most = (0.0, PER_LITRE.1 * litres);
        if self.amount.unit.0.dimension() == Dimension::Mass {
            let grams = measured(self.amount, Dimension::Mass, most, "/amount", faults)?;
            return Some(label::Dose::GramPerL(grams / litres));
        }
        let poured_l = measured(self.amount, Dimension::Volume, (0.0, litres), "/amount", faults)?;
        Some(label::Dose::MlPerL(1000.0 * poured_l / litres))
    }
}

impl WaterKnown {
    fn word(&self) -> Result<words::Water, Faults> {
        let mut faults = Faults::default();
        ranged(self.ph, PH, "/ph", &mut faults);
        at_most(self.ions.len(), MOST, "/ions", &mut faults);
        let ec_ms_cm =
            self.ec.and_then(|ec| measured(ec, Dimension::Conductivity, (0.0, 20.0), "/ec", &mut faults));
        let alkalinity_meq_l = self.alkalinity.and_then(|alkalinity| {
            measured(alkalinity, Dimension::ChargeConcentration, (0.0, 50.0), "/alkalinity", &mut faults)
        });
        let mut ions_mg_l = Vec::new();
        for (at, ion) in self.ions.iter().take(MOST).enumerate() {
            faults.text(&format!("/ions/{at}/ion"), &ion.ion, 20);
            let pointer = format!("/ions/{at}/amount");
            let range = (0.0, 20_000.0);
            let mg_l = measured(ion.amount, Dimension::MassConcentration, range, &pointer, &mut faults);
            ions_mg_l.extend(mg_l.map(|mg_l| (ion.ion.trim().to_owned(), mg_l)));
        }
        faults.or(Some(words::Water { ec_ms_cm, ph: self.ph, alkalinity_meq_l, ions_mg_l }))
    }
}

/// What a recipe comes to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "ec_ms_cm": 1.504,
    "ec_from_ms_cm": 1.459,
    "ec_to_ms_cm": 1.549,
    "ph": 4.97,
    "ionic_strength_mol_kg": 0.01608,
    "elements": [{"element": "N", "mg_l": 150.2}, {"element": "P", "mg_l": 30.97}, {"element": "K", "mg_l": 210.0}, {"element": "Ca", "mg_l": 90.14}, {"element": "Mg", "mg_l": 24.25}, {"element": "S", "mg_l": 31.99}],
    "reasons": ["EC is summed over the ions that are left unpaired, slowed by one another; measured salts come out within 3 %.",
        "The pH is where the charges balance, with no carbon dioxide gained or lost."],
    "cautions": ["No water was told: the figures are of pure water.",
        "Calcium falls out with sulfate and phosphate where they meet undiluted: dissolve them apart, one after the other.",
        "Nitrates feed fire while they are dry: keep them apart from fuels, paper, wood and other organic matter.",
        "Label and safety data sheet come first."]}))]
pub struct SolutionAnswer {
    /// EC, mS/cm at 25 °C.
    pub ec_ms_cm: f64,
    /// The least it may be.
    pub ec_from_ms_cm: f64,
    /// The most it may be.
    pub ec_to_ms_cm: f64,
    /// pH; null where the charges are not known to balance.
    pub ph: Option<f64>,
    /// Ionic strength of what is left unpaired, mol/kg.
    pub ionic_strength_mol_kg: f64,
    /// What is declared of each element, in the order of labels.
    #[schema(max_items = 15)]
    pub elements: Vec<ElementAmount>,
    /// Why the figures are so.
    #[schema(max_items = 20)]
    pub reasons: Vec<String>,
    /// What to beware of.
    #[schema(max_items = 20)]
    pub cautions: Vec<String>,
}

impl From<&words::Solution> for SolutionAnswer {
    fn from(made: &words::Solution) -> Self {
        Self {
            ec_ms_cm: figure(made.ec_ms_cm),
            ec_from_ms_cm: figure(made.ec_from_ms_cm),
            ec_to_ms_cm: figure(made.ec_to_ms_cm),
            ph: made.ph.map(|ph| (ph * 100.0).round() / 100.0),
            ionic_strength_mol_kg: figure(made.ionic_strength_mol_kg),
            elements: made.elements.iter().map(ElementAmount::from).collect(),
            reasons: told::reasons(&made.reasons),
            cautions: told::cautions(&made.cautions),
        }
    }
}
