//! Label revisions.

use fillmark_domain::stock as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{Basis, ranged};
use crate::{Body, Code, Instant, Stored};

/// What a label declares, by its code.
pub type Declared = Code<words::Declared>;
/// An acid or alkali, by its code.
pub type Reagent = Code<words::Reagent>;
/// A label revision as kept.
pub type LabelRevision = Stored<NewLabelRevision>;

/// What a label says from an instant on. Never edited: what was poured earlier was poured under the label of that time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"product_id": "019a0000-0000-7000-8000-000000000003", "effective_at": "2026-11-01T00:00:00Z",
    "analysis": {"basis": "w/v", "declared": [{"declared": "nitrate_n", "percent": 4.5}, {"declared": "ca", "percent": 5.0},
        {"declared": "k2o", "percent": 3.0}]}, "density_kg_per_l": 1.2, "reagent": null, "strength_percent": null, "strength_mol_per_l": null, "full_strength_per_l": 2.5, "ec_rise_per_unit_per_l": 0.4}))]
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
    /// Which acid or alkali it is; needed with a strength.
    #[serde(default)]
    pub reagent: Option<Reagent>,
    /// Percent by weight of the pure acid or alkali, of a liquid as of a powder; this or the molar strength, not both.
    #[serde(default)]
    #[schema(minimum = 0.01, maximum = 100)]
    pub strength_percent: Option<f64>,
    /// mol of acid or alkali in a litre of a liquid.
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

/// A guaranteed analysis, as the label declares it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Analysis {
    /// What the percentages are of.
    pub basis: Basis,
    /// What is declared, each word once.
    #[schema(min_items = 1, max_items = 40)]
    pub declared: Vec<DeclaredPercent>,
}

/// One line of a label.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"declared": "p2o5", "percent": 5.0}))]
pub struct DeclaredPercent {
    /// What is declared; `n` where the form of nitrogen is not told.
    pub declared: Declared,
    /// How much of it.
    #[schema(minimum = 0, maximum = 100)]
    pub percent: f64,
}

impl Analysis {
    fn word(&self) -> Result<words::Analysis, Faults> {
        let mut faults = Faults::default();
        let declared = declared(&self.declared, self.basis.0, "/declared", &mut faults);
        faults.or(Some(words::Analysis { basis: self.basis.0, declared }))
    }

    fn of(word: &words::Analysis) -> Self {
        let line = |(declared, percent): &(words::Declared, f64)| DeclaredPercent {
            declared: Code(*declared),
            percent: *percent,
        };
        Self { basis: Code(word.basis), declared: word.declared.iter().map(line).collect() }
    }
}

/// Labels have no more lines.
const MOST_LINES: usize = 40;

/// What the lines of a label declare.
pub(crate) fn declared(
    lines: &[DeclaredPercent],
    basis: words::Basis,
    pointer: &str,
    faults: &mut Faults,
) -> Vec<(words::Declared, f64)> {
    let expected = "expected 1 to 40 lines of the label";
    faults.unless((1..=MOST_LINES).contains(&lines.len()), pointer, "count", expected);
    let mut declared: Vec<(words::Declared, f64)> = Vec::new();
    for (at, line) in lines.iter().take(MOST_LINES).enumerate() {
        faults.range(&format!("{pointer}/{at}/percent"), line.percent, 0.0, 100.0);
        let new = declared.iter().all(|(word, _)| *word != line.declared.0);
        faults.unless(new, &format!("{pointer}/{at}/declared"), "twice", "expected each word once");
        let counted = declared.iter().any(|(word, _)| counts_twice(*word, line.declared.0));
        let detail =
            "expected what is not counted already: a total or its forms, an element or its oxide, not both";
        faults.unless(!counted, &format!("{pointer}/{at}/declared"), "counted_twice", detail);
        declared.push((line.declared.0, line.percent));
    }
    let most = most_percent(basis);
    let all: f64 = declared.iter().map(|(_, percent)| percent).sum();
    faults.unless(
        all <= most,
        pointer,
        "too_much",
        format!("expected {most} % in all at most, found {all} %"),
    );
    declared
}

/// What the lines of a label come to at most: the whole product, or as many grams in 100 mL as no solution weighs.
fn most_percent(basis: words::Basis) -> f64 {
    match basis {
        words::Basis::WeightPerWeight => 100.0,
        words::Basis::WeightPerVolume => 200.0,
    }
}

/// Whether two lines of a label tell of the same mass: labels print the total of nitrogen beside its forms.
fn counts_twice(one: words::Declared, other: words::Declared) -> bool {
    use words::Declared as D;
    const SAME: [(D, D); 8] = [
        (D::Nitrogen, D::NitrateNitrogen),
        (D::Nitrogen, D::AmmoniumNitrogen),
        (D::Nitrogen, D::UreaNitrogen),
        (D::Phosphorus, D::PhosphorusPentoxide),
        (D::Potassium, D::PotassiumOxide),
        (D::Calcium, D::CalciumOxide),
        (D::Magnesium, D::MagnesiumOxide),
        (D::Sulfur, D::SulfurTrioxide),
    ];
    SAME.contains(&(one, other)) || SAME.contains(&(other, one))
}

impl Body for NewLabelRevision {
    type Word = words::LabelRevision;

    fn word(&self) -> Result<words::LabelRevision, Faults> {
        let mut faults = Faults::default();
        let analysis = self.analysis.as_ref().and_then(|analysis| faults.part("/analysis", analysis.word()));
        ranged(&mut faults, "/density_kg_per_l", self.density_kg_per_l, 0.5, 3.0);
        ranged(&mut faults, "/strength_percent", self.strength_percent, 0.01, 100.0);
        ranged(&mut faults, "/strength_mol_per_l", self.strength_mol_per_l, 0.0001, 30.0);
        ranged(&mut faults, "/full_strength_per_l", self.full_strength_per_l, 0.0, 100.0);
        ranged(&mut faults, "/ec_rise_per_unit_per_l", self.ec_rise_per_unit_per_l, 0.0, 100.0);
        let both = self.strength_percent.is_some() && self.strength_mol_per_l.is_some();
        faults.unless(!both, "/strength_mol_per_l", "twice", "expected one of the two strengths");
        let strong = self.strength_percent.is_some() || self.strength_mol_per_l.is_some();
        faults.unless(
            !strong || self.reagent.is_some(),
            "/reagent",
            "needed",
            "expected which acid or alkali",
        );
        faults.or(Some(words::LabelRevision {
            product: Id::new(self.product_id),
            effective_at: self.effective_at.0,
            analysis,
            density_kg_per_l: self.density_kg_per_l,
            reagent: self.reagent.map(|reagent| reagent.0),
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
            analysis: word.analysis.as_ref().map(Analysis::of),
            density_kg_per_l: word.density_kg_per_l,
            reagent: word.reagent.map(Code),
            strength_percent,
            strength_mol_per_l,
            full_strength_per_l: word.full_strength_per_l,
            ec_rise_per_unit_per_l: word.ec_rise_per_unit_per_l,
        }
    }
}
