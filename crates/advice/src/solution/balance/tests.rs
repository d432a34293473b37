use proptest::prelude::*;

use super::super::record::testing::{changed, day, poured, read, watered};
use super::super::record::{Event, TankRecord};
use super::super::simulated::{learnt, product};
use super::*;

fn rises() -> Rises {
    [(product(1), learnt(0.35, 0.0))].into()
}

#[track_caller]
fn check(events: Vec<Event>, water_and_nutrient: &[(f64, f64)]) {
    let got = spans(&TankRecord { fill_mark_l: 200.0, events }, 0.3, &rises());
    let got: Vec<_> = got.iter().map(|span| (span.water_l().value, span.nutrient().unwrap().value)).collect();
    assert_eq!(got.len(), water_and_nutrient.len(), "{got:?}");
    for (got, expected) in got.iter().zip(water_and_nutrient) {
        assert!((got.0 - expected.0).abs() < 1e-9 && (got.1 - expected.1).abs() < 1e-9, "{got:?}");
    }
}

fn both(id: u128, at: DateTime<Utc>, litres: f64, ec: f64) -> [Event; 2] {
    [read(id, at, Metric::Ec, ec), read(id + 1, at, Metric::Volume, litres)]
}

/// By hand: 200 · 1.8 − 170 · 1.9 = 37 mS/cm·L.
#[test]
fn readings_of_both_close_the_balance() {
    check([both(1, day(0), 200.0, 1.8), both(3, day(1), 170.0, 1.9)].concat(), &[(30.0, 37.0)]);
}

/// By hand: the mark less 30 L stood there before the top-up; 170 · 1.9 + 30 · 0.3 + 0.35 · 56 = 351.6 after it.
#[test]
fn a_top_up_tells_what_stood_there_before() {
    let hour = TimeDelta::hours(1);
    let events = vec![
        watered(1, day(0), 10.0, AdditionReason::TopUp),
        read(2, day(0) + hour, Metric::Ec, 1.8),
        read(3, day(1), Metric::Ec, 1.9),
        poured(4, day(1), 1, 56.0, AdditionReason::Strength),
        watered(5, day(1) + hour / 2, 29.944, AdditionReason::TopUp),
        read(6, day(1) + hour, Metric::Ec, (170.0 * 1.9 + 29.944 * 0.3 + 19.6) / 200.0),
    ];
    check(events, &[(30.0, 37.0), (0.0, 0.0)]);
}

#[test]
fn a_full_change_begins_anew_and_a_partial_one_takes_along_what_stood_there() {
    let full = changed(5, day(1), 1.0, 190.0, 200.0);
    let events = [&both(1, day(0), 200.0, 1.8)[..], &[full], &both(3, day(2), 200.0, 1.6)].concat();
    check(events, &[]);
    let half = changed(5, day(1), 0.5, 100.0, 100.0);
    let events = [&both(1, day(0), 200.0, 1.8)[..], &[half], &both(3, day(2), 200.0, 1.05)].concat();
    check(events, &[(0.0, 0.0)]);
}

#[test]
fn what_is_not_mixed_or_of_unknown_litres_is_no_state() {
    let soon = day(0) + TimeDelta::minutes(10);
    let events = [&[watered(1, day(0), 5.0, AdditionReason::TopUp)][..], &both(2, soon, 200.0, 1.5)].concat();
    let record = TankRecord { fill_mark_l: 200.0, events };
    assert!(visits(&record).iter().all(|(state, _)| state.is_none()));
    let alone = TankRecord { fill_mark_l: 200.0, events: vec![read(1, day(0), Metric::Ec, 1.5)] };
    assert!(visits(&alone)[0].0.is_none());
}

#[test]
fn a_product_without_a_rise_leaves_the_nutrient_open() {
    let events = [
        &both(1, day(0), 200.0, 1.8)[..],
        &[poured(5, day(0) + SAME_VISIT, 2, 50.0, AdditionReason::Strength)],
        &both(3, day(1), 190.0, 1.9),
    ];
    let got = spans(&TankRecord { fill_mark_l: 200.0, events: events.concat() }, 0.3, &rises());
    assert_eq!(got[0].nutrient(), None);
    assert!((got[0].water_l().value - 10.05).abs() < 1e-9);
}

/// What a day brings to a simulated tank.
#[derive(Debug, Clone, Copy)]
struct Day {
    drunk_l: f64,
    at_ms_cm: f64,
    poured_ml: f64,
    watered_l: f64,
    drained: f64,
}

fn a_day() -> impl Strategy<Value = Day> {
    (0.0..20.0f64, 0.0..3.0f64, 0.0..200.0f64, 0.0..40.0f64, 0.0..0.5f64).prop_map(
        |(drunk_l, at_ms_cm, poured_ml, watered_l, drained)| Day {
            drunk_l,
            at_ms_cm,
            poured_ml,
            watered_l,
            drained,
        },
    )
}

proptest! {
    /// Each day: drink, read, drain and fill, pour, and read again.
    #[test]
    fn water_and_salt_are_kept(days in prop::collection::vec(a_day(), 1..12)) {
        let (mut litres, mut salt) = (400.0, 600.0);
        let mut events = both(0, day(-1), litres, salt / litres).to_vec();
        let mut taken = Vec::new();
        for (n, one) in days.iter().enumerate() {
            let (id, at) = (10 * (n as u128 + 1), day(n as i64));
            litres -= one.drunk_l;
            salt -= one.drunk_l * one.at_ms_cm;
            taken.push((one.drunk_l, one.drunk_l * one.at_ms_cm));
            events.extend(both(id, at, litres, salt / litres));
            let drained_l = one.drained * litres;
            salt += 0.3 * (one.watered_l + drained_l) - drained_l * salt / litres + 0.35 * one.poured_ml;
            litres += one.watered_l + one.poured_ml / 1000.0;
            events.push(changed(id + 2, at, one.drained, drained_l, drained_l));
            events.push(watered(id + 3, at, one.watered_l, AdditionReason::Strength));
            events.push(poured(id + 4, at, 1, one.poured_ml, AdditionReason::Strength));
            events.extend(both(id + 5, at + TimeDelta::hours(1), litres, salt / litres));
            taken.push((0.0, 0.0));
        }
        let got = spans(&TankRecord { fill_mark_l: 400.0, events }, 0.3, &rises());
        prop_assert_eq!(got.len(), taken.len());
        for (span, (drunk_l, salt)) in got.iter().zip(taken) {
            prop_assert!((span.water_l().value - drunk_l).abs() < 1e-9);
            prop_assert!((span.nutrient().unwrap().value - salt).abs() < 1e-9);
            prop_assert!((span.nutrient_beyond(1.1).unwrap().value - salt + 1.1 * drunk_l).abs() < 1e-9);
        }
    }
}
