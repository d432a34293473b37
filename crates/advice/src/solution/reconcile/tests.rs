use chrono_tz::Tz;
use fillmark_domain::Metric;
use fillmark_domain::entries::{AdditionReason, SamplePoint};
use uuid::Uuid;

use super::*;
use crate::solution::record::testing::{changed, day, poured, read, watered};
use crate::solution::record::{Event, What};
use crate::solution::simulated::{Chance, learnt, product};
use crate::solution::turnover::Moves;

/// Two parts of a feed and a strong additive: products 1, 2 and 3.
const RISES: [f64; 3] = [0.25, 0.30, 0.80];
const WATER: f64 = 0.3;

fn rises() -> Rises {
    (1..=3).map(|n| (product(n), learnt(RISES[n as usize - 1], 0.05))).collect()
}

/// What is wrong with the record of the dose on day 10.
#[derive(Clone, Copy, PartialEq)]
enum Planted {
    Nothing,
    Slip(f64),
    OtherBottle,
    NeitherRecorded,
    OneNotRecorded,
    NotPoured,
}

/// A tank of 200 L over 21 days: read and topped up each morning, dosed each fifth day and read an hour later.
fn simulated(seed: u64, planted: Planted) -> TankRecord {
    let mut chance = Chance::seeded(seed);
    let hour = TimeDelta::hours(1);
    let (mut litres, mut salt) = (200.0, 200.0 * 1.8);
    // What is learnt is off as it says it may be.
    let truly = RISES.map(|rise| rise * (1.0 + 0.05 * chance.normal()));
    let mut events = Vec::new();
    let mut id = 0;
    let mut read_ec = |events: &mut Vec<Event>, chance: &mut Chance, at, ec: f64| {
        id += 1;
        events.push(read(id, at, Metric::Ec, ec * (1.0 + 0.015 * chance.normal())));
    };
    for n in 0..21 {
        read_ec(&mut events, &mut chance, day(n), salt / litres);
        let drunk_l = 200.0 - litres;
        let noted_l = drunk_l * (1.0 + 0.03 * chance.normal());
        events.push(watered(1000 + n as u128, day(n) + hour / 6, noted_l, AdditionReason::TopUp));
        (litres, salt) = (200.0, salt + drunk_l * WATER);
        if n % 5 == 0 {
            let ml = chance.between(180.0, 220.0);
            let measured = ml * (1.0 + 0.03 * chance.normal());
            let first = if n == 10 && planted == Planted::OtherBottle { truly[2] } else { truly[0] };
            let of_second = if n == 10 && planted == Planted::NotPoured { 0.0 } else { truly[1] };
            salt += (first + of_second) * measured;
            let wrong = if n == 10 { planted } else { Planted::Nothing };
            let noted = if let Planted::Slip(factor) = wrong { ml / factor } else { ml };
            let mut note = |id, product, amount| {
                events.push(poured(id, day(n) + hour / 2, product, amount, AdditionReason::Strength));
            };
            if wrong != Planted::NeitherRecorded {
                note(2000 + n as u128, 1, noted);
            }
            if wrong != Planted::NeitherRecorded && wrong != Planted::OneNotRecorded {
                note(3000 + n as u128, 2, ml);
            }
        }
        read_ec(&mut events, &mut chance, day(n) + hour * 2, salt / litres);
        let drunk_l = chance.between(8.0, 14.0);
        salt -= drunk_l * chance.between(2.4, 3.4);
        litres -= drunk_l;
    }
    TankRecord { fill_mark_l: 200.0, events }
}

fn checks(seed: u64, planted: Planted) -> Vec<Checked> {
    additions(&simulated(seed, planted), &rises(), &Movers::new(), Some(WATER))
}

