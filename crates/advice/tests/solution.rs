//! What must hold of any water or feed, whatever is in it.
#![expect(clippy::unwrap_used, reason = "a solution that cannot be made is a failed test")]

use fillmark_advice::solution::conductivity::{conductivity_ms_cm, ec25_at_ph_ms_cm, ec25_ms_cm};
use fillmark_advice::solution::ph::{
    NoDose, alkalinity_meq_l, at_own_ph, balanced_at, buffer_capacity_mmol_l, dose_to_ph, water_of_alkalinity,
};
use fillmark_advice::solution::reagents::{Chemistry as _, Reagent, dose_mmol_l};
use fillmark_advice::solution::salts::Salt;
use fillmark_advice::solution::speciation::speciate;
use fillmark_advice::solution::{Carbon, Component, Composition, OutsideModel};
use proptest::prelude::*;

/// A feed of up to some mmol/L of each salt; together they are neutral.
fn feeds() -> impl Strategy<Value = Composition> {
    const SALTS: [&str; 9] =
        ["KNO3", "Ca(NO3)2", "KH2PO4", "MgSO4", "K2SO4", "NH4NO3", "NaCl", "KHCO3", "ZnSO4"];
    proptest::collection::vec(0.0..6.0f64, SALTS.len()).prop_map(|amounts| {
        SALTS.iter().zip(amounts).fold(Composition::default(), |sum, (salt, mmol_l)| {
            sum.plus(&Salt::read(salt).unwrap().per_mol, mmol_l)
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 32, ..ProptestConfig::default() })]

    #[test]
    fn charge_and_mass_are_kept(feed in feeds(), temperature_c in 0.0..45.0) {
        let found = at_own_ph(&feed, Carbon::Closed, temperature_c).unwrap();
        prop_assert!(found.charge_meq_l().abs() < 1e-6, "{}", found.charge_meq_l());
        for (component, total) in feed.present() {
            let kept = found.total_mmol_l(component);
            prop_assert!((kept - total).abs() < 1e-9 * (1.0 + total), "{component:?}: {kept} of {total}");
        }
    }

    #[test]
    fn mass_is_kept_at_any_ph(feed in feeds(), ph in 3.0..10.0) {
        let found = speciate(&feed, Carbon::Closed, ph, 25.0).unwrap();
        for (component, total) in feed.present() {
            prop_assert!((found.total_mmol_l(component) - total).abs() < 1e-9 * (1.0 + total), "{component:?}");
        }
    }

    #[test]
    fn a_dilution_never_raises_conductivity(feed in feeds(), times in 1.001..20.0) {
        let (before, after) = (ec25_ms_cm(&feed).unwrap(), ec25_ms_cm(&feed.diluted(times)).unwrap());
        prop_assert!(after <= before, "{before} {after}");
    }

    #[test]
    fn more_of_a_salt_raises_conductivity(feed in feeds()) {
        let more = feed.plus(&Salt::read("KNO3").unwrap().per_mol, 0.1);
        prop_assert!(ec25_ms_cm(&more).unwrap() > ec25_ms_cm(&feed).unwrap());
    }

    #[test]
    fn a_dose_takes_the_water_to_its_target(
        alkalinity in 0.5..6.0,
        start in 7.0..8.4,
        target in 5.2..6.8,
        reagent in proptest::sample::select(vec![
            Reagent::Nitric, Reagent::Phosphoric, Reagent::Sulfuric, Reagent::Citric, Reagent::Hydrochloric,
        ]),
    ) {
        let water = water_of_alkalinity(alkalinity, Component::Calcium, start, 20.0).unwrap();
        let dose = dose_mmol_l(&water, reagent, target, 20.0).unwrap();
        let acidified = water.plus(&reagent.per_mol(), dose);
        let ph = at_own_ph(&acidified, Carbon::Closed, 20.0).unwrap().ph;
        prop_assert!((ph - target).abs() < 1e-6, "{ph} instead of {target}");
    }
}

#[test]
fn pure_water_conducts_what_its_own_ions_do() {
    let water = at_own_ph(&Composition::default(), Carbon::Closed, 25.0).unwrap();
    assert!((water.ph - 6.998).abs() < 0.01, "{}", water.ph);
    // 0.055 µS/cm at 25 °C: CRC Handbook (from memory).
    assert!((conductivity_ms_cm(&water) * 1000.0 - 0.055).abs() < 0.001);
}

#[test]
fn pure_water_under_air_is_a_little_acid() {
    // 5.6 at 400 ppm: Stumm and Morgan, Aquatic Chemistry (from memory).
    let rain = at_own_ph(&Composition::default(), Carbon::OpenToAir { co2_ppm: 400.0 }, 25.0).unwrap();
    assert!((rain.ph - 5.61).abs() < 0.03, "{}", rain.ph);
}

#[test]
fn a_base_raises_the_ph_and_an_acid_does_not() {
    let feed = water_of_alkalinity(0.5, Component::Calcium, 5.5, 25.0).unwrap();
    for base in [Reagent::PotassiumHydroxide, Reagent::PotassiumCarbonate, Reagent::PotassiumBicarbonate] {
        let dose = dose_mmol_l(&feed, base, 6.0, 25.0).unwrap();
        let ph = at_own_ph(&feed.plus(&base.per_mol(), dose), Carbon::Closed, 25.0).unwrap().ph;
        assert!((ph - 6.0).abs() < 1e-6, "{base:?}: {ph}");
    }
    let acid = Reagent::Nitric.per_mol();
    assert!(matches!(
        dose_to_ph(&feed, &acid, 6.0, 25.0),
        Err(NoDose::NotReached { .. } | NoDose::Outside(_))
    ));
}

#[test]
fn alkalinity_is_what_the_water_was_made_with() {
    for alkalinity in [0.5, 2.0, 6.0] {
        let water = water_of_alkalinity(alkalinity, Component::Calcium, 7.6, 25.0).unwrap();
        let found = alkalinity_meq_l(&water, 25.0).unwrap();
        assert!((found - alkalinity).abs() < 0.05 + 0.02 * alkalinity, "{alkalinity}: {found}");
    }
    let sour = Composition::default().with(Component::Nitrate, 1.0);
    assert_eq!(alkalinity_meq_l(&sour, 25.0), Ok(0.0));
}

#[test]
fn a_weak_acid_does_not_reach_any_ph() {
    let citric = Reagent::Citric.per_mol();
    let water = water_of_alkalinity(1.0, Component::Calcium, 7.8, 25.0).unwrap();
    assert!(dose_to_ph(&water, &citric, 1.0, 25.0).is_err());
}

#[test]
fn a_feed_is_best_buffered_where_its_phosphate_is() {
    let feed = Composition::default().plus(&Salt::read("KH2PO4").unwrap().per_mol, 1.0);
    let at = |ph| buffer_capacity_mmol_l(&feed, ph, 25.0).unwrap();
    assert!(at(7.1) > at(6.0) && at(6.0) > at(5.0));
    // A buffer of one step is at most ln 10 / 4 of its amount a pH (Van Slyke 1922), here with a little of the water's own.
    assert!((at(7.15) - 0.5756).abs() < 0.01, "{}", at(7.15));
}

#[test]
fn an_unbalanced_analysis_can_be_looked_at_or_balanced() {
    let analysis = Composition::default().with(Component::Calcium, 2.0).with(Component::Nitrate, 3.0);
    let ec = ec25_at_ph_ms_cm(&analysis, 6.0).unwrap();
    assert!((0.35..0.5).contains(&ec), "{ec}");
    let balanced = balanced_at(&analysis, 6.0, 25.0).unwrap();
    assert!((balanced.mmol_l(Component::Chloride) - 1.0).abs() < 0.01);
    assert!((at_own_ph(&balanced, Carbon::Closed, 25.0).unwrap().ph - 6.0).abs() < 1e-6);
}

#[test]
fn what_the_model_is_not_good_for_is_refused() {
    let stock = Composition::default().with(Component::Calcium, 900.0).with(Component::Nitrate, 1800.0);
    assert!(matches!(ec25_ms_cm(&stock), Err(OutsideModel::TooConcentrated { .. })));
    let feed = Composition::default();
    let none = feed.with(Component::Calcium, f64::NAN);
    assert_eq!(ec25_ms_cm(&none), Err(OutsideModel::NoSuchSolution));
    assert_eq!(speciate(&feed, Carbon::Closed, f64::NAN, 25.0), Err(OutsideModel::NoSuchSolution));
    assert_eq!(speciate(&feed, Carbon::Closed, 6.0, 80.0), Err(OutsideModel::NoSuchSolution));
    let infinite = feed.with(Component::Calcium, f64::INFINITY);
    assert_eq!(ec25_ms_cm(&infinite), Err(OutsideModel::NoSuchSolution));
}
