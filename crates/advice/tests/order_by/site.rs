//! A site one can reckon in one's head: one tank feeds 10 L a day to waste at 10 mL a litre, so 100 mL are used a day.

use std::collections::BTreeMap;

use chrono::{Days as ChronoDays, NaiveDate};
use fillmark_advice::supply::*;
use fillmark_domain::stock::{Offer, OnHand, Product, ProductKind, Supplier};
use fillmark_domain::{Amount, Base, Currency, Days, Id, Money, OpenDays, Stage, Week};
use uuid::Uuid;

pub fn id<W>(number: u128) -> Id<W> {
    Id::new(Uuid::from_u128(number))
}

pub fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// A Monday.
pub fn today() -> NaiveDate {
    day("2031-03-03")
}

pub fn base_a() -> Id<Product> {
    id(1)
}

pub fn base_b() -> Id<Product> {
    id(2)
}

pub fn ml(amount: i64) -> Amount {
    Amount::from_thousandths(amount * 1_000)
}

pub fn greenline() -> Id<Supplier> {
    id(10)
}

pub fn offer(product: Id<Product>) -> Offer {
    let price = Money::new(1_000, Currency::from_code("EUR").unwrap());
    Offer { supplier: greenline(), product, pack: ml(1_000), base: Base::Volume, price, minimum_packs: 0 }
}

pub fn lot(held: Amount, expiry: Option<NaiveDate>) -> OnHand {
    OnHand { lot: id(20), held, expiry, received_on: day("2031-01-02"), released: true }
}

pub fn product(product: Id<Product>, held: Amount) -> ProductAsked {
    ProductAsked {
        product,
        kind: ProductKind::Concentrate,
        ec_rise_per_unit_per_l: None,
        on_hand: vec![lot(held, None)],
        on_order: Vec::new(),
        unplanned: Vec::new(),
        taken: Vec::new(),
        prepared: BTreeMap::new(),
        made_of: Vec::new(),
        offers: vec![offer(product)],
        shelf_life_days: None,
    }
}

pub fn site(products: Vec<ProductAsked>) -> Question {
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
        without_step_on: None,
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
            freight_minor: 0,
            currency: Currency::from_code("EUR").unwrap(),
            past_orders: Vec::new(),
            waited_for: Vec::new(),
        }],
        in_step: Vec::new(),
    }
}

pub fn steady_supplier(question: &mut Question) {
    let placed_on = day("2030-06-03");
    let arrived_on = placed_on + ChronoDays::new(5);
    question.suppliers[0].past_orders = vec![PastOrder { placed_on, arrived_on }; 40];
}

#[track_caller]
pub fn check(question: &Question, order_by: Option<OrderBy>, packs: i64) -> Forecast {
    let forecast = forecast(question);
    let purchase = forecast.products[0].purchase.as_ref();
    assert_eq!(purchase.map(|purchase| purchase.order_by), order_by);
    assert_eq!(purchase.map_or(0, Purchase::pack_count), packs, "{purchase:?}");
    forecast
}