/// Of 200 runs when this was written: an exact record 200, a slip of a thousand 197 and 200, another bottle 198, nothing on
/// record 200, one of two not on record 194, one not poured 200; of some 8000 other checks 5 went astray, and 52 where the
/// tank ran on weak. In how many of 200 runs the one dose of day 10 gets the right verdict, and none of the others a wrong one.
#[track_caller]
fn check(planted: Planted, at_least: usize, right: impl Fn(&Verdict) -> bool) {
    let (mut found, mut astray) = (0, 0);
    for seed in 0..200 {
        let checks = checks(seed, planted);
        let (of_it, others): (Vec<_>, Vec<_>) =
            checks.iter().partition(|check| check.at == day(10) + TimeDelta::hours(2));
        found += usize::from(of_it.len() == 1 && right(&of_it[0].verdict));
        astray += others.iter().filter(|check| check.verdict != Verdict::Agrees).count();
    }
    println!("{found} of 200 found, {astray} others astray");
    assert!(found >= at_least && astray <= 80, "{found} of 200, {astray} others astray");
}

fn addition(id: u128) -> Id<Addition> {
    Id::new(Uuid::from_u128(id))
}

#[test]
fn an_exact_record_agrees() {
    check(Planted::Nothing, 198, |verdict| *verdict == Verdict::Agrees);
}

#[test]
fn a_slip_of_a_thousand_is_found_either_way() {
    for planted in [1000.0, 0.001] {
        check(Planted::Slip(planted), 190, |verdict| {
            matches!(verdict, Verdict::UnitSlip { whose, factor }
                if whose.is_of(addition(2010)) == Some(true) && (factor / planted - 1.0).abs() < 1e-9)
        });
    }
}

/// A and B add nearly the same, so that the readings do not tell in whose place the other bottle was poured.
#[test]
fn another_bottle_is_found() {
    check(Planted::OtherBottle, 190, |verdict| {
        matches!(verdict, Verdict::WrongProduct { whose: Whose::OneOf(these), poured }
            if these.contains(&addition(2010)) && *poured == product(3))
    });
}

#[test]
fn what_is_not_on_record_is_found() {
    check(
        Planted::NeitherRecorded,
        195,
        |verdict| matches!(verdict, Verdict::UnrecordedAddition { salt } if *salt > 0.0),
    );
    check(Planted::OneNotRecorded, 190, |verdict| matches!(verdict, Verdict::UnrecordedAddition { .. }));
}

#[test]
fn what_was_not_poured_is_found() {
    check(
        Planted::NotPoured,
        180,
        |verdict| matches!(verdict, Verdict::NotPoured { whose: Whose::OneOf(these) } if these.contains(&addition(3010))),
    );
}

/// By hand: 200 L at 1.2 and 100 mL of 0.25 are (240 + 25) / 200.1 = 1.3243.
#[test]
fn the_expected_rise_counts_the_doses_own_volume() {
    let hour = TimeDelta::hours(1);
    let events = vec![
        read(1, day(0), Metric::Volume, 200.0),
        read(2, day(0), Metric::Ec, 1.2),
        poured(3, day(0), 1, 100.0, AdditionReason::Strength),
        read(4, day(0) + hour, Metric::Ec, 1.33),
    ];
    let got = additions(&TankRecord { fill_mark_l: 200.0, events }, &rises(), &Movers::new(), Some(WATER));
    let rise = got[0].rise.unwrap();
    assert!((rise.expected - (265.0 / 200.1 - 1.2)).abs() < 1e-9 && (rise.observed - 0.13).abs() < 1e-9);
    assert_eq!(got[0].verdict, Verdict::Agrees);
}

#[test]
fn a_slip_of_a_thousand_is_one_of_a_product_that_is_hardly_known_too() {
    let hour = TimeDelta::hours(1);
    let events = vec![
        read(1, day(0), Metric::Ec, 1.2),
        poured(2, day(0) + hour, 1, 200_000.0, AdditionReason::Strength),
        read(3, day(0) + hour * 2, Metric::Ec, 1.45),
    ];
    let hardly = [(product(1), learnt(0.25, 0.5))].into();
    let got = additions(&TankRecord { fill_mark_l: 200.0, events }, &hardly, &Movers::new(), Some(WATER));
    assert!(matches!(got[0].verdict, Verdict::UnitSlip { factor, .. } if factor == 0.001), "{got:?}");
}

