//! The day to order by.

use chrono::{Days as ChronoDays, NaiveDate, Weekday};
use fillmark_advice::supply::warnings::{self, OrderOut, Warning};
use fillmark_advice::supply::*;
use fillmark_domain::stock::Supplier;
use fillmark_domain::work::AlertKind;
use fillmark_domain::{Amount, Base, Currency, Week};
use proptest::prelude::*;

use crate::site::*;

const WEEKDAYS: [Weekday; 7] =
    [Weekday::Mon, Weekday::Tue, Weekday::Wed, Weekday::Thu, Weekday::Fri, Weekday::Sat, Weekday::Sun];

#[test]
fn a_steady_supplier_is_ordered_from_just_before_his_lead_time() {
    // 2000 mL are used up on Saturday the 22nd; 5 days and a little before that.
    let mut question = site(vec![product(base_a(), ml(2_000))]);
    steady_supplier(&mut question);
    let forecast = check(&question, Some(OrderBy::On(day("2031-03-16"))), 1);
    assert_eq!(forecast.orders.len(), 1);
    assert_eq!(forecast.orders[0].value.minor, 1_000);
}

#[test]
fn a_counter_read_once_a_week_makes_nothing_surer() {
    let spread = |over_days| {
        let mut question = site(vec![product(base_a(), ml(2_000))]);
        for fed in &mut question.tanks[0].litres_fed {
            (fed.litres, fed.over_days) = (10.0, over_days);
        }
        forecast(&question).products[0].days[27].spread_until
    };
    assert!(spread(7) > spread(1), "{} {}", spread(7), spread(1));
}

#[test]
fn a_promise_alone_is_given_more_room_and_a_caution() {
    let forecast = check(&site(vec![product(base_a(), ml(2_000))]), Some(OrderBy::On(day("2031-03-12"))), 1);
    assert!(forecast.products[0].cautions.contains(&Caution::LeadTimeUnproven));
}

#[test]
fn orders_are_placed_on_order_days_only() {
    let mut question = site(vec![product(base_a(), ml(2_000))]);
    steady_supplier(&mut question);
    question.suppliers[0].order_days = Week::of([Weekday::Tue]);
    check(&question, Some(OrderBy::On(day("2031-03-11"))), 1);
}

#[test]
fn nothing_is_ordered_while_the_stock_lasts() {
    let forecast = check(&site(vec![product(base_a(), ml(20_000))]), None, 0);
    assert_eq!(forecast.products[0].may_run_out_on, None);
    assert!(forecast.orders.is_empty());
}

#[test]
fn what_is_under_way_is_counted() {
    let mut question = site(vec![product(base_a(), ml(2_000))]);
    question.products[0].on_order =
        vec![Expected { on: day("2031-03-10"), amount: ml(10_000), coming: Coming::Sent { on: today() } }];
    check(&question, None, 0);
}

#[test]
fn what_another_site_sent_long_ago_is_not_counted() {
    let mut question = site(vec![product(base_a(), ml(2_000))]);
    let sent_on = today() - ChronoDays::new(8);
    let coming = Coming::Sent { on: sent_on };
    let expected = Expected { on: today() + ChronoDays::new(1), amount: ml(10_000), coming };
    question.products[0].on_order = vec![expected];
    let told = check(&question, Some(OrderBy::On(day("2031-03-12"))), 1).products.remove(0);
    assert!(told.deliveries.is_empty());
    let caution = Caution::NotTakenIn { sent_on, amount: ml(10_000) };
    assert!(told.cautions.contains(&caution), "{:?}", told.cautions);
}

/// 2000 mL last twenty days; an order of 10 L was expected so many days ago.
fn with_overdue(days: u64) -> Question {
    let mut question = site(vec![product(base_a(), ml(2_000))]);
    steady_supplier(&mut question);
    let on = today() - ChronoDays::new(days);
    let coming =
        Coming::Ordered(Ordered { order: id(30), supplier: greenline(), placed_on: on - ChronoDays::new(5) });
    question.products[0].on_order = vec![Expected { on, amount: ml(10_000), coming }];
    question
}

#[test]
fn an_order_that_is_overdue_by_a_month_hides_no_stock_out() {
    let forecast = check(&with_overdue(30), Some(OrderBy::On(day("2031-03-16"))), 1);
    let told = &forecast.products[0];
    assert_eq!((told.deliveries.len(), told.may_run_out_on), (0, Some(day("2031-03-22"))));
    let not_counted = |caution: &Caution| matches!(caution, Caution::Overdue { reckoned_on: None, .. });
    assert!(told.cautions.iter().any(not_counted), "{:?}", told.cautions);
    let last = told.days.last().unwrap();
    assert!(last.balance < -6_900.0, "{last:?}");
}

#[test]
fn an_order_that_is_a_few_days_overdue_is_counted_on_by_its_chance() {
    let told = forecast(&with_overdue(2)).products.remove(0);
    assert!(told.deliveries[0].on > today() && told.deliveries[0].on < day("2031-03-10"));
    let (held, balance) = (2_000.0, told.days[10].balance + 1_100.0);
    assert!(held < balance && balance < held + 10_000.0, "{balance}");
    // It may be lost: without another order it may run out as it would without this one.
    assert_eq!(told.may_run_out_on, Some(day("2031-03-22")));
}

