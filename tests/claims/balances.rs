//! What a tank's records show: what is learnt, what plants take, and where records and readings do not fit.

use fillmark_actions::dosing;
use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_domain::work::AlertKind;
use fillmark_tests::Feeding;
use fillmark_tests::fresh::Kind;
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, instant, json, refusal};
use serde_json::json;
use uuid::Uuid;

/// Half past six and later of a day of November.
fn at(day: u32, time: &str) -> String {
    format!("2026-11-{day}T{time}:00+01:00")
}

/// The north tank with two concentrates whose labels state what they add: A 0.25 mS/cm, B 0.30, for a mL in a litre.
async fn labelled(world: &World) -> Feeding {
    let feeding = world.feeding().await;
    for (product, rise) in [(feeding.grow_a, 0.25), (feeding.grow_b, 0.3)] {
        let label = json!({ "product_id": product, "effective_at": "2026-01-01T00:00:00Z", "ec_rise_per_unit_per_l": rise });
        world.ada.business().create::<NewLabelRevision>(&json(label)).await.unwrap();
        feeding.receive(&world.ada, product, "L1", "2027-03-01", 9000.0).await;
    }
    feeding
}

async fn read(world: &World, feeding: &Feeding, at: &str, metric: &str, (value, unit): (f64, &str)) -> Uuid {
    let body = NewReading { confirmed: true, ..reading(feeding.here.north_tank, metric, value, unit, at) };
    world.ada.record_reading(feeding.here.site, &body).await.unwrap().id
}

async fn pour(world: &World, feeding: &Feeding, at: &str, ml: f64) -> Uuid {
    let body = NewAddition {
        recorded_at: instant(at).into(),
        confirmed: true,
        poured_all_the_same: true,
        ..feeding.addition(ml)
    };
    world.ada.record_addition(feeding.here.site, &body).await.unwrap().id
}

async fn top_up(world: &World, feeding: &Feeding, at: &str, litres: f64) {
    let body =
        json(json!({ "client_id": Uuid::now_v7(), "tank_id": feeding.here.north_tank, "reason": "top_up",
        "amount": { "value": litres, "unit": "L" }, "recorded_at": at, "confirmed": true }));
    world.ada.record_addition(feeding.here.site, &body).await.unwrap();
}

/// A morning at the tank: what stands in it at EC 1.4, filled up to 200 L with pure water, and as much A as brings it back to
/// 1.4. The reading of the EC.
async fn morning(world: &World, feeding: &Feeding, day: u32, litres: f64) -> Uuid {
    let ec = read(world, feeding, &at(day, "06:30"), "ec", (1.4, "mS/cm")).await;
    read(world, feeding, &at(day, "06:30"), "volume", (litres, "L")).await;
    if day < 24 {
        top_up(world, feeding, &at(day, "06:35"), 200.0 - litres).await;
        pour(world, feeding, &at(day, "06:40"), 1.4 * (200.0 - litres) / 0.25).await;
    }
    ec
}

/// Ten litres a day since the plants became vegetative on the 17th, and thirty before.
async fn drunk(world: &World, feeding: &Feeding) {
    for (day, litres) in (15..=24).map(|day| (day, if day < 17 { 170.0 } else { 190.0 })) {
        morning(world, feeding, day, litres).await;
    }
}

async fn watch(world: &World, site: Uuid) {
    dosing::watch_balances_at(&world.server.app, site.into()).await.unwrap();
}

async fn open_balances(world: &World, site: Uuid) -> Vec<Alert> {
    let mut alerts = world.ada.alerts(site, "").await.unwrap().items;
    alerts.retain(|alert| alert.kind.0 == AlertKind::BalanceOpen);
    alerts
}

/// 200 mL of A raise 200 L by 0.25, and 0.2 mL are entered.
async fn mis_keyed(world: &World, feeding: &Feeding) -> Uuid {
    read(world, feeding, &at(20, "07:00"), "volume", (200.0, "L")).await;
    read(world, feeding, &at(20, "07:00"), "ec", (1.0, "mS/cm")).await;
    let slip = pour(world, feeding, &at(20, "07:10"), 0.2).await;
    read(world, feeding, &at(20, "08:00"), "ec", (1.25, "mS/cm")).await;
    slip
}