/// 12 mL of it raise the EC by a hundredth, as good as nothing; that nobody poured would be of an amount that one pours.
#[test]
fn an_absurd_amount_that_hardly_showed_was_keyed_too_large_and_not_left_out() {
    let hour = TimeDelta::hours(1);
    let of = |ml| {
        let events = vec![
            read(1, day(0), Metric::Ec, 1.2),
            poured(2, day(0) + hour, 1, ml, AdditionReason::Strength),
            read(3, day(0) + hour * 2, Metric::Ec, 1.21),
        ];
        additions(&TankRecord { fill_mark_l: 200.0, events }, &rises(), &Movers::new(), Some(WATER))[0]
            .verdict
            .clone()
    };
    assert!(matches!(of(12_000.0), Verdict::UnitSlip { factor, .. } if factor == 0.001));
    assert!(matches!(of(200.0), Verdict::NotPoured { .. }));
}

#[test]
fn what_cannot_be_judged_says_so() {
    let dosed = |id, product| poured(id, day(0), product, 100.0, AdditionReason::Strength);
    let of =
        |events| additions(&TankRecord { fill_mark_l: 200.0, events }, &rises(), &Movers::new(), Some(WATER));
    let alone = of(vec![dosed(1, 1)]);
    assert_eq!(alone[0].verdict, Verdict::NotObserved);
    let unknown = of(vec![
        read(1, day(-1), Metric::Ec, 1.2),
        dosed(2, 9),
        read(3, day(0) + TimeDelta::hours(1), Metric::Ec, 1.3),
    ]);
    assert_eq!(unknown[0].verdict, Verdict::RiseUnknown(product(9)));
    let late = of(vec![read(1, day(-9), Metric::Ec, 1.2), dosed(2, 1), read(3, day(5), Metric::Ec, 1.3)]);
    assert_eq!(late[0].verdict, Verdict::NotObserved);
}

#[test]
fn water_that_nobody_wrote_down_is_told_in_litres() {
    let hour = TimeDelta::hours(1);
    let events = vec![
        read(1, day(0), Metric::Volume, 150.0),
        read(2, day(0), Metric::Ec, 2.0),
        read(3, day(0) + hour, Metric::Ec, 1.575),
    ];
    let got = additions(&TankRecord { fill_mark_l: 200.0, events }, &rises(), &Movers::new(), Some(WATER));
    // 150 · 0.425 / 1.275 = 50.
    assert!(
        matches!(got[0].verdict, Verdict::UnrecordedWater { litres } if (litres - 50.0).abs() < 1e-9),
        "{got:?}"
    );
}

/// Two meters by turns, one of which shows a fifth too much.
#[test]
fn a_meter_that_is_out_is_told_from_slips() {
    let meter = |n: u128| Id::new(Uuid::from_u128(n));
    let mut told = 0;
    for seed in 0..200 {
        let mut chance = Chance::seeded(seed);
        let mut events = Vec::new();
        for n in 0..30 {
            let (with, gain) = if n % 2 == 0 { (meter(1), 1.0) } else { (meter(2), 1.2) };
            let mut ec = |id: u128, at, value: f64| {
                let value = gain * value * (1.0 + 0.01 * chance.normal());
                let id = Id::new(Uuid::from_u128(id));
                let what =
                    What::Read { id, metric: Metric::Ec, point: SamplePoint::Tank, value, meter: Some(with) };
                events.push(Event { at, what });
            };
            let (id, at) = (10 * n as u128, day(n));
            ec(id, at, 1.2);
            ec(id + 1, at + TimeDelta::hours(2), (240.0 + 400.0 * 0.25) / 200.4);
            events.push(read(id + 2, at, Metric::Volume, 200.0));
            events.push(poured(id + 3, at + TimeDelta::hours(1), 1, 400.0, AdditionReason::Strength));
        }
        events.sort_by_key(|event| event.at);
        let got =
            additions(&TankRecord { fill_mark_l: 200.0, events }, &rises(), &Movers::new(), Some(WATER));
        let out = |check: &&Checked| {
            matches!(check.verdict, Verdict::MeterOut { meter: which, factor }
            if which == meter(2) && (factor - 1.2).abs() < 0.1)
        };
        let (of_two, of_one): (Vec<_>, Vec<_>) =
            got.iter().filter(|check| check.meter.is_some()).partition(|check| check.meter == Some(meter(2)));
        let right = of_two.iter().filter(|check| out(check)).count() >= 14;
        told += usize::from(
            right && of_one.iter().all(|check| !matches!(check.verdict, Verdict::MeterOut { .. })),
        );
    }
    println!("{told} of 200");
    assert!(told >= 180, "{told}");
}

