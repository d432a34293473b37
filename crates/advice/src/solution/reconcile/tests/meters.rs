//! Meters that are out, told from slips.

use super::*;

/// A month of doses, each with a reading before and after by one of these meters in turn, which show so many times what is.
fn by_turns(seed: u64, meters: &[(u128, f64)]) -> Vec<Checked> {
    let mut chance = Chance::seeded(seed);
    let mut events = Vec::new();
    for n in 0..30 {
        let (with, gain) = meters[n as usize % meters.len()];
        let mut ec = |id: u128, at, value: f64| {
            let value = gain * value * (1.0 + 0.01 * chance.normal());
            let (id, meter) = (Id::new(Uuid::from_u128(id)), Some(Id::new(Uuid::from_u128(with))));
            let what = What::Read { id, metric: Metric::Ec, point: SamplePoint::Tank, value, meter };
            events.push(Event { at, what });
        };
        let (id, at) = (10 * n as u128, day(n));
        ec(id, at, 1.2);
        ec(id + 1, at + TimeDelta::hours(2), (240.0 + 400.0 * 0.25) / 200.4);
        events.push(read(id + 2, at, Metric::Volume, 200.0));
        events.push(poured(id + 3, at + TimeDelta::hours(1), 1, 400.0, AdditionReason::Strength));
    }
    events.sort_by_key(|event| event.at);
    additions(
        &TankRecord { fill_mark_l: 200.0, events },
        (&rises(), &InForceSince::new()),
        &Movers::new(),
        Some(WATER),
    )
}

#[test]
fn a_meter_that_is_out_is_told_from_slips() {
    let second = Some(Id::new(Uuid::from_u128(2)));
    let told = (0..200).filter(|seed| {
        let got = by_turns(*seed, &[(1, 1.0), (2, 1.2)]);
        let out = |check: &&Checked| {
            matches!(check.verdict, Verdict::MeterOut { meter, factor }
                if Some(meter) == second && (factor - 1.2).abs() < 0.1)
        };
        let (of_two, of_one): (Vec<_>, Vec<_>) =
            got.iter().filter(|check| check.meter.is_some()).partition(|check| check.meter == second);
        of_two.iter().filter(|check| out(check)).count() >= 14
            && of_one.iter().all(|check| check.verdict.meter().is_none())
    });
    let told = told.count();
    println!("the meter is told {told} times of 200");
    assert!(told >= 180, "{told}");
}

/// Of one that is right nothing is told; of one that shows four tenths too much all that it read, and no bottle.
#[test]
fn a_meter_without_another_beside_it_is_told_as_one_of_two_things() {
    for seed in 0..50 {
        let off = |gain| {
            let got = by_turns(seed, &[(1, gain)]);
            let poured = got.into_iter().filter(|check| !check.poured.is_empty());
            poured.filter(|check| check.verdict.wants_a_look()).map(|check| check.verdict).collect::<Vec<_>>()
        };
        let right = off(1.0);
        assert!(right.iter().all(|verdict| verdict.meter().is_none()), "{right:?}");
        let out = off(1.4);
        let as_one_of_two = |verdict: &Verdict| matches!(verdict, Verdict::MeterOrProducts { factor, .. } if (factor - 1.4).abs() < 0.15);
        assert!(out.len() >= 25 && out.iter().all(as_one_of_two), "{out:?}");
    }
}
