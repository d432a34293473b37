use fillmark_domain::Base;
use proptest::prelude::*;
use uuid::Uuid;

use crate::solution::reagents::Reagent;

use super::*;

/// A product at so much in a litre, and what a unit of it adds.
fn part(id: u128, mixing_rank: i16, per_litre: f64, rise: Option<f64>) -> (Part, Option<f64>) {
    let product = ProductId::new(Uuid::from_u128(id));
    let (phosphate_mmol, alkalinity_meq) = (0.0, 0.0);
    (Part { product, mixing_rank, per_litre, liquid: true, phosphate_mmol, alkalinity_meq }, rise)
}

fn together(parts: &[(Part, Option<f64>)]) -> Result<Learnt, ProductId> {
    let each = parts.iter().map(|(part, rise)| rise.map(|rise| rise * part.per_litre).ok_or(part.product));
    let value = each.sum::<Result<f64, _>>()?;
    Ok(Learnt { value, low: 0.9 * value, high: 1.2 * value, prior_share: 1.0, records: Vec::new() })
}

fn asked(water: SourceWater, parts: Vec<(Part, Option<f64>)>) -> FillAsked {
    let product = ProductId::new(Uuid::from_u128(9));
    FillAsked {
        litres: 200.0,
        water,
        ec_aim_ms_cm: 1.6,
        ph_aim: None,
        rise: together(&parts),
        parts: parts.into_iter().map(|(part, _)| part).collect(),
        acid: Some(Acid {
            product,
            reagent: Reagent::Nitric,
            mmol_per_unit: 6.0,
            base: Base::Volume,
            response: 1.0,
            spread: None,
            ec_rise: 0.15,
        }),
        temperature_c: 20.0,
    }
}

fn acidity(ph: f64, alkalinity_meq_l: f64) -> Option<Acidity> {
    Some(Acidity { ph, alkalinity_meq_l })
}

fn soft() -> SourceWater {
    SourceWater { ec_ms_cm: 0.2, acidity: acidity(7.2, 0.8) }
}

fn doses(fill: &Fill) -> Vec<(u128, f64)> {
    let dose = |step: &Step| match step {
        Step::Dose(dose) => Some((dose.product.uuid().as_u128(), dose.amount)),
        _ => None,
    };
    fill.steps.iter().filter_map(dose).collect()
}

fn water_l(fill: &Fill) -> f64 {
    fill.steps
        .iter()
        .find_map(|step| if let Step::Water(litres) = step { Some(*litres) } else { None })
        .unwrap()
}

fn acids(fill: &Fill) -> Vec<AcidDose> {
    fill.steps
        .iter()
        .filter_map(|step| if let Step::Acid(dose) = step { Some(*dose) } else { None })
        .collect()
}

/// By hand: 2 mL/L of each at 0.35 mS/cm give 1.4; 4 mL of water less in a litre take 0.0008 away.
#[test]
fn the_aim_fixes_the_amount_and_the_rank_the_order() {
    let fill = fill(&asked(soft(), vec![part(2, 30, 2.0, Some(0.35)), part(1, 20, 2.0, Some(0.35))]));
    let factor = 1.4 / 1.3992;
    let expected = 2.0 * factor * 200.0;
    assert_eq!(doses(&fill).iter().map(|(product, _)| *product).collect::<Vec<_>>(), [1, 2]);
    assert!(doses(&fill).iter().all(|(_, amount)| (amount - expected).abs() < 1e-9), "{fill:?}");
    assert!((water_l(&fill) - (200.0 - 2.0 * expected / 1000.0)).abs() < 1e-9);
    assert!((fill.ec_expected.unwrap().value - 1.6).abs() < 1e-9);
    assert!(matches!(fill.reasons[..], [Reason::Stretched(by)] if (by - factor).abs() < 1e-9), "{fill:?}");
    assert_eq!(acids(&fill), []);
}

#[test]
fn what_does_not_say_what_it_adds_keeps_the_programmes_strength() {
    let fill = fill(&asked(soft(), vec![part(1, 20, 2.0, Some(0.35)), part(2, 30, 1.5, None)]));
    assert_eq!(doses(&fill), [(1, 400.0), (2, 300.0)]);
    assert_eq!(fill.ec_expected, None);
    assert_eq!(fill.reasons, [Reason::RiseUnknown(ProductId::new(Uuid::from_u128(2)))]);
}

