//! What is expected of products before any record: what their labels state, else what chemistry makes of what they declare.

use std::collections::BTreeMap;

use fillmark_domain::Base;
use fillmark_domain::stock::{LabelRevision, ProductId, Reagent};

use super::acid_rise::ec_rise_ms_cm;
use super::calculate::solution::Water;
use super::component::{Component, Composition};
use super::conductivity::conductivity_ms_cm;
use super::fill::SourceWater;
use super::label::{Dose, Label};
use super::learnt::Learnt;
use super::ph::{at_own_ph, balanced_at};
use super::reagents::{Chemistry as _, mmol_per_unit};
use super::speciation::{Carbon, OutsideModel};
use super::titration::Titration;

/// A product as it is dosed.
#[derive(Debug, Clone, Copy)]
pub struct Dosed<'a> {
    /// Which.
    pub product: ProductId,
    /// The label in force, where there is one.
    pub label: Option<&'a LabelRevision>,
    /// Of how much it is asked: what a unit adds hangs a little on how much there is.
    pub dose: Dose,
}

/// What one unit of a product brings into a litre.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Brings {
    /// EC that one mL (or g) in a litre adds, mS/cm; none where neither label nor chemistry tells.
    pub ec_rise: Option<Expected>,
    /// Phosphate, mmol.
    pub phosphate_mmol: f64,
    /// Alkalinity of a silicate, meq.
    pub alkalinity_meq: f64,
}

/// A figure before any record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// The figure.
    pub value: f64,
    /// Who tells it.
    pub teller: Teller,
}

/// Who tells a figure before any record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Teller {
    /// The label states it.
    Label,
    /// Chemistry makes it of what the label declares.
    Chemistry,
}

impl Teller {
    /// In a sentence, of products by their names.
    pub fn told(self, names: &[String]) -> String {
        let names = names.join(" and ");
        match self {
            Teller::Label => format!("What {names} adds to the EC is what the label states."),
            Teller::Chemistry => {
                format!("What {names} adds to the EC is reckoned from what the label declares.")
            }
        }
    }
}

/// In a sentence, of what was learnt from records.
pub fn told_learnt(rise: &Learnt) -> String {
    let (from, share) = (rise.from_additions(), rise.prior_share * 100.0);
    format!(
        "What the products add to the EC is learnt from {from}; {share:.0} % of the figure is still what was \
         expected before."
    )
}

/// What was learnt may differ so many times from what labels and chemistry make of it before somebody should look: labels declare
/// what is guaranteed, and jugs and pens are off by some per cent each (our own judgement).
const FAR_FROM_LABELS: f64 = 1.2;

/// In a sentence, that what was learnt is far from what labels and chemistry make of it; nothing where it is not. A meter that shows
/// too much teaches so much too much of every product, and the doses come out as much too small.
pub fn told_far(rise: &Learnt, expected: f64) -> Option<String> {
    let far = rise.low > FAR_FROM_LABELS * expected || rise.high * FAR_FROM_LABELS < expected;
    let times = rise.value / expected;
    (far && expected > 0.0).then(|| {
        format!(
            "That is {times:.2} times what labels and chemistry make of them: if the meter is out by as much, the doses are too. Hold \
             it against a standard, and look at labels and measuring jugs, before you rely on it."
        )
    })
}

/// What is expected of a step's products, and of what moves the pH of a feed made with them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Priors {
    /// What the products bring.
    pub brings: BTreeMap<ProductId, Brings>,
    /// Acids and alkalis of known kind and strength.
    pub adjusters: BTreeMap<ProductId, Adjuster>,
}

/// An acid or alkali of known kind and strength.
#[derive(Debug, Clone, PartialEq)]
pub struct Adjuster {
    /// What it is.
    pub reagent: Reagent,
    /// How strong, mmol in a mL (or g).
    pub mmol_per_unit: f64,
    /// How the feed takes it; none where the water is not known.
    pub titration: Option<Titration>,
    /// EC that one mL (or g) in a litre adds, mS/cm; none where the model does not tell.
    pub ec_rise: Option<f64>,
}

