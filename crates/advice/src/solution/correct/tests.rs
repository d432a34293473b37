use chrono::TimeDelta;
use fillmark_domain::Base;
use fillmark_domain::entries::{AdviceOutcome, AdvisedStep};
use fillmark_domain::stock::Reagent;
use proptest::prelude::*;

use super::super::fill::Acidity;
use super::super::record::testing::day;
use super::super::simulated::{learnt, product};
use super::*;

fn part(id: u128, mixing_rank: i16) -> Part {
    let (phosphate_mmol, alkalinity_meq) = (0.0, 0.0);
    Part { product: product(id), mixing_rank, per_litre: 2.0, liquid: true, phosphate_mmol, alkalinity_meq }
}

/// 170 L of a tank of 200 L that is topped up.
fn asked(ec: f64) -> CorrectAsked {
    let shown = |value| Some(Shown { value, at: day(1), meter: None });
    CorrectAsked {
        fill_mark_l: 200.0,
        litres: Litres { litres: 170.0, spread_l: 4.0 },
        room_l: 30.0,
        ec: shown(ec),
        ph: shown(6.0),
        stirred_at: Some(day(0)),
        water: SourceWater { ec_ms_cm: 0.3, acidity: None },
        water_c: 20.0,
        acid: None,
        titration: None,
        ec_band: BandThen { low: 1.6, aim: 1.8, high: 2.0 },
        ph_band: Some(BandThen { low: 5.5, aim: 6.0, high: 6.5 }),
        parts: vec![part(2, 30), part(1, 20)],
        rise: Ok(learnt(1.0, 0.05)),
        topping_up: true,
        top_up_share: 0.0,
        early: Vec::new(),
    }
}

fn standing(ec: f64) -> CorrectAsked {
    CorrectAsked { topping_up: false, ..asked(ec) }
}

#[track_caller]
fn check(asked: &CorrectAsked, ec: &EcAdvice, ph: PhAdvice) -> Correction {
    let got = correct(asked);
    let close = |a: f64, b: f64| (a - b).abs() < 1e-6;
    let same = match (&got.ec, ec) {
        (EcAdvice::Leave { water_l: a }, EcAdvice::Leave { water_l: b }) => close(*a, *b),
        (EcAdvice::Dilute { drain_l: a, water_l: c }, EcAdvice::Dilute { drain_l: b, water_l: d }) => {
            close(*a, *b) && close(*c, *d)
        }
        (EcAdvice::Strengthen { doses: a, water_l: c }, EcAdvice::Strengthen { doses: b, water_l: d })
        | (EcAdvice::TopUp { doses: a, water_l: c }, EcAdvice::TopUp { doses: b, water_l: d }) => {
            let amounts = a.iter().zip(b).all(|(a, b)| a.product == b.product && close(a.amount, b.amount));
            a.len() == b.len() && amounts && close(*c, *d)
        }
        (a, b) => a == b,
    };
    assert!(same && got.ph == ph, "{got:?}");
    got
}

fn both(amount: f64) -> Vec<FillDose> {
    vec![FillDose { product: product(1), amount }, FillDose { product: product(2), amount }]
}

/// By hand: 200 · 1.8 − 170 · 1.7 − 30 · 0.3 = 62 mS/cm·L; each pair of mL adds 0.5 less 0.002 L of water not filled in at
/// 0.3, 0.4994.
#[test]
fn a_weak_tank_is_strengthened_to_the_state_after_topping_up() {
    let ml = 62.0 / 0.4994;
    let water_l = 30.0 - 2.0 * ml / 1000.0;
    let got = check(&asked(1.7), &EcAdvice::Strengthen { doses: both(ml), water_l }, PhAdvice::Measure);
    assert!((got.ec_expected.unwrap().value - 1.8).abs() < 1e-9);
}