#[test]
fn water_that_has_the_aim_already_gets_nothing() {
    let water = SourceWater { ec_ms_cm: 1.7, ..soft() };
    let fill = fill(&asked(water, vec![part(1, 20, 2.0, Some(0.35))]));
    assert_eq!(doses(&fill), []);
    assert_eq!(fill.reasons, [Reason::WaterAboveAim]);
}

#[test]
fn labels_that_do_not_fit_the_aim_are_told() {
    let fill = fill(&asked(soft(), vec![part(1, 20, 2.0, Some(0.035))]));
    assert!(fill.reasons.iter().any(|reason| matches!(reason, Reason::FarFromProgramme(_))), "{fill:?}");
    assert_eq!(doses(&fill), [(1, 600.0)], "no more than half as much again as the programme says");
}

/// Nitric acid from pH 7.8 to 6.0 takes 0.67 of the alkalinity, to 6.5 0.38 of it (PHREEQC 3, phreeqc.dat): 6.25 lies
/// between.
#[test]
fn hard_water_gets_acid_first_and_of_that_a_part() {
    let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
    let fill = fill(&asked(water, vec![part(1, 20, 2.0, Some(0.35))]));
    let [acid] = acids(&fill)[..] else { panic!("{fill:?}") };
    let share = acid.expected * 6.0 / water_l(&fill) / 4.0;
    assert!((0.38..0.67).contains(&share), "{share}");
    assert!((acid.first - 0.2 * 200.0 / 6.0).abs() < 1e-9, "0.2 meq/L is less than 60 %: {acid:?}");
    assert!(fill.reasons.contains(&Reason::HardWater));
}

#[test]
fn what_adds_nothing_is_told() {
    for rise in [0.0, 0.025] {
        let fill = fill(&asked(soft(), vec![part(1, 20, 2.0, Some(rise))]));
        assert_eq!(fill.reasons, [Reason::NothingAddsEc]);
        assert_eq!(doses(&fill), [(1, 400.0)], "iron is not poured by the EC");
    }
}

#[test]
fn where_chemistry_cannot_tell_the_dose_it_says_why() {
    let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
    let hot = FillAsked { temperature_c: 95.0, ..asked(water, Vec::new()) };
    assert!(matches!(fill(&hot).reasons[..], [.., Reason::NoDose(NoDose::Outside(_))]), "{:?}", fill(&hot));
}

#[test]
fn hard_water_without_an_acid_of_known_strength_gets_no_amount() {
    let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
    let fill = fill(&FillAsked { acid: None, ..asked(water, Vec::new()) });
    assert_eq!(acids(&fill), []);
    assert!(fill.reasons.contains(&Reason::NoAcid));
}

/// By hand: nothing is left of 2 meq/L of a silicate at pH 6.25, so it takes that much more acid than the water alone.
#[test]
fn a_silicate_goes_first_and_takes_acid_too() {
    let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
    let (silicate, rise) = part(1, 10, 1.0, Some(0.2));
    let silicate = (Part { alkalinity_meq: 2.0, ..silicate }, rise);
    let of = |parts| {
        let asked = asked(water, parts);
        let acid = asked.acid.map(|acid| Acid { ec_rise: 0.0, ..acid });
        fill(&FillAsked { ec_aim_ms_cm: 0.7976, acid, ..asked })
    };
    let (with, without) = (of(vec![part(2, 20, 1.0, Some(0.2)), silicate]), of(vec![]));
    let kinds = |step: &Step| match step {
        Step::Water(_) => "water",
        Step::Dose(dose) if dose.product.uuid().as_u128() == 1 => "silicate",
        Step::Dose(..) => "dose",
        Step::Acid(_) => "acid",
        Step::MeasureEc | Step::MeasurePh => "measure",
    };
    let order: Vec<_> = with.steps.iter().map(kinds).collect();
    assert_eq!(order, ["water", "silicate", "acid", "measure", "dose", "measure"]);
    let more = acids(&with)[0].expected / water_l(&with) - acids(&without)[0].expected / water_l(&without);
    assert!((more * 6.0 - 2.0 * 0.4966).abs() < 0.01, "{more}");
}

