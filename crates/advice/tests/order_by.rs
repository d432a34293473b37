//! When to order and how much, on a site one can reckon in one's head: one tank feeds 10 L a day to waste at
//! 10 mL a litre, so 100 mL are used a day.
#![expect(clippy::unwrap_used, reason = "a date that cannot be read is a failed test")]

use std::collections::BTreeMap;

use chrono::{Days as ChronoDays, NaiveDate, Weekday};
use fillmark_advice::supply::warnings::{self, OrderOut};
use fillmark_advice::supply::*;
use fillmark_domain::stock::{Offer, OnHand, Product, ProductKind, Supplier};
use fillmark_domain::work::AlertKind;
use fillmark_domain::{Amount, Base, Currency, Days, Id, Money, OpenDays, Stage, Week};
use proptest::prelude::*;
use uuid::Uuid;

const WEEKDAYS: [Weekday; 7] =
    [Weekday::Mon, Weekday::Tue, Weekday::Wed, Weekday::Thu, Weekday::Fri, Weekday::Sat, Weekday::Sun];

fn id<W>(number: u128) -> Id<W> {
    Id::new(Uuid::from_u128(number))
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// A Monday.
fn today() -> NaiveDate {
    day("2031-03-03")
}

fn base_a() -> Id<Product> {
    id(1)
}

fn base_b() -> Id<Product> {
    id(2)
}

fn ml(amount: i64) -> Amount {
    Amount::from_thousandths(amount * 1_000)
}

fn greenline() -> Id<Supplier> {
    id(10)
}

fn offer(product: Id<Product>) -> Offer {
    let price = Money::new(1_000, Currency::from_code("EUR").unwrap());
    Offer { supplier: greenline(), product, pack: ml(1_000), base: Base::Volume, price, minimum_packs: 0 }
}

fn lot(held: Amount, expiry: Option<NaiveDate>) -> OnHand {
    OnHand { lot: id(20), held, expiry, received_on: day("2031-01-02"), released: true }
}

fn product(product: Id<Product>, held: Amount) -> ProductAsked {
    ProductAsked {
        product,
        kind: ProductKind::Concentrate,
        ec_rise_per_unit_per_l: None,
        on_hand: vec![lot(held, None)],
        on_order: Vec::new(),
        unplanned: Vec::new(),
        offers: vec![offer(product)],
        shelf_life_days: None,
    }
}

fn site(products: Vec<ProductAsked>) -> Question {
    let doses = products.iter().map(|asked| Dose { product: asked.product, per_l: 10.0 }).collect();
    let fed_day = FedDay {
        stage: Stage::Vegetative,
        cycle_start: today(),
        cycle_end: today() + ChronoDays::new(200),
        plants: 50.0,
        ec_aim: 1.8,
        source_ec: 0.3,
        doses,
        top_up_share: 1.0,
        change_every_days: None,
    };
    let span = Days { from: today(), until: today() + ChronoDays::new(200) };
    let tank = TankAsked {
        working_volume_l: 100.0,
        mode: TankMode::Fed,
        fed: span.each().map(|date| (date, fed_day.clone())).collect::<BTreeMap<_, _>>(),
        planned_changes: Vec::new(),
        skipped_changes: Vec::new(),
        partial_changes: Vec::new(),
        changes_done: Vec::new(),
        visits: Vec::new(),
        additions: Vec::new(),
        litres_fed: (1..=14)
            .map(|ago| LitresFed {
                on: today() - ChronoDays::new(ago),
                litres: if ago % 2 == 0 { 9.0 } else { 11.0 },
                over_days: 1,
            })
            .collect(),
    };
    Question {
        today: today(),
        horizon_days: DEFAULT_HORIZON_DAYS,
        open: OpenDays::EVERY_DAY,
        service_level: DEFAULT_SERVICE_LEVEL,
        review_days: DEFAULT_REVIEW_DAYS,
        tanks: vec![tank],
        products,
        suppliers: vec![SupplierAsked {
            supplier: greenline(),
            order_days: Week::EVERY_DAY,
            orders_from: today(),
            promised_lead_days: 5,
            minimum_order_minor: 0,
            freight_minor: 500,
            currency: Currency::from_code("EUR").unwrap(),
            past_orders: Vec::new(),
            waited_for: Vec::new(),
        }],
        in_step: Vec::new(),
    }
}

fn steady_supplier(question: &mut Question) {
    let placed_on = day("2030-06-03");
    let arrived_on = placed_on + ChronoDays::new(5);
    question.suppliers[0].past_orders = vec![PastOrder { placed_on, arrived_on }; 40];
}

#[track_caller]
fn check(question: &Question, order_by: Option<OrderBy>, packs: i64) -> Forecast {
    let forecast = forecast(question);
    let purchase = forecast.products[0].purchase.as_ref();
    assert_eq!(purchase.map(|purchase| purchase.order_by), order_by);
    assert_eq!(purchase.map_or(0, |purchase| purchase.packs.count), packs, "{purchase:?}");
    forecast
}

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
    question.products[0].on_order = vec![Expected { on: day("2031-03-10"), amount: ml(10_000) }];
    check(&question, None, 0);
}

