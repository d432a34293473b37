//! A site that kept its records for two years, made up so that what it will use is known.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use fillmark_advice::supply::{
    Addition, DEFAULT_REVIEW_DAYS, DEFAULT_SERVICE_LEVEL, Dose, FedDay, ProductAsked, Question, Reason,
    SupplierAsked, TankAsked, TankMode,
};
use fillmark_domain::stock::{Offer, OnHand, Product, ProductKind};
use fillmark_domain::{Amount, Base, Currency, Id, Money, OpenDays, Stage, Week};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use serde_json::{Value, json};
use uuid::Uuid;

/// Days on record.
const RECORDED: u64 = 730;

/// Days to forecast.
const AHEAD: u64 = 120;

/// Products that are poured into one tank.
const A_TANK: usize = 4;

/// mL in one litre, of each.
const DOSE_ML_L: f64 = 2.0;

/// Days between changes.
const CHANGE_EVERY: u64 = 14;

/// A change is done on its day or so many days after it.
const MOST_LATE: u64 = 2;

/// Spread of the logarithm of the litres that a tank takes in a day.
const LOG_SPREAD: f64 = 0.15;

/// The site as a question, and what numpy needs to know of it.
pub struct KeptSite {
    /// The question.
    pub question: Question,
    tanks: Vec<Tank>,
}

struct Tank {
    volume_l: f64,
    litres_a_day: f64,
    first_product: usize,
    next_change: u64,
}

impl KeptSite {
    /// A site of so many tanks and products.
    pub fn make(tanks: usize, products: usize, seed: u64) -> KeptSite {
        let mut random = StdRng::seed_from_u64(seed);
        let (mut asked, mut made) = (Vec::new(), Vec::new());
        for number in 0..tanks {
            let volume_l = random.random_range(100.0..1_000.0_f64).round();
            let litres_a_day = volume_l * random.random_range(0.05..0.1);
            let first_product = number * A_TANK % products;
            let tank = Tank { volume_l, litres_a_day, first_product, next_change: 0 };
            let (kept, next_change) = tank.kept(products, &mut random);
            asked.push(kept);
            made.push(Tank { next_change, ..tank });
        }
        KeptSite { question: question(asked, products), tanks: made }
    }

    /// The same site for numpy, which samples so many paths of its use.
    pub fn told(&self, paths: usize) -> Value {
        let doses = |tank: &Tank| {
            let products = self.question.products.len();
            let mut doses = vec![0.0; products];
            tank.products(products).for_each(|place| doses[place] = DOSE_ML_L);
            doses
        };
        let each = |of: fn(&Tank) -> f64| self.tanks.iter().map(of).collect::<Vec<f64>>();
        json!({
            "paths": paths, "days": AHEAD, "chances": [0.5, 0.9, 0.95], "log_spread": LOG_SPREAD,
            "change_every_days": CHANGE_EVERY, "most_days_late": MOST_LATE,
            "volumes_l": each(|tank| tank.volume_l), "litres_a_day": each(|tank| tank.litres_a_day),
            "next_change": self.tanks.iter().map(|tank| tank.next_change).collect::<Vec<u64>>(),
            "doses_ml_l": self.tanks.iter().map(doses).collect::<Vec<_>>(),
        })
    }
}

impl Tank {
    fn products(&self, products: usize) -> impl Iterator<Item = usize> + use<> {
        let first = self.first_product;
        (0..A_TANK.min(products)).map(move |place| (first + place) % products)
    }

