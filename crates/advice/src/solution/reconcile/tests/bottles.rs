//! What the pH tells of a bottle, and a fresh fill held against its water.

use super::*;

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
    additions(
        &TankRecord { fill_mark_l: 200.0, events },
        (&rises, &InForceSince::new()),
        &movers,
        Some(WATER),
    )[0]
    .verdict
    .clone()
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
        let checks = additions(&record, (&rises(), &InForceSince::new()), &movers, Some(WATER));
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
    let checks = additions(&record, (&rises(), &InForceSince::new()), &Movers::new(), water);
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