#[test]
fn stock_in_quarantine_is_not_counted() {
    let mut question = site(vec![product(base_a(), ml(2_000))]);
    question.products[0].on_hand[0].released = false;
    check(&question, Some(OrderBy::Late(today())), 2);
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
fn no_more_is_ordered_than_is_used_before_it_expires() {
    let mut question = site(vec![product(base_a(), ml(0))]);
    question.products[0].offers[0].minimum_packs = 4;
    check(&question, Some(OrderBy::Late(today())), 4);
    question.products[0].shelf_life_days = Some(10);
    let forecast = check(&question, Some(OrderBy::Late(today())), 1);
    assert!(forecast.products[0].cautions.contains(&Caution::CappedByExpiry));
}

/// 100 mL a day last 2 days, and a pack may be used for 4 days: of its litre some 400 mL are used.
#[test]
fn a_pack_is_bought_for_what_is_used_of_it() {
    let of = |pack, life| {
        let offers = vec![Offer { pack: ml(pack), ..offer(base_a()) }];
        let asked = ProductAsked { offers, shelf_life_days: Some(life), ..product(base_a(), ml(200)) };
        let told = forecast(&site(vec![asked])).products.remove(0);
        (told.purchase.map(|purchase| purchase.packs.count), told.cautions)
    };
    let (packs, cautions) = of(1_000, 4);
    assert_eq!(packs, Some(1));
    assert!(cautions.contains(&Caution::SomeLeftOver), "{cautions:?}");
    assert_eq!(of(5_000, 4).0, Some(0), "of five litres less than a fifth");
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

#[test]
fn part_b_is_ordered_with_part_a() {
    let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(2_600))]);
    question.in_step = vec![(base_a(), base_b())];
    let forecast = forecast(&question);
    let [a, b] = [0, 1].map(|position: usize| forecast.products[position].purchase.clone().unwrap());
    assert_eq!(a.order_by, b.order_by);
    assert_eq!((a.in_step_with, b.in_step_with), (None, Some(base_a())));
    assert_eq!(forecast.orders[0].products, [base_a(), base_b()]);
}

#[test]
fn an_order_below_the_suppliers_least_value_draws_the_next_one_forward() {
    let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(5_000))]);
    assert_eq!(forecast(&question).orders.len(), 2);
    question.suppliers[0].minimum_order_minor = 2_500;
    let orders = forecast(&question).orders;
    assert_eq!(orders.len(), 1);
    let order = &orders[0];
    assert_eq!(
        (order.value.minor, order.below_minimum_minor, order.freight_minor),
        (2_000, Some(500), Some(500))
    );
    assert!(order.cautions.is_empty());
}

#[test]
fn a_suppliers_terms_in_another_currency_are_no_part_of_the_sum() {
    let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(5_000))]);
    question.suppliers[0].minimum_order_minor = 2_500;
    question.suppliers[0].currency = Currency::from_code("GBP").unwrap();
    let orders = forecast(&question).orders;
    assert_eq!(orders.len(), 2);
    for order in orders {
        assert_eq!((order.below_minimum_minor, order.freight_minor), (None, None));
        let currency = question.suppliers[0].currency;
        assert_eq!(order.cautions, [Caution::TermsInOtherCurrency { currency }]);
    }
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
    let told = warnings::of_forecast(&forecast(question), today(), |_| "Grow A".into());
    assert_eq!(told.iter().map(|warning| warning.kind).collect::<Vec<_>>(), kinds, "{told:?}");
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
    check_told(&of(9_000, Some("2031-04-10")), &[AlertKind::Expiry]);
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
    let lead_time = LeadTime { mean_days: 5.0, sd_days: 1.0, orders: 20 };
    let told = |waited| {
        let placed_on = today() - ChronoDays::new(waited);
        let out = OrderOut { id: id(1), supplier: &supplier, placed_on, lead_time };
        warnings::of_orders(&[out], today()).len()
    };
    assert_eq!((told(6), told(7)), (0, 1), "1.64 days beyond the five");
}

#[test]
fn a_site_spares_what_it_holds_beyond_six_weeks() {
    let of = |held| forecast(&site(vec![product(base_a(), ml(held))]));
    let needing = of(300);
    let needed = needing.products[0].purchase.as_ref().unwrap().needed.base_units();
    let spare = |held| spare_for(&needing, &of(held)).first().map(|spare| spare.spare);
    assert_eq!(spare(60_000), Some(needed), "no more than is needed");
    assert_eq!(spare(4_000), None, "less than its own six weeks");
}
