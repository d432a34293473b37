//! The forecast against what happened: ten recorded sites, four weeks ahead, from records alone.
#![expect(clippy::unwrap_used, reason = "a record that cannot be read is a failed test")]

use std::collections::{BTreeMap, BTreeSet};

use chrono::{NaiveDate, Weekday};
use fillmark_advice::supply::*;
use fillmark_domain::stock::{Product, ProductKind, UseCause};
use fillmark_domain::{Amount, Days, Id, OpenDays, Stage, Week};
use serde_json::Value;
use uuid::Uuid;

const SITES: [&str; 10] = [
    include_str!("../../../tests/scenarios/site_01.json"),
    include_str!("../../../tests/scenarios/site_02.json"),
    include_str!("../../../tests/scenarios/site_03.json"),
    include_str!("../../../tests/scenarios/site_04.json"),
    include_str!("../../../tests/scenarios/site_05.json"),
    include_str!("../../../tests/scenarios/site_06.json"),
    include_str!("../../../tests/scenarios/site_07.json"),
    include_str!("../../../tests/scenarios/site_08.json"),
    include_str!("../../../tests/scenarios/site_09.json"),
    include_str!("../../../tests/scenarios/site_10.json"),
];

const AHEAD: usize = 28;

/// Whether the grower's written change dates are known, or only the interval of the programme.
#[derive(Clone, Copy, PartialEq)]
enum Changes {
    Written,
    Projected,
}

struct Site(Value);

impl Site {
    fn read(text: &str) -> Site {
        Site(serde_json::from_str(text).unwrap())
    }

    fn plan(&self, field: &str) -> &Value {
        &self.0["plan"][field]
    }

    fn list(&self, field: &str) -> &Vec<Value> {
        self.plan(field).as_array().unwrap()
    }

    fn events(&self, kind: &str) -> impl Iterator<Item = &Value> {
        self.0["events"].as_array().unwrap().iter().filter(move |event| event["kind"] == kind)
    }

    fn product(&self, name: &Value) -> Id<Product> {
        let place = self.list("products").iter().position(|product| product["name"] == *name).unwrap();
        Id::new(Uuid::from_u128(place as u128 + 1))
    }

    fn question(&self, changes: Changes) -> Question {
        let weekdays = self.list("open_weekdays").iter();
        let week = Week::of(weekdays.map(|day| Weekday::try_from(day.as_u64().unwrap() as u8).unwrap()));
        let closures = self.list("closed_dates").iter().map(date).map(|day| Days { from: day, until: day });
        let rooms = self.list("rooms").iter();
        Question {
            today: date(self.plan("today")),
            horizon_days: 42,
            open: OpenDays { week, closures: closures.collect() },
            service_level: DEFAULT_SERVICE_LEVEL,
            review_days: DEFAULT_REVIEW_DAYS,
            tanks: rooms
                .flat_map(|room| room["tanks"].as_array().unwrap().iter().map(move |tank| (room, tank)))
                .map(|(room, tank)| self.tank(room, tank, changes))
                .collect(),
            products: self.list("products").iter().map(|product| self.asked(product)).collect(),
            suppliers: Vec::new(),
            in_step: Vec::new(),
        }
    }

    fn asked(&self, product: &Value) -> ProductAsked {
        let rise = product["ec_per_ml_l"].as_f64();
        let lost = self.events("adjust").filter(|event| event["product"] == product["name"]);
        ProductAsked {
            product: self.product(&product["name"]),
            kind: if rise.is_some() { ProductKind::Concentrate } else { ProductKind::PhAdjuster },
            ec_rise_per_unit_per_l: rise,
            on_hand: Vec::new(),
            on_order: Vec::new(),
            unplanned: lost
                .map(|event| Unplanned { on: date(&event["date"]), amount: amount(&event["ml"]) })
                .collect(),
            taken: Vec::new(),
            prepared: BTreeMap::new(),
            made_of: Vec::new(),
            offers: Vec::new(),
            shelf_life_days: None,
        }
    }