/// What is overdue covers it in the end, and may come too late: whatever is held, an order that is asked for is of something.
#[test]
fn what_is_to_be_ordered_beside_an_overdue_order_has_an_amount() {
    let mut asked = 0;
    for held in (400..=3_000).step_by(100) {
        let mut question = site(vec![product(base_a(), ml(held))]);
        let (on, placed_on) = (day("2031-03-02"), day("2031-02-24"));
        let coming = Coming::Ordered(Ordered { order: id(30), supplier: greenline(), placed_on });
        question.products[0].on_order = vec![Expected { on, amount: ml(5_000), coming }];
        let told = forecast(&question).products.remove(0);
        let amount = told.purchase.map(|purchase| purchase.amount);
        assert!(amount.is_none_or(Amount::is_positive), "{held} mL: {amount:?}");
        asked += usize::from(amount.is_some());
    }
    assert!(asked > 20, "{asked} of 27");
}

/// 200 mL are used up in two days and 10 L come on the fourth: an order, which takes five, is none the better for the days between.
#[test]
fn a_gap_that_no_order_can_fill_is_told_and_not_ordered_for() {
    let mut question = site(vec![product(base_a(), ml(200))]);
    steady_supplier(&mut question);
    question.products[0].on_order =
        vec![Expected { on: day("2031-03-07"), amount: ml(10_000), coming: Coming::Sent { on: today() } }];
    let forecast = check(&question, None, 0);
    let told = &forecast.products[0];
    assert!(told.may_run_out_on.is_some_and(|on| on < day("2031-03-07")), "{:?}", told.may_run_out_on);
    let from = told.may_run_out_on.unwrap();
    assert!(!told.cautions.contains(&Caution::NoOffer), "{:?}", told.cautions);
    assert!(told.cautions.contains(&Caution::GapUntilItComes { from }), "{:?}", told.cautions);
    let named = |_| ("Grow A".to_owned(), Base::Volume);
    let warned = warnings::of_forecast(&forecast, today(), named, |_| String::new());
    assert_eq!(warned.len(), 1);
    assert!(warned[0].text.contains("before what is under way comes"), "{warned:?}");
    // What comes lasts for less than what is looked ahead to: the next order is for what follows, as without the gap.
    question.products[0].on_order[0].amount = ml(3_000);
    let with_gap = order_of(&question);
    question.products[0].on_hand = vec![lot(ml(500), None)];
    assert!(with_gap.is_positive() && with_gap == order_of(&question), "{with_gap:?}");
}

/// Next to nothing is left: what is ordered today is enough until it comes, and asked again an order is none the better for the days
/// before.
#[test]
fn what_is_ordered_is_not_proposed_again() {
    let mut question = site(vec![product(base_a(), ml(10))]);
    for number in 0..3 {
        let told = forecast(&question).products.remove(0);
        let purchase = told.purchase.filter(|purchase| purchase.order_by.date() == today());
        assert_eq!(purchase.is_some(), number == 0, "{number}: {purchase:?}");
        let Some(purchase) = purchase else { continue };
        let on = today() + ChronoDays::new(purchase.lead_time.mean_days.round() as u64);
        let coming = Coming::Ordered(Ordered { order: id(30), supplier: greenline(), placed_on: today() });
        question.products[0].on_order.push(Expected { on, amount: purchase.amount, coming });
    }
}

fn order_of(question: &Question) -> Amount {
    let told = forecast(question).products.remove(0);
    let purchase = told.purchase.unwrap();
    assert!(purchase.order_by.date() > day("2031-03-10"), "{:?}", purchase.order_by);
    purchase.amount
}

#[test]
fn stock_in_quarantine_is_not_counted() {
    let mut question = site(vec![product(base_a(), ml(2_000))]);
    question.products[0].on_hand[0].released = false;
    let forecast = check(&question, Some(OrderBy::Late(today())), 2);
    assert!(forecast.products[0].cautions.contains(&Caution::InQuarantine { amount: ml(2_000) }));
}

#[test]
fn stock_that_expires_is_ordered_for_in_time() {
    let mut question = site(vec![product(base_a(), ml(20_000))]);
    steady_supplier(&mut question);
    question.products[0].on_hand = vec![lot(ml(20_000), Some(day("2031-03-20")))];
    let forecast = check(&question, Some(OrderBy::On(day("2031-03-15"))), 1);
    assert_eq!(forecast.products[0].spoils[0].amount, ml(18_200));
    assert!(forecast.products[0].cautions.contains(&Caution::StockSpoils));
}

#[test]
fn what_nobody_offers_is_a_caution() {
    let mut question = site(vec![product(base_a(), ml(500))]);
    question.products[0].offers.clear();
    let forecast = check(&question, None, 0);
    // 500 mL for five days of 100 mL: by the evening of the fifth it is as likely gone as not.
    assert_eq!(forecast.products[0].may_run_out_on, Some(day("2031-03-07")));
    assert!(forecast.products[0].cautions.contains(&Caution::NoOffer));
}