fn drawn(record: &TankRecord) -> Vec<Drawn> {
    let of = |event: &Event| match event.what {
        What::Poured { product, amount, .. } => Some(Drawn { product, at: event.at, amount }),
        _ => None,
    };
    record.events.iter().filter_map(of).collect()
}

fn months_of(seed: u64, planted: Planted) -> Vec<Month> {
    let record = simulated(seed, planted);
    months(
        &drawn(&record),
        &additions(&record, &rises(), &Movers::new(), Some(WATER)),
        &rises(),
        Tz::Europe__Berlin,
    )
}

#[test]
fn a_month_closes_where_the_record_is_exact_and_not_where_it_slipped() {
    let (mut closed, mut open) = (0, 0);
    for seed in 0..200 {
        closed +=
            usize::from(months_of(seed, Planted::Nothing).iter().all(|month| {
                (month.year, month.month) == (2026, 3) && month.verdict == MonthVerdict::Closes
            }));
        // What was entered as a thousand times as much was drawn so from stock.
        let slipped = months_of(seed, Planted::Slip(0.001));
        let of_first = slipped.iter().find(|month| month.product == product(1)).unwrap();
        let told = of_first.verdict == MonthVerdict::MoreDrawn && of_first.look_at.contains(&addition(2010));
        open += usize::from(told);
    }
    println!("{closed} closed, {open} open of 200");
    assert!(closed >= 190 && open >= 190, "{closed} closed, {open} open");
}

/// Of 200 mL each day half is noted and drawn: 1 L in the month is on no record.
#[test]
fn what_was_taken_from_stock_without_a_record_shows_in_the_tanks() {
    let of_day = |n: i64| {
        let (id, at) = (10 * n as u128, day(n));
        [
            read(id, at, Metric::Volume, 200.0),
            read(id + 1, at, Metric::Ec, 1.4),
            poured(id + 2, at + TimeDelta::hours(1), 1, 100.0, AdditionReason::Strength),
            read(id + 3, at + TimeDelta::hours(2), Metric::Ec, 1.65),
        ]
    };
    let record = TankRecord { fill_mark_l: 200.0, events: (0..10).flat_map(of_day).collect() };
    let checks = additions(&record, &rises(), &Movers::new(), Some(WATER));
    let got = months(&drawn(&record), &checks, &rises(), Tz::UTC);
    assert_eq!((got[0].drawn, got[0].verdict), (1000.0, MonthVerdict::MoreShown), "{got:?}");
    assert!((got[0].shown.value - 2000.0).abs() < 20.0, "{got:?}");
}

#[test]
fn what_no_reading_tells_is_taken_from_the_record_and_closes_nothing() {
    let events = vec![poured(1, day(0), 1, 100.0, AdditionReason::Strength)];
    let record = TankRecord { fill_mark_l: 200.0, events };
    let got = months(
        &drawn(&record),
        &additions(&record, &rises(), &Movers::new(), Some(WATER)),
        &rises(),
        Tz::UTC,
    );
    assert_eq!((got[0].drawn, got[0].shown.value, got[0].unobserved), (100.0, 100.0, 100.0));
    assert_eq!(got[0].verdict, MonthVerdict::NotObserved);
}

/// Acid is product 1, alkali 2, a nutrient 3; read, poured and read again, EC and pH.
fn bottle(recorded: u128, ec: [f64; 2], ph: [f64; 2]) -> Verdict {
    let hour = TimeDelta::hours(1);
    let events = vec![
        read(1, day(1), Metric::Ec, ec[0]),
        read(2, day(1), Metric::Ph, ph[0]),
        poured(10, day(1) + hour / 4, recorded, 100.0, AdditionReason::Strength),
        read(3, day(1) + hour, Metric::Ec, ec[1]),
        read(4, day(1) + hour, Metric::Ph, ph[1]),
    ];
    let rises: Rises =
        [(1, 0.01), (2, 0.1), (3, 0.8)].map(|(n, rise)| (product(n), learnt(rise, 0.05))).into();
    let movers: Movers = [(product(1), Moves::Down), (product(2), Moves::Up)].into();
    additions(&TankRecord { fill_mark_l: 200.0, events }, &rises, &movers, Some(WATER))[0].verdict.clone()
}