impl Adjuster {
    /// mL (or g) of it that a litre of the feed takes from one pH to another; none where it goes the other way.
    pub fn units_l(&self, from: f64, to: f64) -> Option<f64> {
        Some(self.titration.as_ref()?.mmol_l(from, to)? / self.mmol_per_unit)
    }

    /// Acid or base in a mL (or g) of it, meq.
    pub fn meq_per_unit(&self) -> f64 {
        self.mmol_per_unit * self.reagent.equivalents_per_mol()
    }
}

/// What is expected of these products dosed together into a water, and of all labels that tell an acid or alkali, with what
/// their products are counted in.
pub fn priors<'a>(
    products: &[Dosed<'_>],
    labels: impl Iterator<Item = (&'a LabelRevision, Base)>,
    water: SourceWater,
) -> Priors {
    let brings = brings(products, water);
    let of_feed = |dosed: &Dosed<'_>| {
        brings.get(&dosed.product).map_or(0.0, |of| of.phosphate_mmol) * units(dosed.dose)
    };
    let phosphate_mmol_l = products.iter().map(of_feed).sum();
    let adjuster = |(label, base): (&LabelRevision, Base)| {
        let (reagent, mmol_per_unit) = (label.reagent?, mmol_per_unit(label, base)?);
        let titration = water.titration(phosphate_mmol_l, reagent);
        let ec_rise = ec_rise_ms_cm(reagent).ok().map(|of_mmol_l| of_mmol_l * mmol_per_unit);
        Some((label.product, Adjuster { reagent, mmol_per_unit, titration, ec_rise }))
    };
    Priors { adjusters: labels.filter_map(adjuster).collect(), brings }
}

/// Forms are looked for at this pH: what feeds are kept at.
const FEED_PH: f64 = 6.0;