#[track_caller]
fn near(value: f64, expected: f64, to: f64) {
    assert!((value - expected).abs() <= to, "{value}, expected {expected}");
}

on_both! {
    async fn what_plants_take_is_what_left_the_tank(world: World) {
        let feeding = labelled(&world).await;
        drunk(&world, &feeding).await;
        let uptake = world.ada.uptake(feeding.here.site, feeding.here.north_tank, 28).await.unwrap();
        // Each day 10 L of water and 56 mL of A, which bring 56 · 0.25 = 14 mS/cm·L; the days of propagation are left out.
        let (water, nutrient) = (uptake.water_l.unwrap(), uptake.nutrient_ms_cm_l.unwrap());
        near(water.mean, 10.056, 0.03);
        near(nutrient.mean, 14.0, 0.05);
        assert!(water.low < 10.056 && 10.056 < water.high && water.prior_share < 0.001, "{water:?}");
        assert_eq!((water.span_count, uptake.plant_count), (7, 200), "{uptake:?}");
        assert_eq!(uptake.from_at, Instant(instant("2026-11-16T23:00:00Z")));
        near(uptake.uptake_ec.unwrap().ec_ms_cm, 14.0 / 10.056, 0.01);
        near(uptake.feed_ec_ms_cm.unwrap(), 1.4, 1e-9);
        // Two times 30 L and seven times 10 L in 200 L.
        near(uptake.turnover.unwrap().value, 0.65, 1e-9);
        assert_eq!((uptake.losses.len(), uptake.early_change.len(), uptake.peer_tank_ids.len()), (0, 0, 0), "{uptake:?}");
        assert!(uptake.reasons[0].contains("7 spans"), "{:?}", uptake.reasons);
    }

    async fn without_records_the_figures_are_what_is_published_and_say_so(world: World) {
        let feeding = world.feeding().await;
        let uptake = world.ada.uptake(feeding.here.site, feeding.here.north_tank, 28).await.unwrap();
        let water = uptake.water_l.unwrap();
        near(water.mean, 200.0 * (0.05_f64 * 2.7).sqrt(), 1e-4);
        near(water.prior_share, 1.0, 1e-9);
        assert!(uptake.uptake_ec.is_none() && !uptake.cautions.is_empty(), "{uptake:?}");
    }

    async fn a_tank_without_records_is_drawn_to_those_of_its_room_and_stage(world: World) {
        let feeding = labelled(&world).await;
        drunk(&world, &feeding).await;
        let (here, site) = (world.ada.site(feeding.here.site), feeding.here.site);
        let tank = json!({ "name": "South tank", "mode": "recirculating", "fill_mark": { "value": 200, "unit": "L" } });
        let south = here.create::<NewTank>(&json(tank)).await.unwrap().id;
        let fed = json!({ "tank_id": south, "room_id": feeding.here.north_room, "from_on": "2026-11-01", "share": 1.0 });
        here.create::<NewTankRoom>(&json(fed)).await.unwrap();
        assert!(world.ada.uptake(site, south, 28).await.unwrap().peer_tank_ids.is_empty(), "nothing leads it yet");
        let feed = json!({ "tank_id": south, "cycle_id": feeding.here.cycle, "from_on": "2026-11-10", "leads": true, "plants": 100 });
        here.create::<NewFeed>(&json(feed)).await.unwrap();
        let uptake = world.ada.uptake(site, south, 28).await.unwrap();
        let water = uptake.water_l.unwrap();
        // Half the plants of the north tank, which drink 10.056 L a day.
        near(water.mean, 5.028, 0.02);
        near(water.prior_share, 1.0, 1e-9);
        assert_eq!((uptake.peer_tank_ids, water.span_count), (vec![feeding.here.north_tank], 0));
        assert!(water.low < 3.0 && water.high > 7.0, "{water:?}");
    }

    async fn a_leak_is_told_from_drinking_and_raises_an_alert(world: World) {
        let feeding = labelled(&world).await;
        let site = feeding.here.site;
        let mut readings = Vec::new();
        for (day, litres) in (15..=24).map(|day| (day, if day == 22 { 130.0 } else { 190.0 })) {
            readings.push(morning(&world, &feeding, day, litres).await);
        }
        let uptake = world.ada.uptake(site, feeding.here.north_tank, 28).await.unwrap();
        let [leak] = &uptake.losses[..] else { panic!("{uptake:?}") };
        near(leak.litres, 60.0, 3.0);
        assert_eq!((leak.cause, leak.reading_ids.as_slice()), (LossHow::Leak, &readings[6..8]), "{leak:?}");
        for _ in 0..2 {
            watch(&world, site).await;
        }
        let alerts = open_balances(&world, site).await;
        let [alert] = &alerts[..] else { panic!("{alerts:?}") };
        assert_eq!(alert.about_id, readings[6]);
        assert!(alert.text.starts_with("North tank, 2026-11-21 06:30") && alert.text.contains("leaked"), "{}", alert.text);
    }

    async fn a_slip_of_a_thousand_is_found_and_named(world: World) {
        let feeding = labelled(&world).await;
        let slip = mis_keyed(&world, &feeding).await;
        let told = world.ada.reconciliation(feeding.here.site, feeding.here.north_tank, 28).await.unwrap();
        let [check] = &told.checks[..] else { panic!("{told:?}") };
        assert_eq!((check.verdict, check.mistaken_addition_ids.as_slice()), (BalanceVerdict::UnitSlip, &[slip][..]), "{check:?}");
        assert_eq!((check.factor, check.in_all), (Some(1000.0), Some(false)), "{check:?}");
        near(check.rise.unwrap().observed_ms_cm, 0.25, 1e-9);
        near(check.rise.unwrap().expected_ms_cm, 0.2 * 0.25 / 200.0, 1e-4);
        assert!(check.told.contains("1000 times what is recorded of 0.2 mL of Grow A"), "{}", check.told);
        let [month] = &told.months[..] else { panic!("{told:?}") };
        assert_eq!((month.year, month.month, month.verdict), (2026, 11, MonthBalance::MoreShown), "{month:?}");
        near(month.drawn.value, 0.2, 1e-9);
        near(month.shown.value, 200.0, 1e-9);
    }

    async fn a_refilled_leak_does_not_count_as_drunk(world: World) {
        let feeding = labelled(&world).await;
        for (day, litres) in (15..=24).map(|day| (day, if day == 22 { 130.0 } else { 190.0 })) {
            morning(&world, &feeding, day, litres).await;
        }
        let uptake = world.ada.uptake(feeding.here.site, feeding.here.north_tank, 28).await.unwrap();
        // Eight times 10 L and once 70 in 200 L, of which 60 leaked.
        near(uptake.turnover.unwrap().value, 90.0 / 200.0, 0.02);
    }

    async fn the_ph_tells_that_the_other_bottle_was_taken(world: World) {
        let feeding = labelled(&world).await;
        let mut bottles = Vec::new();
        for (name, reagent) in [("pH Down", "nitric_acid"), ("pH Up", "potassium_hydroxide")] {
            let body = json(json!({ "name": name, "base": "mL", "kind": "ph_adjuster", "mixing_rank": 90 }));
            let bottle = world.ada.business().create::<NewProduct>(&body).await.unwrap().id;
            let label = json!({ "product_id": bottle, "effective_at": "2026-01-01T00:00:00Z", "reagent": reagent,
                "strength_percent": 10.0 });
            world.ada.business().create::<NewLabelRevision>(&json(label)).await.unwrap();
            bottles.push(bottle);
        }
        let poured = async |day: u32, ph: [f64; 2]| {
            for (time, ph) in [("07:00", ph[0]), ("08:00", ph[1])] {
                read(&world, &feeding, &at(day, time), "ec", (1.4, "mS/cm")).await;
                read(&world, &feeding, &at(day, time), "ph", (ph, "[pH]")).await;
            }
            let body = NewAddition {
                client_id: Uuid::now_v7(),
                product_id: Some(bottles[0]),
                reason: json(json!("ph")),
                recorded_at: instant(&at(day, "07:10")).into(),
                confirmed: true,
                poured_all_the_same: true,
                ..feeding.addition(20.0)
            };
            world.ada.record_addition(feeding.here.site, &body).await.unwrap().id
        };
        poured(20, [6.9, 6.2]).await;
        let other = poured(22, [6.9, 7.6]).await;
        let told = world.ada.reconciliation(feeding.here.site, feeding.here.north_tank, 28).await.unwrap();
        let of_doses: Vec<_> = told.checks.iter().filter(|check| !check.poured.is_empty()).collect();
        let [right, wrong] = of_doses[..] else { panic!("{told:?}") };
        assert_eq!(right.verdict, BalanceVerdict::Agrees, "its label tells what it adds: {right:?}");
        assert_eq!((wrong.verdict, wrong.product_id), (BalanceVerdict::WrongProduct, Some(bottles[1])), "{wrong:?}");
        assert_eq!(wrong.mistaken_addition_ids, [other]);
        assert!(wrong.told.contains("The pH rose by 0.7. That fits pH Up"), "{}", wrong.told);
    }

    async fn what_agrees_raises_nothing(world: World) {
        let feeding = labelled(&world).await;
        drunk(&world, &feeding).await;
        let site = feeding.here.site;
        watch(&world, site).await;
        assert_eq!(open_balances(&world, site).await, []);
        let told = world.ada.reconciliation(site, feeding.here.north_tank, 28).await.unwrap();
        assert!(told.checks.iter().filter(|check| check.rise.is_some()).count() >= 9, "{told:?}");
        assert!(told.checks.iter().all(|check| matches!(check.verdict, BalanceVerdict::Agrees | BalanceVerdict::NotObserved)), "{told:?}");
    }

    async fn a_finding_is_told_once_and_never_again_once_it_was_closed(world: World) {
        let feeding = labelled(&world).await;
        let (site, slip) = (feeding.here.site, mis_keyed(&world, &feeding).await);
        for _ in 0..2 {
            watch(&world, site).await;
        }
        let alerts = open_balances(&world, site).await;
        let [alert] = &alerts[..] else { panic!("{alerts:?}") };
        assert_eq!(alert.about_id, slip);
        assert!(alert.text.starts_with("North tank, 2026-11-20 08:00: ") && alert.text.contains("1000 times"), "{}", alert.text);
        world.ada.close_alert(site, alert.id).await.unwrap();
        watch(&world, site).await;
        assert_eq!(open_balances(&world, site).await, []);
    }

    async fn while_one_server_looks_at_a_site_others_pass_it_over(world: World) {
        let feeding = labelled(&world).await;
        let site = feeding.here.site;
        mis_keyed(&world, &feeding).await;
        let other = world.server.app.store.look().await.unwrap();
        assert!(other.try_turn(&format!("balances of {site}")).await.unwrap());
        watch(&world, site).await;
        // The embedded database has one server, which waits for nobody.
        assert_eq!(open_balances(&world, site).await.len(), usize::from(world.kind == Kind::Sqlite));
        other.commit().await.unwrap();
        watch(&world, site).await;
        assert_eq!(open_balances(&world, site).await.len(), 1);
    }

    async fn what_is_learnt_of_a_product_says_from_what(world: World) {
        let feeding = labelled(&world).await;
        let acid = json(json!({ "name": "pH Down", "base": "mL", "kind": "ph_adjuster", "mixing_rank": 90 }));
        let acid = world.ada.business().create::<NewProduct>(&acid).await.unwrap().id;
        let before = world.ada.learning(feeding.here.site, feeding.here.north_tank).await.unwrap();
        let rise = |learning: &TankLearning, product| learning.rises.iter().find(|rise| rise.product_id == product).unwrap().clone();
        near(rise(&before, feeding.grow_a).ec_ms_cm, 0.25, 1e-6);
        near(rise(&before, feeding.grow_a).prior_share, 1.0, 1e-6);
        let mut poured = Vec::new();
        // 200 mL in 200 L raise the EC by 0.3, whatever the label says.
        for day in 10..20 {
            read(&world, &feeding, &at(day, "07:00"), "volume", (200.0, "L")).await;
            read(&world, &feeding, &at(day, "07:00"), "ec", (1.0, "mS/cm")).await;
            poured.push(pour(&world, &feeding, &at(day, "07:10"), 200.0).await);
            read(&world, &feeding, &at(day, "08:00"), "ec", (1.3, "mS/cm")).await;
        }
        let after = world.ada.learning(feeding.here.site, feeding.here.north_tank).await.unwrap();
        let grow_a = rise(&after, feeding.grow_a);
        near(grow_a.ec_ms_cm, 0.3, 0.01);
        assert!(grow_a.ec_from_ms_cm < 0.3 && 0.3 < grow_a.ec_to_ms_cm && grow_a.prior_share < 0.3, "{grow_a:?}");
        assert_eq!(grow_a.addition_ids, poured);
        let mixture = after.mixture.unwrap();
        // The step doses 2 mL of each.
        near(mixture.ec_ms_cm.unwrap(), 2.0 * (grow_a.ec_ms_cm + rise(&before, feeding.grow_b).ec_ms_cm), 0.02);
        let [ph] = &after.ph[..] else { panic!("{:?}", after.ph) };
        assert_eq!((ph.product_id, ph.kind, ph.value), (acid, None, None));
    }

    async fn days_that_cannot_be_are_named(world: World) {
        let feeding = world.feeding().await;
        let (site, tank) = (feeding.here.site, feeding.here.north_tank);
        for what in ["uptake", "reconciliation"] {
            for days in ["0", "366"] {
                let path = format!("/sites/{site}/tanks/{tank}/{what}?days={days}");
                let error = world.ada.get::<serde_json::Value>(&path).await.unwrap_err();
                let problem = error.problem().unwrap();
                assert_eq!((problem.code, problem.errors[0].parameter.as_deref()), (ProblemCode::BadRequest, Some("days")));
            }
            for days in [1, 365] {
                world.ada.get::<serde_json::Value>(&format!("/sites/{site}/tanks/{tank}/{what}?days={days}")).await.unwrap();
            }
        }
        let none = Uuid::now_v7();
        assert_eq!(refusal(world.ada.learning(site, none).await), ProblemCode::NotFound);
        assert_eq!(refusal(world.ada.uptake(site, none, 28).await), ProblemCode::NotFound);
        assert_eq!(refusal(world.ada.reconciliation(none, tank, 28).await), ProblemCode::NotFound);
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        assert_eq!(sam.uptake(site, tank, 28).await.unwrap().tank_id, tank);
    }

    async fn an_entry_that_was_corrected_closes_its_alert(world: World) {
        let feeding = labelled(&world).await;
        let (site, slip) = (feeding.here.site, mis_keyed(&world, &feeding).await);
        watch(&world, site).await;
        assert_eq!(open_balances(&world, site).await.len(), 1);
        let back = NewReversal { client_id: Uuid::now_v7(), reason: "a thousand times as much".into() };
        world.ada.reverse_addition(site, slip, &back).await.unwrap();
        pour(&world, &feeding, &at(20, "07:10"), 200.0).await;
        watch(&world, site).await;
        assert_eq!(open_balances(&world, site).await, []);
    }

    async fn a_count_that_misses_what_a_slip_hid_names_the_entry(world: World) {
        let feeding = labelled(&world).await;
        let (site, product) = (feeding.here.site, feeding.grow_a);
        let slip = mis_keyed(&world, &feeding).await;
        let body = json(json!({ "client_id": Uuid::now_v7(), "product_id": product, "done_at": at(21, "09:00"),
            "counted": { "value": 8800.0, "unit": "mL" } }));
        let count = world.ada.count_stock(site, &body).await.unwrap();
        let found = world.ada.count_found(site, count.id).await.unwrap();
        near(found.difference.value, -199.8, 1e-9);
        let cause = &found.causes[0];
        assert_eq!((cause.tank_id, &cause.addition_ids[..]), (Some(feeding.here.north_tank), &[slip][..]));
        near(cause.explains.unwrap().value, -199.8, 1e-6);
        assert!(cause.told.contains("slip of a unit") && !found.cautions.is_empty(), "{found:?}");
    }
}