    fn tank(&self, room: &Value, tank: &Value, changes: Changes) -> TankAsked {
        let of_tank = |kind| self.events(kind).filter(|event| event["tank"] == tank["name"]);
        let written = self.list("planned_changes").iter().filter(|change| change["tank"] == tank["name"]);
        let written = written.map(|change| date(&change["planned_date"]));
        TankAsked {
            working_volume_l: tank["volume_l"].as_f64().unwrap(),
            mode: TankMode::Changed,
            fed: self.fed(room, tank),
            planned_changes: written.filter(|_| changes == Changes::Written).collect(),
            skipped_changes: Vec::new(),
            partial_changes: Vec::new(),
            changes_done: of_tank("change").map(|event| date(&event["date"])).collect(),
            visits: of_tank("reading").map(|event| date(&event["date"])).collect(),
            additions: of_tank("addition")
                .map(|event| Addition {
                    product: self.product(&event["product"]),
                    on: date(&event["date"]),
                    amount: amount(&event["ml"]),
                    reason: if event["why"] == "topup" { Reason::TopUp } else { Reason::Change },
                })
                .collect(),
            litres_fed: Vec::new(),
            without_step_on: None,
        }
    }

    fn fed(&self, room: &Value, tank: &Value) -> BTreeMap<NaiveDate, FedDay> {
        let mut fed = BTreeMap::new();
        for crop in self.list("crops").iter().filter(|crop| crop["room"] == room["name"]) {
            let (start, switch, end) =
                (date(&crop["start_date"]), date(&crop["switch_date"]), date(&crop["end_date"]));
            for day in (Days { from: start, until: end }).each() {
                let (stage, code) =
                    if day < switch { (Stage::Vegetative, "veg") } else { (Stage::Flowering, "bloom") };
                let ec_aim = room["ec_target"][code].as_f64().unwrap();
                fed.insert(
                    day,
                    FedDay {
                        stage,
                        cycle_start: start,
                        cycle_end: end,
                        plants: tank["plants"].as_f64().unwrap(),
                        ec_aim,
                        source_ec: 0.0,
                        doses: self.doses(code, ec_aim),
                        top_up_share: 1.0,
                        change_every_days: room["change_every_days"].as_u64().map(|days| days as u16),
                    },
                );
            }
        }
        fed
    }

    fn doses(&self, stage: &str, ec_aim: f64) -> Vec<Dose> {
        let shares = self.plan("recipe_share_of_ec");
        self.list("products")
            .iter()
            .filter_map(|product| {
                let share = shares[product["name"].as_str()?][stage].as_f64()?;
                let per_l = ec_aim * share / product["ec_per_ml_l"].as_f64()?;
                Some(Dose { product: self.product(&product["name"]), per_l })
            })
            .collect()
    }

    fn true_use(&self, product: Id<Product>, days: usize) -> f64 {
        let name = &self.list("products")[product.uuid().as_u128() as usize - 1]["name"];
        let daily = self.0["truth"]["future_daily_use_ml"][name.as_str().unwrap()].as_array().unwrap();
        daily.iter().take(days).map(|ml| ml.as_f64().unwrap()).sum()
    }
}

fn date(value: &Value) -> NaiveDate {
    value.as_str().unwrap().parse().unwrap()
}

fn amount(ml: &Value) -> Amount {
    Amount::rounded(ml.as_f64().unwrap())
}

/// Mean error of each site over its products, with the products that stayed below their .90 quantile.
fn errors(changes: Changes) -> Vec<(f64, usize, usize)> {
    SITES
        .iter()
        .enumerate()
        .map(|(number, text)| {
            let site = Site::read(text);
            let forecast = forecast(&site.question(changes));
            let mut row = format!("site_{:02}", number + 1);
            let (mut total, mut covered) = (0.0, 0);
            for product in &forecast.products {
                let (expected, truth) = (product.expected_use(AHEAD), site.true_use(product.product, AHEAD));
                let spread = product.days[AHEAD - 1].spread_until;
                total += (expected - truth).abs() / truth;
                covered += usize::from(truth <= expected + 1.2816 * spread);
                row += &format!(" {expected:8.0} ±{spread:5.0} {truth:8.0} {:+.3}", expected / truth - 1.0);
            }
            let count = forecast.products.len();
            println!("{row}  mean {:.3}  suspected {}", total / count as f64, forecast.suspected.len());
            (total / count as f64, covered, count)
        })
        .collect()
}

#[track_caller]
fn check(changes: Changes, at_most: f64) {
    let errors = errors(changes);
    let mean = errors.iter().map(|(error, _, _)| error).sum::<f64>() / errors.len() as f64;
    let covered: usize = errors.iter().map(|(_, covered, _)| covered).sum();
    let count: usize = errors.iter().map(|(_, _, count)| count).sum();
    println!("mean {mean:.4}, .90 quantile held {covered} of {count}");
    assert!(mean <= at_most, "mean error {mean:.3} of {AHEAD} days");
}