/// By hand: 170 · 0.3 = 51; each pair adds 0.5 less 0.002 L brought to 1.8, 0.4964.
#[test]
fn without_topping_up_the_doses_own_volume_is_brought_to_the_aim_too() {
    let doses = both(51.0 / 0.4964);
    check(&standing(1.5), &EcAdvice::Strengthen { doses, water_l: 0.0 }, PhAdvice::Measure);
}

#[test]
fn within_the_band_it_is_left() {
    check(&standing(1.6), &EcAdvice::Leave { water_l: 0.0 }, PhAdvice::Leave);
    check(&standing(2.0), &EcAdvice::Leave { water_l: 0.0 }, PhAdvice::Leave);
    // 170 · 2.0 + 30 · 0.3 in 200 L are 1.745.
    check(&asked(2.0), &EcAdvice::Leave { water_l: 30.0 }, PhAdvice::Measure);
}

/// By hand: 170 · 0.25 / 1.5 = 28.3 L of water on top; with less room 0.25 / 1.75 of it is replaced.
#[test]
fn a_strong_tank_is_diluted_on_top_or_in_its_place() {
    let water_l = 170.0 * 0.25 / 1.5;
    check(&standing(2.05), &EcAdvice::Dilute { drain_l: 0.0, water_l }, PhAdvice::Measure);
    let replaced = 170.0 * 0.25 / 1.75;
    let full = CorrectAsked { room_l: 5.0, ..standing(2.05) };
    check(&full, &EcAdvice::Dilute { drain_l: replaced, water_l: replaced }, PhAdvice::Measure);
}

/// By hand: 170 · 2.6 + 9 − 360 = 91 mS/cm·L too much, and each litre drained takes 2.6 − 0.3 away.
#[test]
fn what_topping_up_does_not_dilute_enough_is_drained_first() {
    let drain_l = 91.0 / 2.3;
    check(&asked(2.6), &EcAdvice::Dilute { drain_l, water_l: drain_l + 30.0 }, PhAdvice::Measure);
}

#[test]
fn a_fresh_fill_says_why() {
    let early = vec![EarlyChange::Turnover { turnover: 1.1, limit: 1.0 }];
    let turned = CorrectAsked { early, ..standing(1.8) };
    let got = check(&turned, &EcAdvice::FreshFill, PhAdvice::Measure);
    assert!(matches!(got.reasons[..], [Reason::Early(_)]));
    let got = check(&standing(9.5), &EcAdvice::FreshFill, PhAdvice::Measure);
    assert!(matches!(got.reasons[..], [_, Reason::MostOfIt(_)]), "{got:?}");
    let brim = CorrectAsked { room_l: 0.1, ..standing(1.5) };
    let got = check(&brim, &EcAdvice::FreshFill, PhAdvice::Measure);
    assert!(matches!(got.reasons[..], [_, Reason::NoRoom { .. }]), "{got:?}");
}

/// By hand: 0.01 L are missing, and the doses alone need 0.28; 199.99 · 0.3 / 0.4964 of each.
#[test]
fn doses_that_fill_past_the_mark_need_no_water() {
    let litres = Litres { litres: 199.99, spread_l: 4.0 };
    let nearly = CorrectAsked { litres, room_l: 10.0, ..asked(1.5) };
    let doses = both(199.99 * 0.3 / 0.4964);
    check(&nearly, &EcAdvice::Strengthen { doses, water_l: 0.0 }, PhAdvice::Measure);
}

#[test]
fn what_is_not_known_gets_no_amount() {
    let unknown = CorrectAsked { rise: Err(product(2)), ..asked(1.5) };
    check(&unknown, &EcAdvice::SmallSteps, PhAdvice::Measure);
    let idle = CorrectAsked { rise: Ok(learnt(0.0, 0.0)), ..asked(1.5) };
    check(&idle, &EcAdvice::SmallSteps, PhAdvice::Measure);
    let salty = CorrectAsked { water: SourceWater { ec_ms_cm: 1.9, acidity: None }, ..standing(2.4) };
    check(&salty, &EcAdvice::OutOfReach, PhAdvice::Measure);
    let unmixed = CorrectAsked { stirred_at: Some(day(1) - TimeDelta::minutes(5)), ..asked(1.5) };
    check(&unmixed, &EcAdvice::Measure, PhAdvice::Measure);
    check(&CorrectAsked { ec: None, ..asked(1.5) }, &EcAdvice::Measure, PhAdvice::Measure);
}

