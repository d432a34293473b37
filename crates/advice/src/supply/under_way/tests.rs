use std::ops::RangeInclusive;

use std::collections::BTreeMap;

use chrono::TimeDelta;
use fillmark_domain::stock::ProductKind;
use fillmark_domain::{Amount, Currency, Id, OpenDays, Week};
use uuid::Uuid;

use super::*;
use crate::supply::PastOrder;

/// A Monday.
fn today() -> NaiveDate {
    "2031-03-03".parse().unwrap()
}

fn days_ago(days: i64) -> NaiveDate {
    today() - TimeDelta::days(days)
}

fn id<W>(number: u128) -> Id<W> {
    Id::new(Uuid::from_u128(number))
}

/// A supplier who promises ten days and took so many; each order placed and expected so many days ago, of 1000 mL.
fn asked(took: &[i64], orders: &[(i64, i64)]) -> Question {
    let past = |(week, days): (i64, &i64)| {
        let placed_on = days_ago(300 - 7 * week);
        PastOrder { placed_on, arrived_on: placed_on + TimeDelta::days(*days) }
    };
    let supplier = SupplierAsked {
        supplier: id(1),
        order_days: Week::EVERY_DAY,
        orders_from: today(),
        promised_lead_days: 10,
        minimum_order_minor: 0,
        freight_minor: 0,
        currency: Currency::from_code("EUR").unwrap(),
        past_orders: (0..).zip(took).map(past).collect(),
        waited_for: orders.iter().map(|(placed, _)| days_ago(*placed)).collect(),
    };
    let expected = |(number, (placed, expected)): (u128, &(i64, i64))| Expected {
        on: days_ago(*expected),
        amount: Amount::from_thousandths(1_000_000),
        coming: Coming::Ordered(Ordered { order: id(number), supplier: id(1), placed_on: days_ago(*placed) }),
    };
    let product = ProductAsked {
        product: id(2),
        kind: ProductKind::Concentrate,
        ec_rise_per_unit_per_l: None,
        on_hand: Vec::new(),
        on_order: (10..).zip(orders).map(expected).collect(),
        unplanned: Vec::new(),
        taken: Vec::new(),
        prepared: BTreeMap::new(),
        made_of: Vec::new(),
        offers: Vec::new(),
        shelf_life_days: None,
    };
    Question {
        today: today(),
        horizon_days: 90,
        open: OpenDays::EVERY_DAY,
        service_level: 0.95,
        review_days: 7,
        tanks: Vec::new(),
        products: vec![product],
        suppliers: vec![supplier],
        in_step: Vec::new(),
    }
}

const STEADY: [i64; 30] = [10; 30];
const VARIES: [i64; 12] = [10, 16, 8, 20, 9, 12, 25, 7, 11, 15, 9, 30];

/// One order: the days from today by which it is as likely there as not, and the chance that it ever comes.
#[track_caller]
fn check(took: &[i64], order: (i64, i64), by: RangeInclusive<i64>, ever: RangeInclusive<f64>) {
    let (on, chance) = seen(took, order).expect("it is counted on");
    assert!(by.contains(&on) && ever.contains(&chance), "{on} days, {chance}");
}

/// What has come by the end of a day, in the mean.
fn mean_by(under_way: &UnderWay, day: i64) -> f64 {
    let late = under_way.late_by(day);
    under_way.surely_by(day) + late.iter().map(|(came, chance)| came * chance).sum::<f64>()
}

fn seen(took: &[i64], order: (i64, i64)) -> Option<(i64, f64)> {
    let question = asked(took, &[order]);
    let under_way = UnderWay::of(&question, &question.products[0]);
    let chance = mean_by(&under_way, 10_000) / 1_000.0;
    under_way.deliveries.first().map(|expected| (question.offset(expected.on), chance))
}

#[test]
fn what_is_not_due_comes_on_its_day() {
    check(&[], (5, -5), 5..=5, 1.0..=1.0);
    check(&[], (10, 0), 0..=0, 1.0..=1.0);
}

#[test]
fn what_is_a_day_late_by_a_steady_supplier_comes_soon_or_is_lost() {
    check(&STEADY, (11, 1), 1..=2, 0.6..=0.99);
}

#[test]
fn the_longer_overdue_the_later_and_the_less_surely_it_comes() {
    let each = [2, 4, 6, 8].map(|late| seen(&VARIES, (10 + late, late)).expect("it is counted on"));
    assert!(each.is_sorted_by(|one, other| one.0 <= other.0 && one.1 > other.1), "{each:?}");
    assert!(each[3].0 >= 3 && each[0].1 > 0.95, "{each:?}");
}

#[test]
fn beyond_the_suppliers_lead_times_nobody_counts_on_it() {
    // Steady: a week after the promise. One who takes thirty days now and then is waited for longer.
    assert!(seen(&STEADY, (17, 7)).is_some());
    assert_eq!(seen(&STEADY, (18, 8)), None);
    assert!(seen(&VARIES, (18, 8)).is_some());
    assert_eq!(seen(&VARIES, (50, 40)), None);
    let question = asked(&STEADY, &[(40, 30)]);
    let told = UnderWay::of(&question, &question.products[0]);
    let caution = Caution::Overdue {
        order: id(10),
        expected_on: days_ago(30),
        amount: Amount::from_thousandths(1_000_000),
        reckoned_on: None,
    };
    assert_eq!((told.cautions.as_slice(), mean_by(&told, 89)), (&[caution][..], 0.0));
}

#[test]
fn a_day_that_was_agreed_on_later_is_no_slowness() {
    // Placed two months ago for the day before yesterday.
    check(&STEADY, (60, 2), 1..=4, 0.4..=0.99);
}

#[test]
fn cases_of_overdue_orders_are_all_that_can_be() {
    let question = asked(&VARIES, &[(12, 2), (15, 5), (18, 8), (5, -3)]);
    let under_way = UnderWay::of(&question, &question.products[0]);
    for day in 0..60 {
        let cases = under_way.late_by(day);
        let whole: f64 = cases.iter().map(|(_, chance)| chance).sum();
        assert!((whole - 1.0).abs() < 1e-9 && cases.iter().all(|(_, chance)| *chance >= -1e-12), "{cases:?}");
        assert!(mean_by(&under_way, day) <= mean_by(&under_way, day + 1) + 1e-9);
        assert!(under_way.likely_late_by(day, 0.95) <= under_way.likely_late_by(day, 0.5));
    }
    let (sure, late) = (under_way.surely_by(3), under_way.likely_late_by(3, 1.0));
    assert_eq!((sure, late), (1_000.0, 0.0), "only what is not due yet is sure");
}