/// The morning's pH of a solution that was drained, or from before another pour, and acid that then is right.
#[test]
fn a_ph_from_before_a_change_or_another_pour_accuses_nobody() {
    let hour = TimeDelta::hours(1);
    let movers: Movers = [(product(1), Moves::Down), (product(2), Moves::Up)].into();
    let verdicts = |deed: Event| {
        let events = vec![
            read(1, day(1), Metric::Ec, 1.8),
            read(2, day(1), Metric::Ph, 5.2),
            deed,
            poured(10, day(1) + hour * 2, 1, 20.0, AdditionReason::Ph),
            read(3, day(1) + hour * 3, Metric::Ec, 1.8),
            read(4, day(1) + hour * 3, Metric::Ph, 5.9),
        ];
        let record = TankRecord { fill_mark_l: 200.0, events };
        let checks = additions(&record, &rises(), &movers, Some(WATER));
        checks.iter().any(|check| matches!(check.verdict, Verdict::WrongProduct { .. }))
    };
    assert!(
        verdicts(read(9, day(1) + hour, Metric::Volume, 200.0)),
        "with nothing between it is the other bottle"
    );
    assert!(!verdicts(changed(9, day(1) + hour, 0.5, 100.0, 100.0)));
    assert!(!verdicts(watered(9, day(1) + hour, 20.0, AdditionReason::TopUp)));
    assert!(!verdicts(poured(9, day(1) + hour, 2, 5.0, AdditionReason::Ph)));
}

#[test]
fn the_ph_tells_which_bottle_was_taken() {
    let of = |poured| {
        let whose = Whose::OneOf(vec![Id::new(Uuid::from_u128(10))]);
        Verdict::WrongProduct { whose, poured: product(poured) }
    };
    assert_eq!(bottle(1, [1.8, 1.81], [6.8, 6.1]), Verdict::Agrees);
    assert_eq!(bottle(1, [1.8, 1.84], [6.8, 7.5]), of(2), "alkali for acid");
    assert_eq!(bottle(3, [1.8, 1.8], [6.2, 4.4]), of(1), "acid for the nutrient");
    assert!(matches!(bottle(3, [1.8, 1.8], [6.2, 6.2]), Verdict::NotPoured { .. }));
    assert_eq!(bottle(3, [1.8, 2.2], [6.2, 5.9]), Verdict::Agrees);
}

/// A tank of 200 L filled afresh, 0.25 and 0.30 mS/cm for a mL in a litre.
fn filled(water: Option<f64>, ml: [f64; 2], ec: f64) -> Checked {
    let events = vec![
        changed(1, day(1), 1.0, 190.0, 199.0),
        poured(10, day(1), 1, ml[0], AdditionReason::Change),
        poured(11, day(1), 2, ml[1], AdditionReason::Change),
        read(3, day(1) + TimeDelta::hours(1), Metric::Ec, ec),
    ];
    let record = TankRecord { fill_mark_l: 200.0, events };
    let checks = additions(&record, &rises(), &Movers::new(), water);
    checks.into_iter().find(|check| !check.poured.is_empty()).unwrap()
}

/// By hand: 400 mL of each in 200 L bring 2 · 0.55 = 1.10 to the water's 0.3.
#[test]
fn a_fresh_fill_is_held_against_its_water() {
    let right = filled(Some(WATER), [400.0, 400.0], 1.4);
    assert_eq!((&right.verdict, right.readings.len()), (&Verdict::Agrees, 1), "{right:?}");
    assert!((right.rise.unwrap().expected - 1.1).abs() < 0.01, "{right:?}");
    let slip = filled(Some(WATER), [400.0, 0.4], 1.4);
    let whose = Whose::OneOf(vec![Id::new(Uuid::from_u128(11))]);
    assert_eq!(slip.verdict, Verdict::UnitSlip { whose, factor: 1000.0 });
    assert_eq!(filled(None, [400.0, 400.0], 1.4).verdict, Verdict::NotObserved);
}