#[test]
fn the_ph_is_told_where_the_ec_is_right() {
    let ph = |value| CorrectAsked { ph: Some(Shown { value, at: day(1), meter: None }), ..standing(1.8) };
    let leave = EcAdvice::Leave { water_l: 0.0 };
    check(&ph(6.5), &leave, PhAdvice::Leave);
    check(&ph(6.6), &leave, PhAdvice::Lower);
    check(&ph(5.4), &leave, PhAdvice::Raise);
    check(&CorrectAsked { ph: None, ..standing(1.8) }, &leave, PhAdvice::Measure);
    check(&CorrectAsked { ph_band: None, ..ph(9.0) }, &leave, PhAdvice::Leave);
}

/// By hand: water alone makes 1.745; 30 · 0.5 pairs of doses add 15 · 1.0 and take 15 · 0.004 L of water at 0.3 away: 1.8199
/// would be past the aim, so 200 · 0.055 / 0.9988 are poured; 30 · 0.36 stay below it.
#[test]
fn a_tank_in_its_band_is_topped_up_as_the_programme_has_it_and_not_past_the_aim() {
    let of = |top_up_share, times: f64| {
        let doses = both(2.0 * times);
        let expected = EcAdvice::TopUp { doses, water_l: 30.0 - 0.004 * times };
        check(&CorrectAsked { top_up_share, ..asked(2.0) }, &expected, PhAdvice::Measure)
    };
    let got = of(0.5, 200.0 * 0.055 / 0.9988);
    assert!((got.ec_expected.unwrap().value - 1.8).abs() < 1e-9, "{got:?}");
    of(0.36, 30.0 * 0.36);
    assert_eq!(got.outcome(), AdviceOutcome::FollowSteps);
    check(
        &CorrectAsked { top_up_share: 0.01, ..asked(2.0) },
        &EcAdvice::Leave { water_l: 30.0 },
        PhAdvice::Measure,
    );
}

/// With hard water and nitric acid of 6 mol/L.
fn hard(ec: f64, ph: f64) -> CorrectAsked {
    let acidity = Acidity { ph: 7.8, alkalinity_meq_l: 4.0 };
    let (reagent, spread) = (Reagent::Nitric, None);
    CorrectAsked {
        water: SourceWater { ec_ms_cm: 0.3, acidity: Some(acidity) },
        acid: Some(Acid {
            product: product(9),
            reagent,
            mmol_per_unit: 6.0,
            base: Base::Volume,
            response: 1.0,
            spread,
            ec_rise: 0.15,
        }),
        titration: Titration::of_feed(acidity, 0.0, reagent).ok(),
        ph: Some(Shown { value: ph, at: day(1), meter: None }),
        ..asked(ec)
    }
}

/// meq that are expected of the acid, over the litres filled in.
fn meq_l(got: &Correction) -> f64 {
    got.acid.unwrap().expected * 6.0 / got.ec.water_l()
}

#[test]
fn hard_water_to_the_mark_takes_acid_before_the_doses() {
    let asked = hard(1.7, 6.0);
    let got = correct(&asked);
    let share = meq_l(&got) / 4.0;
    assert!((0.6..0.72).contains(&share), "to pH 6.0 it takes 0.67 of the alkalinity (PHREEQC 3): {share}");
    assert!(got.reasons.contains(&Reason::OfWater(fill::Reason::HardWater)));
    let kinds: Vec<&str> = got.advised(|_| true).iter().map(kind).collect();
    assert_eq!(kinds, ["water", "adjust", "measure", "dose", "dose", "measure", "measure"]);

    assert_eq!(correct(&hard(1.7, 5.6)).acid, None, "what is acid already is not made more so");
    let without = correct(&CorrectAsked { acid: None, ..asked.clone() });
    assert!(without.reasons.contains(&Reason::OfWater(fill::Reason::NoAcid)));
    assert_eq!(correct(&CorrectAsked { topping_up: false, ..asked }).acid, None);
}

