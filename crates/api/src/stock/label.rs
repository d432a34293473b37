//! Label revisions.

use fillmark_domain::stock as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{Basis, ranged};
use crate::{Body, Code, Instant, Stored};

/// A label revision as kept.
pub type LabelRevision = Stored<NewLabelRevision>;

/// What a label says from an instant on. Never edited: what was poured earlier was poured under the label of that time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"product_id": "019a0000-0000-7000-8000-000000000003", "effective_at": "2026-11-01T00:00:00Z",
    "analysis": {"n_percent": 4.0, "p2o5_percent": 0.0, "k2o_percent": 3.0, "basis": "w/v"}, "density_kg_per_l": 1.2,
    "strength_percent": null, "strength_mol_per_l": null, "full_strength_per_l": 2.5, "ec_rise_per_unit_per_l": 0.4}))]
pub struct NewLabelRevision {
    /// Whose label.
    pub product_id: Uuid,
    /// In force from here until the next revision.
    pub effective_at: Instant,
    /// Guaranteed analysis.
    #[serde(default)]
    pub analysis: Option<Analysis>,
    /// Density, kg/L.
    #[serde(default)]
    #[schema(minimum = 0.5, maximum = 3)]
    pub density_kg_per_l: Option<f64>,
    /// Percent by weight of the pure acid or alkali; this or the molar strength, not both.
    #[serde(default)]
    #[schema(minimum = 0.01, maximum = 100)]
    pub strength_percent: Option<f64>,
    /// mol of acid or alkali in a litre.
    #[serde(default)]
    #[schema(minimum = 0.0001, maximum = 30)]
    pub strength_mol_per_l: Option<f64>,
    /// Dose at full strength: mL/L of a liquid, g/L of a solid.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 100)]
    pub full_strength_per_l: Option<f64>,
    /// EC that one mL or g in one litre adds, mS/cm at 25 °C.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 100)]
    pub ec_rise_per_unit_per_l: Option<f64>,
}

/// A guaranteed analysis, in the label's own oxides.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Analysis {
    /// Total nitrogen, %.
    #[schema(minimum = 0, maximum = 100)]
    pub n_percent: f64,
    /// Phosphate as P2O5, %.
    #[schema(minimum = 0, maximum = 100)]
    pub p2o5_percent: f64,
    /// Potash as K2O, %.
    #[schema(minimum = 0, maximum = 100)]
    pub k2o_percent: f64,
    /// What the percentages are of.
    pub basis: Basis,
}

impl Body for NewLabelRevision {
    type Word = words::LabelRevision;

    fn word(&self) -> Result<words::LabelRevision, Faults> {
        let mut faults = Faults::default();
        if let Some(analysis) = &self.analysis {
            faults.range("/analysis/n_percent", analysis.n_percent, 0.0, 100.0);
            faults.range("/analysis/p2o5_percent", analysis.p2o5_percent, 0.0, 100.0);
            faults.range("/analysis/k2o_percent", analysis.k2o_percent, 0.0, 100.0);
        }
        ranged(&mut faults, "/density_kg_per_l", self.density_kg_per_l, 0.5, 3.0);
        ranged(&mut faults, "/strength_percent", self.strength_percent, 0.01, 100.0);
        ranged(&mut faults, "/strength_mol_per_l", self.strength_mol_per_l, 0.0001, 30.0);
        ranged(&mut faults, "/full_strength_per_l", self.full_strength_per_l, 0.0, 100.0);
        ranged(&mut faults, "/ec_rise_per_unit_per_l", self.ec_rise_per_unit_per_l, 0.0, 100.0);
        let both = self.strength_percent.is_some() && self.strength_mol_per_l.is_some();
        faults.unless(!both, "/strength_mol_per_l", "twice", "expected one of the two strengths");
        faults.or(Some(words::LabelRevision {
            product: Id::new(self.product_id),
            effective_at: self.effective_at.0,
            analysis: self.analysis.map(|analysis| words::Analysis {
                n_percent: analysis.n_percent,
                p2o5_percent: analysis.p2o5_percent,
                k2o_percent: analysis.k2o_percent,
                basis: analysis.basis.0,
            }),
            density_kg_per_l: self.density_kg_per_l,
            strength: self
                .strength_percent
                .map(words::AcidStrength::PercentByWeight)
                .or(self.strength_mol_per_l.map(words::AcidStrength::MolPerLitre)),
            full_strength_per_l: self.full_strength_per_l,
            ec_rise_per_unit_per_l: self.ec_rise_per_unit_per_l,
        }))
    }

    fn of(word: &words::LabelRevision) -> Self {
        let (strength_percent, strength_mol_per_l) = match word.strength {
            Some(words::AcidStrength::PercentByWeight(percent)) => (Some(percent), None),
            Some(words::AcidStrength::MolPerLitre(mol)) => (None, Some(mol)),
            None => (None, None),
        };
        Self {
            product_id: word.product.uuid(),
            effective_at: word.effective_at.into(),
            analysis: word.analysis.map(|analysis| Analysis {
                n_percent: analysis.n_percent,
                p2o5_percent: analysis.p2o5_percent,
                k2o_percent: analysis.k2o_percent,
                basis: Code(analysis.basis),
            }),
            density_kg_per_l: word.density_kg_per_l,
            strength_percent,
            strength_mol_per_l,
            full_strength_per_l: word.full_strength_per_l,
            ec_rise_per_unit_per_l: word.ec_rise_per_unit_per_l,
        }
    }
}
