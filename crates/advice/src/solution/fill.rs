//! A fresh fill: how much water, how much of each product in which order, and what to expect after.
//!
//! The doses of the programme give the proportions, the EC aim fixes the amount. Where a product does not say what it
//! adds, the programme's strength stands, and the EC is found by measuring.

use fillmark_domain::stock::ProductId;

use super::component::Component;
use super::ph::{NoDose, water_of_alkalinity};
use super::reagents::{FIRST_MEQ_L, FIRST_PART, Reagent, dose_mmol_l, volume_ml};

/// Above this alkalinity, meq/L, acid goes into the water before anything else (common practice, no source): nutrients
/// would fall out of hard water.
const ACID_FIRST_MEQ_L: f64 = 2.0;

/// To this pH, between 6 and 6.5 (common practice, no source).
const ACID_FIRST_PH: f64 = 6.25;

/// Proportions that have to be stretched or thinned by more than this do not look like a programme for this aim: our own
/// judgement, no source.
const USUAL_STRETCH: std::ops::RangeInclusive<f64> = 0.5..=1.5;

/// What a tank is filled with, and what for.
#[derive(Debug, Clone, PartialEq)]
pub struct FillAsked {
    /// Volume at the fill mark, L.
    pub litres: f64,
    /// The water.
    pub water: SourceWater,
    /// Total EC that is wanted, the water's included, mS/cm at 25 °C.
    pub ec_aim_ms_cm: f64,
    /// Products of the step at its strength.
    pub parts: Vec<Part>,
    /// What the pH is lowered with, where one is at hand and its strength is known.
    pub acid: Option<Acid>,
    /// Of the water, °C.
    pub temperature_c: f64,
}

/// The water as analysed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SourceWater {
    /// mS/cm at 25 °C.
    pub ec_ms_cm: f64,
    /// How acid it is and how much acid it takes, where both are known.
    pub acidity: Option<Acidity>,
}

/// How acid water is, and how much acid it takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Acidity {
    /// pH.
    pub ph: f64,
    /// Alkalinity, meq/L.
    pub alkalinity_meq_l: f64,
}

/// A product of the step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Which.
    pub product: ProductId,
    /// Lower first.
    pub mixing_rank: i16,
    /// mL or g for a litre, at the step's strength.
    pub per_litre: f64,
    /// Whether it is counted in mL, and so takes room.
    pub liquid: bool,
    /// EC that one mL (or g) in a litre adds, mS/cm, where it is known.
    pub ec_rise: Option<f64>,
}

/// An acid at hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Acid {
    /// Which product.
    pub product: ProductId,
    /// What it is.
    pub reagent: Reagent,
    /// How strong.
    pub mol_l: f64,
}

/// A fresh fill as advised.
#[derive(Debug, Clone, PartialEq)]
pub struct Fill {
    /// Water to fill in, L; what is missing to the mark are the doses themselves.
    pub water_l: f64,
    /// Acid into hard water: after a silicate, before all other doses.
    pub acid_first: Option<FirstAcid>,
    /// The doses in the order they go in.
    pub doses: Vec<FillDose>,
    /// EC to expect after them, mS/cm; none where a product does not say what it adds.
    pub ec_expected_ms_cm: Option<f64>,
    /// Why it is so.
    pub reasons: Vec<Reason>,
}

/// So much of a product.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FillDose {
    /// Which.
    pub product: ProductId,
    /// mL or g into the tank.
    pub amount: f64,
}

/// Acid, poured in steps and measured after each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FirstAcid {
    /// Which product.
    pub product: ProductId,
    /// mL that chemistry expects in all.
    pub expected_ml: f64,
    /// mL to begin with, before the pH is measured again.
    pub first_ml: f64,
    /// The pH it is for.
    pub to_ph: f64,
}

/// Why a fill is advised as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// The proportions were stretched (or thinned) by this factor to the aim.
    Stretched(f64),
    /// The programme's strength stands, since a product does not say what EC it adds.
    RiseUnknown(ProductId),
    /// The water alone has as much EC as is wanted, or more: nothing can be dosed into it.
    WaterAboveAim,
    /// The factor is far from 1: programme, labels and aim do not fit each other.
    FarFromProgramme,
    /// The water is hard, and acid goes first.
    HardWater,
    /// The water is hard, and there is no acid of known strength.
    NoAcid,
    /// The water is hard, and this keeps chemistry from telling how much acid it takes.
    NoDose(NoDose),
    /// No product adds any EC, so the aim is not reached.
    NothingAddsEc,
    /// pH or alkalinity of the water are not known, so nothing is said of acid.
    WaterUnknown,
}

