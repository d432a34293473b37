use chrono_tz::Tz;
use fillmark_domain::Metric;
use fillmark_domain::entries::{AdditionReason, SamplePoint};
use uuid::Uuid;

mod bottles;
mod meters;

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
    additions(&simulated(seed, planted), (&rises(), &InForceSince::new()), &Movers::new(), Some(WATER))
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
    let got = additions(
        &TankRecord { fill_mark_l: 200.0, events },
        (&rises(), &InForceSince::new()),
        &Movers::new(),
        Some(WATER),
    );
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
    let got = additions(
        &TankRecord { fill_mark_l: 200.0, events },
        (&hardly, &InForceSince::new()),
        &Movers::new(),
        Some(WATER),
    );
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
        additions(
            &TankRecord { fill_mark_l: 200.0, events },
            (&rises(), &InForceSince::new()),
            &Movers::new(),
            Some(WATER),
        )[0]
        .verdict
        .clone()
    };
    assert!(matches!(of(12_000.0), Verdict::UnitSlip { factor, .. } if factor == 0.001));
    assert!(matches!(of(200.0), Verdict::NotPoured { .. }));
}

#[test]
fn what_cannot_be_judged_says_so() {
    let dosed = |id, product| poured(id, day(0), product, 100.0, AdditionReason::Strength);
    let of = |events| {
        additions(
            &TankRecord { fill_mark_l: 200.0, events },
            (&rises(), &InForceSince::new()),
            &Movers::new(),
            Some(WATER),
        )
    };
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
    let got = additions(
        &TankRecord { fill_mark_l: 200.0, events },
        (&rises(), &InForceSince::new()),
        &Movers::new(),
        Some(WATER),
    );
    // 150 · 0.425 / 1.275 = 50.
    assert!(
        matches!(got[0].verdict, Verdict::UnrecordedWater { litres } if (litres - 50.0).abs() < 1e-9),
        "{got:?}"
    );
}

#[test]
fn what_was_poured_under_an_earlier_label_is_not_held_against_the_one_in_force() {
    let labels = InForceSince::from([(product(1), day(11))]);
    let got = additions(&simulated(1, Planted::Nothing), (&rises(), &labels), &Movers::new(), Some(WATER));
    let poured = got.iter().filter(|check| !check.poured.is_empty());
    let earlier = |check: &Checked| check.verdict == Verdict::EarlierLabel(product(1));
    assert!(poured.clone().all(|check| earlier(check) == (check.at < day(11))), "{got:?}");
    assert!(got.iter().all(|check| !check.verdict.wants_a_look()));
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
        &additions(&record, (&rises(), &InForceSince::new()), &Movers::new(), Some(WATER)),
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
    let checks = additions(&record, (&rises(), &InForceSince::new()), &Movers::new(), Some(WATER));
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
        &additions(&record, (&rises(), &InForceSince::new()), &Movers::new(), Some(WATER)),
        &rises(),
        Tz::UTC,
    );
    assert_eq!((got[0].drawn, got[0].shown.value, got[0].unobserved), (100.0, 100.0, 100.0));
    assert_eq!(got[0].verdict, MonthVerdict::NotObserved);
}

/// The verdicts of a tank of 500 L with these readings of EC and gauge by hours, and so much topped up after two.
#[track_caller]
fn check_levels(topped_up_l: Option<f64>, seen: &[(i64, Option<f64>, Option<f64>)], expected: &[Verdict]) {
    let at = |hours: i64| day(1) + TimeDelta::hours(hours);
    let mut events: Vec<Event> = Vec::new();
    for (number, (hours, ec, litres)) in seen.iter().enumerate() {
        let id = 10 * number as u128;
        events.extend(litres.map(|litres| read(id + 1, at(*hours), Metric::Volume, litres)));
        events.extend(ec.map(|ec| read(id + 2, at(*hours), Metric::Ec, ec)));
    }
    events.extend(topped_up_l.map(|litres| watered(900, at(2), litres, AdditionReason::TopUp)));
    events.sort_by_key(|event| event.at);
    let record = TankRecord { fill_mark_l: 500.0, events };
    let found = additions(&record, (&rises(), &InForceSince::new()), &Movers::new(), Some(WATER));
    assert_eq!(found.iter().map(|check| check.verdict.clone()).collect::<Vec<_>>(), expected);
}

/// 60 of 500 L evaporate: 1.6 · 500 / 440. Without a gauge nobody knows.
#[test]
fn what_evaporates_was_poured_by_nobody() {
    let (full, less) = ((0, Some(1.6), Some(500.0)), (24, Some(1.818), Some(440.0)));
    check_levels(None, &[full, less], &[Verdict::Agrees]);
    check_levels(None, &[full, (24, Some(2.6), Some(440.0))], &[Verdict::UnrecordedAddition { salt: 440.0 }]);
    // All that left as pure water makes 1.83 of 1.62.
    let poured = [(0, Some(1.62), Some(500.0)), (24, Some(2.24), Some(442.5))];
    check_levels(None, &poured, &[Verdict::UnrecordedAddition { salt: 274.35 }]);
}

/// (300 · 1.6 + 200 · 0.3) / 500 = 1.08, and that is what still stands in it when half has leaked away.
#[test]
fn what_leaks_away_after_a_top_up_was_topped_up() {
    let seen = [(0, Some(1.6), Some(300.0)), (3, None, Some(500.0)), (8, Some(1.08), Some(250.0))];
    check_levels(Some(200.0), &seen, &[Verdict::Agrees]);
}