/// Acid for a mixture is acid for its parts, so that both go to one pH.
#[test]
fn a_tank_above_its_band_takes_acid_beside_the_water_that_thins_it() {
    let alone = correct(&hard(2.6, 6.0));
    let high = correct(&hard(2.6, 7.0));
    let kept_l = 170.0 - high.ec.drain_l();
    assert!(high.ec.drain_l() > alone.ec.drain_l(), "for what the acid adds: {high:?} {alone:?}");
    let of_tank = hard(2.6, 7.0).titration.unwrap().mmol_l(7.0, 6.0).unwrap() * kept_l / high.ec.water_l();
    assert!((meq_l(&high) - meq_l(&alone) - of_tank).abs() < 1e-9, "{high:?} {alone:?}");
    assert!(of_tank > 1.0 && high.reasons.contains(&Reason::HardWater), "no nutrients go in: {high:?}");
    let expected = high.ec_expected.unwrap().value;
    assert!(high.acid.unwrap().to_ph == 6.0 && (expected - 1.8).abs() < 1e-9, "the acid counted: {expected}");
}

#[test]
fn a_ph_from_before_something_was_poured_takes_no_acid() {
    let stirred = CorrectAsked { stirred_at: Some(day(1) + TimeDelta::minutes(5)), ..hard(2.6, 7.0) };
    let ec = Some(Shown { value: 2.6, at: day(1) + TimeDelta::hours(1), meter: None });
    let (old, none) = (CorrectAsked { ec, ..stirred.clone() }, CorrectAsked { ec, ph: None, ..stirred });
    assert_eq!(correct(&old).acid, correct(&none).acid, "of the water alone, as where no pH is known");
}

#[test]
fn within_its_band_a_tank_keeps_its_ph_when_hard_water_goes_in() {
    let (at_aim, above) = (correct(&hard(1.7, 6.0)), correct(&hard(1.7, 6.4)));
    assert_eq!(above.acid.unwrap().to_ph, 6.4);
    assert!(meq_l(&above) < meq_l(&at_aim));
}

#[test]
fn plain_hard_water_takes_acid_before_nutrients_though_none_is_filled_in() {
    let plain = CorrectAsked { topping_up: false, room_l: 100.0, ..hard(0.4, 7.8) };
    let got = correct(&plain);
    let share = got.acid.unwrap().expected * 6.0 / 170.0 / 4.0;
    assert!((0.6..0.72).contains(&share), "{share}");
    let unknown = correct(&CorrectAsked { rise: Err(product(1)), ..plain });
    let kinds: Vec<&str> = unknown.advised(|_| true).iter().map(kind).collect();
    assert_eq!(kinds, ["adjust", "measure", "measure", "measure"]);
}

fn kind(step: &AdvisedStep) -> &'static str {
    match step {
        AdvisedStep::Drain(_) => "drain",
        AdvisedStep::Water(_) => "water",
        AdvisedStep::Dose(_) => "dose",
        AdvisedStep::Adjust { .. } => "adjust",
        AdvisedStep::Measure(_) => "measure",
    }
}

#[test]
fn what_may_pass_the_band_is_told() {
    let got = correct(&CorrectAsked { rise: Ok(learnt(1.0, 0.4)), ..asked(1.2) });
    assert!(got.reasons.contains(&Reason::MayPassBand), "{got:?}");
}