/// Advises a fresh fill.
pub fn fill(asked: &FillAsked) -> Fill {
    let (factor, mut reasons) = factor(asked);
    let mut parts = asked.parts.clone();
    parts.sort_by_key(|part| part.mixing_rank);
    let amount = |part: &Part| part.per_litre * factor * asked.litres;
    let doses: Vec<FillDose> = parts
        .iter()
        .map(|part| FillDose { product: part.product, amount: amount(part) })
        .filter(|dose| dose.amount > 0.0)
        .collect();
    let liquid_l = parts.iter().filter(|part| part.liquid).map(amount).sum::<f64>() / 1000.0;
    let water_l = asked.litres - liquid_l;
    let rises: Option<f64> = parts.iter().map(|part| Some(part.ec_rise? * amount(part))).sum();
    let ec_expected_ms_cm = rises.map(|rises| (rises + water_l * asked.water.ec_ms_cm) / asked.litres);
    let acid_first = acid_first(asked, water_l, &mut reasons);
    Fill { water_l, acid_first, doses, ec_expected_ms_cm, reasons }
}

/// By which the proportions are multiplied so that the aim comes out: with water making room for liquid doses,
/// factor · Σ rise · dose + (1 − factor · Σ liquid) · EC of the water = aim.
fn factor(asked: &FillAsked) -> (f64, Vec<Reason>) {
    let mut rise = 0.0;
    for part in &asked.parts {
        match part.ec_rise {
            Some(of_one) => rise += of_one * part.per_litre,
            None => return (1.0, vec![Reason::RiseUnknown(part.product)]),
        }
    }
    let liquid =
        asked.parts.iter().filter(|part| part.liquid).map(|part| part.per_litre).sum::<f64>() / 1000.0;
    let (wanted, gained) = (asked.ec_aim_ms_cm - asked.water.ec_ms_cm, rise - liquid * asked.water.ec_ms_cm);
    if wanted <= 0.0 {
        return (0.0, vec![Reason::WaterAboveAim]);
    }
    if gained <= 0.0 {
        return (1.0, vec![Reason::NothingAddsEc]);
    }
    let factor = wanted / gained;
    let mut reasons = vec![Reason::Stretched(factor)];
    if !USUAL_STRETCH.contains(&factor) {
        reasons.push(Reason::FarFromProgramme);
    }
    (factor, reasons)
}

fn acid_first(asked: &FillAsked, water_l: f64, reasons: &mut Vec<Reason>) -> Option<FirstAcid> {
    let Some(water) = asked.water.acidity else {
        reasons.push(Reason::WaterUnknown);
        return None;
    };
    if water.alkalinity_meq_l <= ACID_FIRST_MEQ_L || water.ph <= ACID_FIRST_PH {
        return None;
    }
    let Some(acid) = asked.acid else {
        reasons.push(Reason::NoAcid);
        return None;
    };
    let dose = acid_for(water, acid.reagent, asked.temperature_c);
    reasons.push(dose.map_or_else(Reason::NoDose, |_| Reason::HardWater));
    let expected_ml = volume_ml(dose.ok()?, water_l, acid.mol_l);
    let bound = volume_ml(FIRST_MEQ_L / acid.reagent.equivalents_per_mol(), asked.litres, acid.mol_l);
    let first_ml = (FIRST_PART * expected_ml).min(bound);
    Some(FirstAcid { product: acid.product, expected_ml, first_ml, to_ph: ACID_FIRST_PH })
}