/// Weekdays on which orders are taken, and others on which staff work.
fn worked() -> impl Strategy<Value = (Week, Week)> {
    let monday_and = || prop::sample::subsequence(&WEEKDAYS[..], 0..7);
    (monday_and(), monday_and()).prop_map(|days| {
        let week = |days: Vec<Weekday>| Week::of(days.into_iter().chain([Weekday::Mon]));
        (week(days.0), week(days.1))
    })
}

/// The day to order by; the last one there is where nothing is ordered.
fn order_by(held: i64, promised_days: u16, (order_days, open): (Week, Week)) -> NaiveDate {
    let mut question = site(vec![product(base_a(), ml(held))]);
    question.open.week = open;
    question.suppliers[0].order_days = order_days;
    question.suppliers[0].promised_lead_days = promised_days;
    let purchase = forecast(&question).products[0].purchase.clone();
    purchase.map_or(NaiveDate::MAX, |purchase| purchase.order_by.date())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn more_stock_never_asks_for_an_earlier_order(
        held in 0_i64..6_000,
        more in 1_i64..2_000,
        promised in 0_u16..30,
        worked in worked(),
    ) {
        let [less, more] = [held, held + more].map(|held| order_by(held, promised, worked));
        prop_assert!(less <= more, "{less} {more}");
    }

    /// By the promise alone: where orders on record belie a promise, a better one is believed less.
    #[test]
    fn a_longer_promised_lead_time_never_asks_for_a_later_order(
        held in 0_i64..12_000,
        promised in 0_u16..30,
        longer_by in 1_u16..20,
        worked in worked(),
    ) {
        let [longer, shorter] = [promised + longer_by, promised].map(|days| order_by(held, days, worked));
        prop_assert!(longer <= shorter, "{longer} {shorter}");
    }

    #[test]
    fn the_order_day_keeps_the_service_level_and_the_next_one_would_not(
        held in 1_500_i64..6_000,
        level in 0.8_f64..0.99,
    ) {
        let mut question = site(vec![product(base_a(), ml(held))]);
        question.service_level = level;
        let purchase = forecast(&question).products[0].purchase.clone().unwrap();
        if let OrderBy::On(on) = purchase.order_by {
            prop_assert!(purchase.chance_of_running_out <= 1.0 - level);
            question.suppliers[0].orders_from = on + ChronoDays::new(1);
            let next = forecast(&question).products[0].purchase.clone().unwrap();
            prop_assert!(matches!(next.order_by, OrderBy::Late(_)));
            prop_assert!(next.chance_of_running_out > 1.0 - level);
        }
    }
}

#[track_caller]
fn check_told(question: &Question, kinds: &[AlertKind]) {
    let told = told(question);
    assert_eq!(told.iter().map(|warning| warning.kind).collect::<Vec<_>>(), kinds, "{told:?}");
}

fn told(question: &Question) -> Vec<Warning> {
    let named = |_| ("Grow A".to_owned(), Base::Volume);
    warnings::of_forecast(&forecast(question), today(), named, |_| "L-77".into())
}

/// 100 mL a day and a supplier who takes five days.
#[test]
fn what_must_be_ordered_or_runs_out_or_is_left_is_told() {
    let of = |held, expiry: Option<&str>| {
        let mut question = site(vec![product(base_a(), ml(held))]);
        steady_supplier(&mut question);
        question.products[0].on_hand = vec![lot(ml(held), expiry.map(day))];
        question
    };
    check_told(&of(9_000, None), &[]);
    check_told(&of(800, None), &[AlertKind::OrderByNear]);
    check_told(&of(200, None), &[AlertKind::StockOutNear]);
    let mut unoffered = of(1_500, None);
    unoffered.products[0].offers.clear();
    check_told(&unoffered, &[AlertKind::StockOutNear]);
    let expiring = of(9_000, Some("2031-04-10"));
    check_told(&expiring, &[AlertKind::Expiry]);
    let left =
        "Grow A: 5100 mL of lot L-77 are expected to be left when it expires; its last day is 2031-04-10.";
    assert_eq!(told(&expiring)[0].text, left);
}

#[test]
fn an_order_is_late_beyond_its_suppliers_spread() {
    let supplier = Supplier {
        name: "Greenline".into(),
        order_days: Week::EVERY_DAY,
        cut_off: chrono::NaiveTime::MIN,
        promised_lead_days: 5,
        minimum_order_minor: 0,
        freight_minor: 0,
        currency: Currency::from_code("EUR").unwrap(),
    };
    let lead_time = LeadTime { promised_days: 5, mean_days: 5.0, sd_days: 1.0, orders: 20 };
    let told = |waited, expected_on| {
        let placed_on = today() - ChronoDays::new(waited);
        let out = OrderOut { id: id(1), supplier: &supplier, placed_on, expected_on, lead_time };
        warnings::of_orders(&[out], today()).len()
    };
    let passed = today() - ChronoDays::new(1);
    assert_eq!((told(6, passed), told(7, passed)), (0, 1), "1.64 days beyond the five");
    assert_eq!(told(30, today()), 0, "he has said when it comes");
}