#[test]
fn four_weeks_of_use_are_known_to_an_eighth() {
    check(Changes::Written, 0.13);
}

#[test]
fn four_weeks_of_use_are_known_when_no_change_was_written_down() {
    check(Changes::Projected, 0.20);
}

#[test]
fn litres_keyed_as_millilitres_are_reckoned_back_and_shown() {
    let site = Site::read(SITES[0]);
    let mut question = site.question(Changes::Written);
    let clean = forecast(&question);
    let slipped = &mut question.tanks[0].additions[100];
    slipped.amount = Amount::from_thousandths(slipped.amount.thousandths() * 1_000);
    let slipped = *slipped;

    let guarded = forecast(&question);
    assert_eq!(guarded.products, clean.products);
    assert_eq!(guarded.suspected.len(), 1);
    assert_eq!((guarded.suspected[0].on, guarded.suspected[0].recorded), (slipped.on, slipped.amount));
}

#[test]
fn an_addition_entered_twice_counts_once_and_is_shown() {
    let site = Site::read(SITES[0]);
    let mut question = site.question(Changes::Written);
    let clean = forecast(&question);
    let double = question.tanks[0].additions[100];
    question.tanks[0].additions.push(double);

    let guarded = forecast(&question);
    assert_eq!(guarded.products, clean.products);
    let shown = guarded.suspected.iter().map(|one| (one.on, one.recorded, one.reckoned));
    assert_eq!(shown.collect::<Vec<_>>(), [(double.on, double.amount, Amount::ZERO)]);
}

#[test]
fn the_causes_of_a_day_make_its_use_and_the_balance_falls_by_it() {
    let site = Site::read(SITES[8]);
    for product in forecast(&site.question(Changes::Written)).products {
        let mut balance = 0.0;
        for day in &product.days {
            let UseByCause { changes, top_ups, ph, fed, unplanned, taken } = day.by_cause;
            balance -= changes + top_ups + ph + fed + unplanned + taken;
            assert!((day.balance - balance).abs() < 1e-6, "{}", day.date);
            assert!(day.balance_low <= day.balance);
        }
    }
}

#[test]
fn each_day_is_taken_apart_by_tank_and_each_change_is_told_once() {
    let site = Site::read(SITES[8]);
    let question = site.question(Changes::Written);
    for product in forecast(&question).products {
        let causes = product.causes();
        for day in &product.days {
            let parts = causes.iter().filter(|cause| cause.on == day.date);
            let sum: f64 = parts.map(|cause| cause.amount).sum();
            assert!((sum - day.by_cause.total()).abs() < 1e-6, "{}: {sum}", day.date);
        }
        let told = causes.iter().filter(|cause| cause.cause == UseCause::Changes);
        let (days, tanks) = told.fold((0, BTreeSet::new()), |(days, mut tanks), cause| {
            tanks.extend(cause.tank);
            (days + 1, tanks)
        });
        let written = question.tanks.iter().flat_map(|tank| &tank.planned_changes);
        let coming = written.filter(|change| **change >= question.today).count();
        if days > 0 {
            assert!(tanks.len() > 1 && product.changes.len() < days, "a change that may slip is told once");
            assert!(product.changes.len() <= coming + question.tanks.len(), "{:?}", product.changes);
        }
    }
}

#[test]
fn the_order_of_records_does_not_matter() {
    let site = Site::read(SITES[2]);
    let question = site.question(Changes::Written);
    let mut turned = question.clone();
    for tank in &mut turned.tanks {
        tank.additions.reverse();
        tank.visits.reverse();
        tank.changes_done.reverse();
        tank.planned_changes.reverse();
    }
    turned.products.iter_mut().for_each(|product| product.unplanned.reverse());
    assert_eq!(forecast(&turned).products, forecast(&question).products);
}

#[test]
fn a_higher_chance_is_never_a_smaller_quantile() {
    let site = Site::read(SITES[4]);
    for product in forecast(&site.question(Changes::Written)).products {
        for day in 0..product.days.len() {
            let quantiles = [0.1, 0.5, 0.9, 0.95, 0.99].map(|chance| product.quantile_until(day, chance));
            assert!(quantiles.is_sorted(), "{quantiles:?}");
        }
    }
}