/// mmol/L of an acid that take water to [`ACID_FIRST_PH`]. Its cation is taken for calcium, the likeliest.
fn acid_for(water: Acidity, acid: Reagent, temperature_c: f64) -> Result<f64, NoDose> {
    let water = water_of_alkalinity(water.alkalinity_meq_l, Component::Calcium, water.ph, temperature_c)?;
    dose_mmol_l(&water, acid, ACID_FIRST_PH, temperature_c)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use uuid::Uuid;

    use super::*;

    fn part(id: u128, mixing_rank: i16, per_litre: f64, ec_rise: Option<f64>) -> Part {
        Part { product: ProductId::new(Uuid::from_u128(id)), mixing_rank, per_litre, liquid: true, ec_rise }
    }

    fn asked(water: SourceWater, parts: Vec<Part>) -> FillAsked {
        let acid = Acid { product: ProductId::new(Uuid::from_u128(9)), reagent: Reagent::Nitric, mol_l: 6.0 };
        FillAsked { litres: 200.0, water, ec_aim_ms_cm: 1.6, parts, acid: Some(acid), temperature_c: 20.0 }
    }

    fn acidity(ph: f64, alkalinity_meq_l: f64) -> Option<Acidity> {
        Some(Acidity { ph, alkalinity_meq_l })
    }

    fn soft() -> SourceWater {
        SourceWater { ec_ms_cm: 0.2, acidity: acidity(7.2, 0.8) }
    }

    /// By hand: 2 mL/L of each at 0.35 mS/cm give 1.4; 4 mL of water less in a litre take 0.0008 away.
    #[test]
    fn the_aim_fixes_the_amount_and_the_rank_the_order() {
        let fill = fill(&asked(soft(), vec![part(2, 30, 2.0, Some(0.35)), part(1, 20, 2.0, Some(0.35))]));
        let factor = 1.4 / 1.3992;
        let expected = 2.0 * factor * 200.0;
        assert_eq!(fill.doses.iter().map(|dose| dose.product.uuid().as_u128()).collect::<Vec<_>>(), [1, 2]);
        assert!(fill.doses.iter().all(|dose| (dose.amount - expected).abs() < 1e-9), "{fill:?}");
        assert!((fill.water_l - (200.0 - 2.0 * expected / 1000.0)).abs() < 1e-9);
        assert!((fill.ec_expected_ms_cm.unwrap() - 1.6).abs() < 1e-9);
        assert!(
            matches!(fill.reasons[..], [Reason::Stretched(by)] if (by - factor).abs() < 1e-9),
            "{fill:?}"
        );
        assert_eq!(fill.acid_first, None);
    }

    #[test]
    fn what_does_not_say_what_it_adds_keeps_the_programmes_strength() {
        let fill = fill(&asked(soft(), vec![part(1, 20, 2.0, Some(0.35)), part(2, 30, 1.5, None)]));
        assert_eq!(fill.doses.iter().map(|dose| dose.amount).collect::<Vec<_>>(), [400.0, 300.0]);
        assert_eq!(fill.ec_expected_ms_cm, None);
        assert_eq!(fill.reasons, [Reason::RiseUnknown(ProductId::new(Uuid::from_u128(2)))]);
    }

    #[test]
    fn water_that_has_the_aim_already_gets_nothing() {
        let water = SourceWater { ec_ms_cm: 1.7, ..soft() };
        let fill = fill(&asked(water, vec![part(1, 20, 2.0, Some(0.35))]));
        assert!(fill.doses.is_empty());
        assert_eq!(fill.reasons, [Reason::WaterAboveAim]);
    }

    #[test]
    fn labels_that_do_not_fit_the_aim_are_told() {
        let fill = fill(&asked(soft(), vec![part(1, 20, 2.0, Some(0.035))]));
        assert!(fill.reasons.contains(&Reason::FarFromProgramme), "{fill:?}");
    }

    /// Nitric acid from pH 7.8 to 6.0 takes 0.67 of the alkalinity, to 6.5 0.38 of it (PHREEQC 3, phreeqc.dat): 6.25 lies
    /// between.
    #[test]
    fn hard_water_gets_acid_first_and_of_that_a_part() {
        let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
        let fill = fill(&asked(water, vec![part(1, 20, 2.0, Some(0.35))]));
        let acid = fill.acid_first.unwrap();
        let share = acid.expected_ml * 6.0 / fill.water_l / 4.0;
        assert!((0.38..0.67).contains(&share), "{share}");
        assert!((acid.first_ml - 0.2 * 200.0 / 6.0).abs() < 1e-9, "0.2 meq/L is less than 60 %: {acid:?}");
        assert!(fill.reasons.contains(&Reason::HardWater));
    }

    #[test]
    fn what_adds_nothing_is_told() {
        let fill = fill(&asked(soft(), vec![part(1, 20, 2.0, Some(0.0))]));
        assert_eq!(fill.reasons, [Reason::NothingAddsEc]);
    }

    #[test]
    fn where_chemistry_cannot_tell_the_dose_it_says_why() {
        let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
        let hot = FillAsked { temperature_c: 95.0, ..asked(water, Vec::new()) };
        assert!(
            matches!(fill(&hot).reasons[..], [_, Reason::NoDose(NoDose::Outside(_))]),
            "{:?}",
            fill(&hot)
        );
    }

    #[test]
    fn hard_water_without_an_acid_of_known_strength_gets_no_amount() {
        let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
        let fill = fill(&FillAsked { acid: None, ..asked(water, Vec::new()) });
        assert_eq!(fill.acid_first, None);
        assert!(fill.reasons.contains(&Reason::NoAcid));
    }

    proptest! {
        #[test]
        fn more_is_wanted_more_is_dosed_and_the_aim_comes_out(
            low in 0.3..2.0f64, more in 0.0..1.0f64, rise in 0.05..1.0f64, dose in 0.5..5.0f64, water in 0.0..0.29f64,
        ) {
            let of = |aim| {
                let water = SourceWater { ec_ms_cm: water, acidity: None };
                fill(&FillAsked { ec_aim_ms_cm: aim, ..asked(water, vec![part(1, 20, dose, Some(rise))]) })
            };
            let (less, much) = (of(low), of(low + more));
            prop_assert!(less.doses[0].amount <= much.doses[0].amount + 1e-9);
            prop_assert!((much.ec_expected_ms_cm.unwrap() - low - more).abs() < 1e-9);
            let poured_l: f64 = much.doses.iter().map(|dose| dose.amount / 1000.0).sum();
            prop_assert!((much.water_l + poured_l - 200.0).abs() < 1e-9);
        }
    }
}