/// With no alkalinity left to speak of, 1 mmol/L of dihydrogen phosphate hardly resists between 6.25 and 5.8: pK 7.2, so a
/// tenth of it is the other form at 6.25 and a twenty-fifth at 5.8.
#[test]
fn what_is_expected_after_the_nutrients_counts_what_went_before() {
    let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
    let (fed, rise) = part(1, 20, 2.0, Some(0.5));
    let fed = (Part { phosphate_mmol: 0.5, ..fed }, rise);
    let fill = fill(&FillAsked { ph_aim: Some(5.8), ..asked(water, vec![fed]) });
    let [first, after] = acids(&fill)[..] else { panic!("{fill:?}") };
    assert_eq!((first.to_ph, after.to_ph), (6.25, 5.8));
    let meq_l = |dose: AcidDose| dose.expected * 6.0 / 200.0;
    assert!((0.5..1.2).contains(&meq_l(after)) && meq_l(first) > 1.5, "{} {}", meq_l(first), meq_l(after));
    let brought = fill.reasons.iter().find_map(|reason| match reason {
        Reason::AcidBrings("N", mg_l) => Some(*mg_l),
        _ => None,
    });
    let expected = (meq_l(first) + meq_l(after)) * 14.007;
    assert!((brought.unwrap() - expected).abs() < 1e-6, "{brought:?}");
}

#[test]
fn what_records_have_shown_of_an_acid_stretches_its_dose() {
    let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
    let of = |response| {
        let mut asked = asked(water, Vec::new());
        asked.acid = asked.acid.map(|acid| Acid { response, ..acid });
        acids(&fill(&asked))[0].expected
    };
    assert!((of(1.3) - 1.3 * of(1.0)).abs() < 1e-9);
}

/// The value that a normal one stays below nineteen times of twenty is 1.645.
#[test]
fn what_is_learnt_of_an_acid_lets_the_first_part_come_near_the_whole() {
    let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
    let mut asked = asked(water, Vec::new());
    asked.acid = asked.acid.map(|acid| Acid { spread: Some(0.1), ..acid });
    let acid = acids(&fill(&asked))[0];
    assert!((acid.first / acid.expected - (-0.1645f64).exp()).abs() < 1e-3, "{acid:?}");
}

/// The aim is met with what nitrate in the place of bicarbonate adds: 0.025 mS/cm a mmol.
#[test]
fn the_ec_of_acid_in_hard_water_is_left_out_of_the_doses() {
    let of = |ec_rise| {
        let water = SourceWater { ec_ms_cm: 0.6, acidity: acidity(7.8, 4.0) };
        let mut asked = asked(water, vec![part(1, 20, 2.0, Some(0.5))]);
        asked.acid = asked.acid.map(|acid| Acid { ec_rise, ..acid });
        fill(&asked)
    };
    let (with, without) = (of(0.15), of(0.0));
    let of_acid = 0.15 * acids(&with)[0].expected / 200.0;
    assert!(of_acid > 0.03 && (with.ec_expected.unwrap().value - 1.6).abs() < 1e-3, "{with:?}");
    let less = (doses(&without)[0].1 - doses(&with)[0].1) / 200.0;
    assert!((less * 0.4994 - of_acid).abs() < 1e-3, "{less} of {of_acid}");
}

#[test]
fn less_than_a_drop_is_not_told() {
    let water = SourceWater { ec_ms_cm: 0.02, acidity: acidity(6.2, 0.02) };
    let fill = fill(&FillAsked { litres: 10.0, ph_aim: Some(6.1), ..asked(water, Vec::new()) });
    assert_eq!(acids(&fill), []);
}

proptest! {
    #[test]
    fn more_is_wanted_more_is_dosed_and_the_aim_comes_out(
        low in 0.3..2.0f64, more in 0.0..1.0f64, rise in 0.2..1.0f64, dose in 0.5..5.0f64, water in 0.0..0.29f64,
    ) {
        let of = |aim| {
            let water = SourceWater { ec_ms_cm: water, acidity: None };
            fill(&FillAsked { ec_aim_ms_cm: aim, ..asked(water, vec![part(1, 20, dose, Some(rise))]) })
        };
        let (less, much) = (of(low), of(low + more));
        prop_assert!(doses(&less)[0].1 <= doses(&much)[0].1 + 1e-9);
        let (reached, far) = (much.ec_expected.unwrap().value, much.reasons.iter().any(|reason| matches!(reason, Reason::FarFromProgramme(_))));
        prop_assert!((reached - low - more).abs() < 1e-9 || far && reached < low + more);
        let poured_l: f64 = doses(&much).iter().map(|(_, amount)| amount / 1000.0).sum();
        prop_assert!((water_l(&much) + poured_l - 200.0).abs() < 1e-9);
    }
}