/// Salt and litres after an advice, by the sums of its own figures.
fn ec_after(asked: &CorrectAsked, advice: &EcAdvice) -> Option<(f64, f64)> {
    let ec = asked.ec.unwrap().value;
    let (drain_l, water_l, doses) = match advice {
        EcAdvice::Leave { water_l } => (0.0, *water_l, Vec::new()),
        EcAdvice::TopUp { doses, water_l } | EcAdvice::Strengthen { doses, water_l } => {
            (0.0, *water_l, doses.clone())
        }
        EcAdvice::Dilute { drain_l, water_l } => (*drain_l, *water_l, Vec::new()),
        _ => return None,
    };
    let poured: f64 = doses.iter().map(|dose| dose.amount).sum();
    let kept_l = asked.litres.litres - drain_l;
    let litres = kept_l + water_l + poured / 1000.0;
    // Two parts alike, 2 mL of each in a litre.
    let rise = asked.rise.as_ref().unwrap().value / 4.0;
    Some(((kept_l * ec + water_l * asked.water.ec_ms_cm + poured * rise) / litres, litres))
}

proptest! {
    #[test]
    fn the_aim_is_reached_within_the_tanks_room(
        ec in 0.3..5.0f64, water in 0.0..1.2f64, litres in 60.0..200.0f64, room in 0.0..40.0f64, rise in 0.05..1.0f64,
        topping_up: bool,
    ) {
        let asked = CorrectAsked {
            water: SourceWater { ec_ms_cm: water, acidity: None },
            litres: Litres { litres, spread_l: 4.0 },
            room_l: room,
            rise: Ok(learnt(4.0 * rise, 0.05)),
            topping_up,
            ..asked(ec)
        };
        let got = correct(&asked);
        if let Some((after, full_l)) = ec_after(&asked, &got.ec) {
            prop_assert!((got.ec_expected.unwrap().value - after).abs() < 1e-9);
            let most_l = if topping_up { (litres + room).max(200.0) } else { litres + room };
            prop_assert!(full_l <= most_l + 1e-9, "{full_l} of {most_l}");
            let alone = if topping_up { (litres * ec + (200.0 - litres) * water) / 200.0 } else { ec };
            match got.ec {
                EcAdvice::Strengthen { .. } => {
                    let far = got.reasons.iter().any(|reason| matches!(reason, Reason::FarFromProgramme(_)));
                    prop_assert!((after - 1.8).abs() < 1e-9 || far && after < 1.8);
                    prop_assert!(after >= alone);
                    prop_assert!(topping_up || after >= ec);
                }
                EcAdvice::Dilute { drain_l, water_l } => {
                    prop_assert!((after - 1.8).abs() < 1e-9 && after <= alone && after <= ec);
                    prop_assert!(drain_l >= 0.0 && water_l >= 0.0 && drain_l <= litres);
                }
                _ => prop_assert!((1.6..=2.0).contains(&after)),
            }
        }
    }

    #[test]
    fn the_weaker_the_more_is_dosed(ec in 0.3..1.5f64, less in 0.0..0.5f64, topping_up: bool) {
        let dosed = |ec: f64| match correct(&CorrectAsked { topping_up, room_l: 100.0, ..asked(ec) }).ec {
            EcAdvice::Strengthen { doses, .. } => doses[0].amount,
            _ => 0.0,
        };
        prop_assert!(dosed((ec - less).max(0.3)) >= dosed(ec) - 1e-9);
    }
}

/// Acid is counted only where it goes in, however near the EC is to its band.
#[test]
fn no_acid_is_spoken_of_that_does_not_go_in() {
    let with_acid = |reason: &Reason| {
        matches!(
            reason,
            Reason::InBand(Undosed::WithAcid(_))
                | Reason::Weak(Undosed::WithAcid(_))
                | Reason::Strong(Undosed::WithAcid(_))
        )
    };
    for step in 0..200 {
        let ec = 0.8 + 0.01 * f64::from(step);
        let got = correct(&CorrectAsked { topping_up: false, room_l: 100.0, ..hard(ec, 7.8) });
        assert!(got.acid.is_some() || !got.reasons.iter().any(with_acid), "{ec}: {got:?}");
    }
}
