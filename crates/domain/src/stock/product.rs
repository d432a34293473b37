//! Products and what their labels say.

use chrono::{DateTime, Utc};

use crate::code::coded;
use crate::{Base, Id};

coded! {
    /// What a product is for.
    ProductKind {
        /// Liquid nutrient, dosed in mL per litre.
        Concentrate = "concentrate",
        /// Dry nutrient.
        Salt = "salt",
        /// Acid or alkali that moves the pH.
        PhAdjuster = "ph_adjuster",
        /// Anything else that goes into a tank.
        Additive = "additive",
        /// Never into a fed tank: disinfectants, descalers.
        CleaningAgent = "cleaning_agent",
    }
}

/// Something bought to be poured. What it contains stands on its label and may change: see [`LabelRevision`].
#[derive(Debug, Clone, PartialEq)]
pub struct Product {
    /// As people call it; unique among what is not archived.
    pub name: String,
    /// Counted in mL or in g.
    pub base: Base,
    /// What it is for.
    pub kind: ProductKind,
    /// Order of pouring: lower first. Silicates come before calcium (part A), and that before sulphate and
    /// phosphate (part B), because undiluted they fall out of solution together.
    pub mixing_rank: i16,
    /// Parts that are useless without each other, such as A with B. Ordered in step.
    pub goes_with: Vec<Id<Product>>,
    /// Hazards, in the words of label and safety data sheet.
    pub hazards: String,
    /// How it is stored.
    pub storage: String,
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

/// The guaranteed analysis, in the label's own oxides: conversion to elements is arithmetic, not a fact of the label.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Analysis {
    /// Total nitrogen, %.
    pub n_percent: f64,
    /// Phosphate as P2O5, %.
    pub p2o5_percent: f64,
    /// Potash as K2O, %.
    pub k2o_percent: f64,
    /// What the percentages are of.
    pub basis: Basis,
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
    /// Strength of an acid or alkali; without it no amount is advised.
    pub strength: Option<AcidStrength>,
    /// Dose at full strength: mL/L of a liquid, g/L of a solid.
    pub full_strength_per_l: Option<f64>,
    /// EC that one mL (or g) in one litre adds, mS/cm at 25 °C.
    pub ec_rise_per_unit_per_l: Option<f64>,
}