    /// What was done at the tank, read and topped up every day; days until the next change is due.
    fn kept(&self, products: usize, random: &mut StdRng) -> (TankAsked, u64) {
        let (mut additions, mut changes_done, mut due) = (Vec::new(), Vec::new(), CHANGE_EVERY);
        let mut done = due + random.random_range(0..=MOST_LATE);
        for number in 0..RECORDED {
            let changed = number == done;
            if changed {
                changes_done.push(day(number));
                due = number + CHANGE_EVERY;
                done = due + random.random_range(0..=MOST_LATE);
            }
            let litres = if changed { self.volume_l } else { self.litres_a_day * scattered(random) };
            let reason = if changed { Reason::Change } else { Reason::TopUp };
            additions.extend(self.products(products).map(|place| Addition {
                product: product_id(place),
                on: day(number),
                amount: Amount::rounded(litres * DOSE_ML_L * (1.0 + random.random_range(-0.05..0.05))),
                reason,
            }));
        }
        let kept = TankAsked {
            working_volume_l: self.volume_l,
            mode: TankMode::Changed,
            fed: self.fed(products),
            planned_changes: Vec::new(),
            skipped_changes: Vec::new(),
            changes_done,
            partial_changes: Vec::new(),
            visits: (0..RECORDED).map(day).collect(),
            additions,
            litres_fed: Vec::new(),
            without_step_on: None,
        };
        (kept, due.saturating_sub(RECORDED))
    }

    fn fed(&self, products: usize) -> BTreeMap<NaiveDate, FedDay> {
        let dose = |place| Dose { product: product_id(place), per_l: DOSE_ML_L };
        let fed_day = FedDay {
            stage: Stage::Vegetative,
            cycle_start: day(0),
            cycle_end: day(RECORDED + AHEAD),
            plants: 40.0,
            ec_aim: 1.8,
            source_ec: 0.3,
            doses: self.products(products).map(dose).collect(),
            top_up_share: 1.0,
            change_every_days: Some(CHANGE_EVERY as u16),
        };
        (0..=RECORDED + AHEAD).map(|number| (day(number), fed_day.clone())).collect()
    }
}

fn question(tanks: Vec<TankAsked>, products: usize) -> Question {
    let currency = Currency::from_code("EUR").expect("a currency");
    let supplier = Id::new(Uuid::from_u128(1));
    Question {
        today: day(RECORDED),
        horizon_days: AHEAD as u16,
        open: OpenDays::EVERY_DAY,
        service_level: DEFAULT_SERVICE_LEVEL,
        review_days: DEFAULT_REVIEW_DAYS,
        tanks,
        products: (0..products).map(|place| asked(product_id(place), supplier, currency)).collect(),
        suppliers: vec![SupplierAsked {
            supplier,
            order_days: Week::EVERY_DAY,
            orders_from: day(RECORDED),
            promised_lead_days: 5,
            minimum_order_minor: 20_000,
            freight_minor: 500,
            currency,
            past_orders: Vec::new(),
            waited_for: Vec::new(),
        }],
        in_step: Vec::new(),
    }
}

fn asked(
    product: Id<Product>,
    supplier: Id<fillmark_domain::stock::Supplier>,
    currency: Currency,
) -> ProductAsked {
    let (pack, price) = (Amount::rounded(5_000.0), Money::new(4_000, currency));
    ProductAsked {
        product,
        kind: ProductKind::Concentrate,
        ec_rise_per_unit_per_l: Some(1.5 / (A_TANK as f64 * DOSE_ML_L)),
        on_hand: vec![OnHand {
            lot: Id::new(product.uuid()),
            held: Amount::rounded(20_000.0),
            expiry: None,
            received_on: day(RECORDED - 30),
            released: true,
        }],
        on_order: Vec::new(),
        unplanned: Vec::new(),
        taken: Vec::new(),
        prepared: BTreeMap::new(),
        made_of: Vec::new(),
        offers: vec![Offer { supplier, product, pack, base: Base::Volume, price, minimum_packs: 1 }],
        shelf_life_days: None,
    }
}

/// Around 1, by the sum of twelve equally likely figures, which is near to normal.
fn scattered(random: &mut StdRng) -> f64 {
    let normal = (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0;
    (LOG_SPREAD * normal - LOG_SPREAD * LOG_SPREAD / 2.0).exp()
}

fn product_id(place: usize) -> Id<Product> {
    Id::new(Uuid::from_u128(place as u128 + 1))
}

fn day(number: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2029, 1, 1).expect("a date") + Days::new(number)
}
