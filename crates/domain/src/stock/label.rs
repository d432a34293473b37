//! What labels say: what a product contains, how strong it is, how it is dosed.
//!
//! To add something labels declare: a word here, and what it becomes in water in `advice::solution::label`.

use chrono::{DateTime, Utc};

use super::Product;
use crate::Id;
use crate::code::coded;

coded! {
    /// What a label declares. Phosphorus and potassium are declared as oxides in most countries.
    Declared {
        /// Nitrogen, its form not told.
        Nitrogen = "n",
        /// Nitrogen as nitrate.
        NitrateNitrogen = "nitrate_n",
        /// Nitrogen as ammonium.
        AmmoniumNitrogen = "ammonium_n",
        /// Nitrogen as urea, which does not conduct.
        UreaNitrogen = "urea_n",
        /// Phosphorus as P₂O₅.
        PhosphorusPentoxide = "p2o5",
        /// Phosphorus.
        Phosphorus = "p",
        /// Potassium as K₂O.
        PotassiumOxide = "k2o",
        /// Potassium.
        Potassium = "k",
        /// Calcium as CaO.
        CalciumOxide = "cao",
        /// Calcium.
        Calcium = "ca",
        /// Magnesium as MgO.
        MagnesiumOxide = "mgo",
        /// Magnesium.
        Magnesium = "mg",
        /// Sulfur as SO₃.
        SulfurTrioxide = "so3",
        /// Sulfur.
        Sulfur = "s",
        /// Sodium.
        Sodium = "na",
        /// Chlorine, as chloride.
        Chlorine = "cl",
        /// Silicon as SiO₂.
        SiliconDioxide = "sio2",
        /// Iron; in feeds it is chelated, and counted as an element but not as an ion.
        Iron = "fe",
        /// Manganese.
        Manganese = "mn",
        /// Zinc.
        Zinc = "zn",
        /// Copper.
        Copper = "cu",
        /// Boron.
        Boron = "b",
        /// Molybdenum.
        Molybdenum = "mo",
    }
}

coded! {
    /// An acid or base for correcting pH.
    Reagent {
        /// Phosphoric acid.
        Phosphoric = "phosphoric_acid",
        /// Nitric acid.
        Nitric = "nitric_acid",
        /// Sulfuric acid.
        Sulfuric = "sulfuric_acid",
        /// Hydrochloric acid.
        Hydrochloric = "hydrochloric_acid",
        /// Citric acid; bacteria eat it, and the pH comes back.
        Citric = "citric_acid",
        /// Potassium hydroxide.
        PotassiumHydroxide = "potassium_hydroxide",
        /// Potassium carbonate.
        PotassiumCarbonate = "potassium_carbonate",
        /// Potassium bicarbonate.
        PotassiumBicarbonate = "potassium_bicarbonate",
    }
}

impl Reagent {
    /// Whether it lowers the pH.
    pub const fn is_acid(self) -> bool {
        match self {
            Reagent::Phosphoric
            | Reagent::Nitric
            | Reagent::Sulfuric
            | Reagent::Hydrochloric
            | Reagent::Citric => true,
            Reagent::PotassiumHydroxide | Reagent::PotassiumCarbonate | Reagent::PotassiumBicarbonate => {
                false
            }
        }
    }
}

coded! {
    /// What the percentages of a label are of.
    Basis {
        /// g in 100 g of product.
        WeightPerWeight = "w/w",
        /// g in 100 mL of product.
        WeightPerVolume = "w/v",
    }
}

/// The guaranteed analysis as the label has it: conversion to elements is arithmetic, not a fact of the label.
#[derive(Debug, Clone, PartialEq)]
pub struct Analysis {
    /// What the percentages are of.
    pub basis: Basis,
    /// What is declared, and how many per cent of it; each word once.
    pub declared: Vec<(Declared, f64)>,
}

/// How strong an acid or alkali is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AcidStrength {
    /// Percent of the pure acid or alkali by weight.
    PercentByWeight(f64),
    /// mol per litre.
    MolPerLitre(f64),
}

/// What a label said from an instant on. Never edited: what was poured earlier was poured under the label of that time.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelRevision {
    /// Whose label.
    pub product: Id<Product>,
    /// In force from here until the next revision.
    pub effective_at: DateTime<Utc>,
    /// Guaranteed analysis, where there is one.
    pub analysis: Option<Analysis>,
    /// Density, kg/L; joins weight and volume.
    pub density_kg_per_l: Option<f64>,
    /// Which acid or alkali it is, of a product that moves the pH.
    pub reagent: Option<Reagent>,
    /// Its strength; without reagent and strength no amount is advised.
    pub strength: Option<AcidStrength>,
    /// Dose at full strength: mL/L of a liquid, g/L of a solid.
    pub full_strength_per_l: Option<f64>,
    /// EC that one mL (or g) in one litre adds, mS/cm at 25 °C.
    pub ec_rise_per_unit_per_l: Option<f64>,
}