/// What each of these products, dosed together into a water, brings.
pub fn brings(products: &[Dosed<'_>], water: SourceWater) -> BTreeMap<ProductId, Brings> {
    let ions: Vec<Option<Composition>> = products.iter().map(ions).collect();
    let stated = |dosed: &Dosed<'_>| dosed.label.and_then(|label| label.ec_rise_per_unit_per_l);
    let by_chemistry = match products.iter().all(|dosed| stated(dosed).is_some()) {
        true => Vec::new(),
        false => rises(&ions, water).unwrap_or_default(),
    };
    let each = products.iter().enumerate().map(|(at, dosed)| {
        let ions = ions[at].unwrap_or_default();
        let units = units(dosed.dose);
        if units <= 0.0 {
            return (dosed.product, Brings::default());
        }
        let chemistry = by_chemistry.get(at).copied().flatten().map(|rise| rise / units);
        let expected = |teller| move |value| Expected { value, teller };
        let brings = Brings {
            ec_rise: stated(dosed)
                .map(expected(Teller::Label))
                .or(chemistry.map(expected(Teller::Chemistry))),
            phosphate_mmol: ions.mmol_l(Component::Phosphate) / units,
            alkalinity_meq: alkalinity_meq_l(&ions) / units,
        };
        (dosed.product, brings)
    });
    each.collect()
}

fn ions(dosed: &Dosed<'_>) -> Option<Composition> {
    if units(dosed.dose) <= 0.0 {
        return None;
    }
    Label::of(dosed.label?)?.composition(dosed.dose).ok()
}

/// mL or g in a litre.
fn units(dose: Dose) -> f64 {
    match dose {
        Dose::MlPerL(ml) => ml,
        Dose::GramPerL(g) => g,
    }
}

/// A silicate is alkaline by the potassium and sodium that nothing else on its label holds.
fn alkalinity_meq_l(ions: &Composition) -> f64 {
    let of = |component| ions.mmol_l(component);
    if of(Component::Silicate) <= 0.0 {
        return 0.0;
    }
    let acid = of(Component::Nitrate)
        + of(Component::Chloride)
        + of(Component::Phosphate)
        + 2.0 * of(Component::Sulfate);
    (of(Component::Potassium) + of(Component::Sodium) - acid).max(0.0)
}

/// What each adds to the EC in the company of the others, which is less than alone: their rises alone are scaled to what all
/// together add to the water.
fn rises(ions: &[Option<Composition>], water: SourceWater) -> Result<Vec<Option<f64>>, OutsideModel> {
    let filled = ions.iter().map(|ions| ions.as_ref().map(filled_up).transpose());
    let filled: Vec<Option<Composition>> = filled.collect::<Result<_, _>>()?;
    let alone = filled.iter().map(|ions| ions.as_ref().map(ec_at_own_ph).transpose());
    let alone: Vec<Option<f64>> = alone.collect::<Result<_, _>>()?;
    let sum: f64 = alone.iter().flatten().sum();
    if sum <= 0.0 {
        return Ok(alone);
    }
    let water = ions_of(water);
    let all = filled.iter().flatten().fold(water, |sum, ions| sum.plus(ions, 1.0));
    let together = ec_at_own_ph(&all)? - ec_at_own_ph(&water)?;
    Ok(alone.into_iter().map(|alone| Some(alone? * together / sum)).collect())
}

/// Labels leave out counter-ions: sodium or chloride conduct like them within a fifth. Each product is filled up by itself, so
/// that what the alkalinity of the water still wants of an acid is not taken for the product's.
fn filled_up(ions: &Composition) -> Result<Composition, OutsideModel> {
    balanced_at(ions, FEED_PH, 25.0)
}

fn ec_at_own_ph(ions: &Composition) -> Result<f64, OutsideModel> {
    Ok(conductivity_ms_cm(&at_own_ph(ions, Carbon::Closed, 25.0)?))
}

/// The water as ions, as far as it is known; pure water where it cannot be.
fn ions_of(water: SourceWater) -> Composition {
    let known = Water {
        ec_ms_cm: Some(water.ec_ms_cm),
        ph: water.acidity.map(|acidity| acidity.ph),
        alkalinity_meq_l: water.acidity.map(|acidity| acidity.alkalinity_meq_l),
        ions_mg_l: Vec::new(),
    };
    known.ions().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::super::simulated::learnt;
    use chrono::DateTime;
    use fillmark_domain::Id;
    use fillmark_domain::stock::{Analysis, Basis, Declared};
    use uuid::Uuid;

    use super::super::calculate::solution::{Recipe, SaltDose, solution};
    use super::super::fill::Acidity;
    use super::*;

    const SOFT: SourceWater = SourceWater { ec_ms_cm: 0.2, acidity: None };

    fn label(declared: &[(Declared, f64)], stated: Option<f64>) -> LabelRevision {
        LabelRevision {
            product: Id::new(Uuid::from_u128(1)),
            effective_at: DateTime::UNIX_EPOCH,
            analysis: Some(Analysis { basis: Basis::WeightPerVolume, declared: declared.to_vec() }),
            density_kg_per_l: None,
            reagent: None,
            strength: None,
            full_strength_per_l: None,
            ec_rise_per_unit_per_l: stated,
        }
    }

    fn brought(labels: &[LabelRevision]) -> Vec<Brings> {
        brought_to(SOFT, labels)
    }

    fn brought_to(water: SourceWater, labels: &[LabelRevision]) -> Vec<Brings> {
        let dosed: Vec<Dosed<'_>> = labels
            .iter()
            .zip(1..)
            .map(|(label, id)| Dosed {
                product: Id::new(Uuid::from_u128(id)),
                label: Some(label),
                dose: Dose::MlPerL(2.0),
            })
            .collect();
        brings(&dosed, water).into_values().collect()
    }

    /// 1.01 g/L of potassium nitrate is 10 mmol/L, and conducts 1.29 mS/cm (interpolated between 0.01 and 0.02 mol/L of the
    /// CRC Handbook's equivalent conductivities, from memory: 132.8 S cm²/mol at 0.01).
    #[test]
    fn what_a_label_declares_conducts_as_the_salt_does() {
        let nitrate = label(&[(Declared::NitrateNitrogen, 7.003), (Declared::Potassium, 19.55)], None);
        let rise = brought(&[nitrate])[0].ec_rise.unwrap();
        assert_eq!(rise.teller, Teller::Chemistry);
        assert!((rise.value * 2.0 - 1.328).abs() < 0.04, "{rise:?}");
    }

    /// Nitrate of calcium and potassium: what the bicarbonate of a water still wants of an acid is no part of it. Salts with all
    /// their charges, by the same model, tell the rise.
    #[test]
    fn the_alkalinity_of_a_water_is_not_taken_for_the_products() {
        let nitrate = || {
            label(
                &[
                    (Declared::NitrateNitrogen, 5.0),
                    (Declared::Calcium, 6.0),
                    (Declared::PotassiumOxide, 2.7),
                ],
                None,
            )
        };
        let rise = |ec_ms_cm: f64, alkalinity_meq_l: f64| {
            let water = SourceWater { ec_ms_cm, acidity: Some(Acidity { ph: 7.4, alkalinity_meq_l }) };
            let rise = brought_to(water, &[nitrate()])[0].ec_rise.unwrap().value;
            let salts = [("Ca(NO3)2", 0.4900), ("KNO3", 0.1156)].map(|(formula, g_l)| SaltDose {
                formula: formula.into(),
                as_sold: false,
                g_l,
            });
            let ions = Water {
                ec_ms_cm: Some(ec_ms_cm),
                ph: Some(7.4),
                alkalinity_meq_l: Some(alkalinity_meq_l),
                ions_mg_l: Vec::new(),
            };
            let recipe = Recipe { salts: salts.to_vec(), products: Vec::new(), water: Some(ions) };
            let of_salts = (solution(&recipe).unwrap().ec_ms_cm - ec_ms_cm) / 2.0;
            assert!(
                (rise / of_salts - 1.0).abs() < 0.02,
                "{rise} beside {of_salts} of salts at {alkalinity_meq_l}"
            );
            rise
        };
        assert!(rise(0.2, 0.2) > rise(0.35, 2.4) && rise(0.35, 2.4) > rise(0.65, 5.0));
    }

    #[test]
    fn what_is_learnt_far_from_the_label_is_told() {
        assert_eq!(told_far(&learnt(1.1, 0.02), 1.0), None, "labels are not exact");
        assert_eq!(told_far(&learnt(1.4, 0.2), 1.0), None, "little is known yet");
        let [more, less] = [1.4, 0.7].map(|value| told_far(&learnt(value, 0.02), 1.0).unwrap());
        assert!(more.contains("1.40 times") && less.contains("0.70 times"), "{more} {less}");
    }

    #[test]
    fn what_a_label_states_goes_before_chemistry() {
        let stated = label(&[(Declared::NitrateNitrogen, 5.0), (Declared::Calcium, 6.0)], Some(0.4));
        assert_eq!(brought(&[stated])[0].ec_rise, Some(Expected { value: 0.4, teller: Teller::Label }));
    }

    #[test]
    fn together_they_add_less_than_each_alone() {
        let one = || label(&[(Declared::NitrateNitrogen, 5.0), (Declared::Calcium, 7.1)], None);
        let alone = brought(&[one()])[0].ec_rise.unwrap().value;
        let together = brought(&[one(), one()]);
        let each = together[0].ec_rise.unwrap().value;
        assert!(each < alone && each > 0.85 * alone, "{each} of {alone}");
        assert_eq!(together[0], together[1]);
    }

    /// By hand: 2 mL/L at 6.14 % P is 122.8 mg/L, 3.96 mmol/L; a silicate with 10 % K2O brings 2.12 meq a mL.
    #[test]
    fn phosphate_and_the_alkalinity_of_silicates_are_told() {
        let made = brought(&[
            label(&[(Declared::Phosphorus, 6.14), (Declared::Potassium, 7.75)], None),
            label(&[(Declared::SiliconDioxide, 20.0), (Declared::PotassiumOxide, 10.0)], None),
        ]);
        assert!((made[0].phosphate_mmol - 1.982).abs() < 0.002, "{made:?}");
        assert!((made[0].alkalinity_meq, made[1].phosphate_mmol) == (0.0, 0.0));
        assert!((made[1].alkalinity_meq - 2.123).abs() < 0.002, "{made:?}");
    }
}
