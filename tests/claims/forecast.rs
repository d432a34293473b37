//! The purchase forecast through the API: from the programme's doses to the last canister received.

use chrono::{Datelike, NaiveDate, Weekday};
use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_tests::Feeding;
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, json, refusal};
use serde_json::json;
use uuid::Uuid;

/// Changed on the 20th, 200 L at 2 mL/L of each, so 400 mL a week; 3 L of A and 3.2 L of B on the shelf.
async fn weekly(world: &World) -> Feeding {
    let feeding = world.feeding().await;
    feeding.receive(&world.ada, feeding.grow_a, "A1", "2028-03-01", 3400.0).await;
    feeding.receive(&world.ada, feeding.grow_b, "B1", "2028-03-01", 3600.0).await;
    let change = feeding.change("2026-11-20T09:00:00+01:00", json!({}));
    world.ada.record_tank_change(feeding.here.site, &change).await.unwrap();
    feeding
}

/// A tank that feeds 100 L a day to waste, as its counter showed every morning from the 14th to the 23rd.
async fn to_waste(world: &World, feeding: &Feeding) -> Uuid {
    let here = world.ada.site(feeding.here.site);
    let tank = json(
        json!({ "name": "South tank", "mode": "run_to_waste", "fill_mark": { "value": 500.0, "unit": "L" } }),
    );
    let tank = here.create::<NewTank>(&tank).await.unwrap().id;
    let feed = json(
        json!({ "tank_id": tank, "cycle_id": feeding.here.cycle, "from_on": "2026-11-10", "leads": true, "plants": 100 }),
    );
    here.create::<NewFeed>(&feed).await.unwrap();
    for day in 14..24 {
        look(world, feeding, tank, f64::from(day * 100), day).await;
    }
    tank
}

async fn look(world: &World, feeding: &Feeding, tank: Uuid, shown_l: f64, day: u32) -> Reading {
    let at = format!("2026-11-{day}T07:00:00+01:00");
    let look = reading(tank, "water_meter", shown_l, "L", &at);
    world.ada.record_reading(feeding.here.site, &look).await.unwrap()
}

fn of(forecast: &SiteForecast, product: Uuid) -> &ProductForecast {
    forecast.products.iter().find(|one| one.product_id == product).unwrap()
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

on_both! {
    async fn planned_changes_use_what_the_programme_doses(world: World) {
        let feeding = weekly(&world).await;
        let forecast = world.ada.forecast(feeding.here.site, 90).await.unwrap();
        let grow_a = of(&forecast, feeding.grow_a);
        assert_eq!((forecast.today_on, grow_a.days.len()), (day("2026-11-24"), 90));
        assert!((forecast.service_level_percent - 95.0).abs() < 1e-9);
        // The cycle ends on 20 December: changes on 27 November, 4 and 11 December, perhaps one on the 18th.
        let changes = grow_a.expected_use.tank_changes;
        assert!((1100.0..=1700.0).contains(&changes), "{:?}", grow_a.expected_use);
        let after: f64 = grow_a.days.iter().filter(|one| one.on > day("2026-12-27")).map(|one| one.used.tank_changes).sum();
        assert!(after < 40.0, "{after}");
        let sum: f64 = grow_a.days.iter().map(|one| one.used.total).sum();
        assert!((sum - grow_a.expected_use.total).abs() < 0.1, "{sum}");
        assert!((grow_a.days[0].balance - (3000.0 - grow_a.days[0].used.total)).abs() < 0.01);
    }

    async fn what_to_buy_and_each_list_are_given_as_tables(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let table = world.ada.get_text(&format!("/sites/{site}/forecast?format=csv")).await.unwrap();
        let lines: Vec<&str> = table.split("\r\n").collect();
        assert!(lines[0].starts_with("product_id,product,unit,expected_use,may_run_out_on,order_by_on,"), "{table}");
        assert!(lines[0].ends_with(",use_unplanned,use_taken_out,use_by_past_alone,cautions"), "{table}");
        assert!(lines.iter().any(|line| line.contains(",Grow A,mL,")), "{table}");
        let offers = world.ada.get_text(&format!("/sites/{site}/offers?format=csv")).await.unwrap();
        assert!(offers.starts_with("id,") && offers.contains("pack.value,pack.unit"), "{offers}");
        assert_eq!(refusal(world.ada.get_text(&format!("/sites/{site}/offers?format=xml")).await), ProblemCode::BadRequest);
    }

    async fn what_was_paid_poured_and_is_to_be_counted_are_tables_too(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        world.ada.record_addition(site, &feeding.addition(20.0)).await.unwrap();
        let table = async |path: &str| {
            let table = world.ada.get_text(&format!("/sites/{site}/{path}")).await.unwrap();
            table.lines().map(str::to_owned).collect::<Vec<String>>()
        };
        let costs = table("costs?from_on=2026-11-24&until_on=2026-11-24&format=csv").await;
        assert_eq!(costs[0], "part,id,name,amount,minor,currency");
        let parts: Vec<&str> = costs[1..].iter().map(|row| row.split(',').next().unwrap()).collect();
        assert_eq!(parts, ["month", "tank", "room", "product"], "{costs:?}");
        assert!(costs[4].ends_with(",Grow A,20,39.8,EUR"), "{costs:?}");
        let due = table("counts/due?kind=full&format=csv").await;
        assert!(due[0].starts_with("product_id,") && due.len() > 1, "{due:?}");
        let prices = table(&format!("products/{}/prices?format=csv", feeding.grow_a)).await;
        assert_eq!(prices[0], "ordered_on,offer_id,minor_per_thousand");
        assert!(table("forecast/spares?format=csv").await.is_empty(), "there is no other site");
        assert!(table("forecast/track-record?format=csv").await.is_empty(), "no night is over");
    }

    async fn a_forecast_stands_beside_what_past_use_alone_would_say(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let poured = |day: u32| NewAddition {
            client_id: Uuid::now_v7(),
            recorded_at: fillmark_tests::world::instant(&format!("2026-11-{day}T08:00:00+01:00")).into(),
            ..feeding.addition(70.0)
        };
        for day in [10, 17] {
            world.ada.record_addition(site, &poured(day)).await.unwrap();
        }
        let forecast = world.ada.forecast(site, 28).await.unwrap();
        let simple = of(&forecast, feeding.grow_a).baseline.unwrap();
        assert_eq!((simple.method, simple.week_count), (SimpleMethod::Mean, 2));
        // Two times 70 mL, and the 400 of a change, in two weeks.
        assert!((simple.per_day - 540.0 / 14.0).abs() < 1e-3 && (simple.total - 1080.0).abs() < 0.1, "{simple:?}");
        let of_b = of(&forecast, feeding.grow_b).baseline.unwrap();
        assert!((of_b.per_day - 400.0 / 14.0).abs() < 1e-3, "the change alone: {of_b:?}");
    }

    async fn a_plan_that_is_tried_is_told_beside_the_plan_and_not_kept(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let planned = world.ada.forecast(site, 28).await.unwrap();
        let asked = |change| json(json!({ "horizon_days": 28, "changes": [change] }));
        let ada = &world.ada;
        let answer = |asked: NewWhatIf| async move { ada.what_if(site, &asked).await };
        let grow_a = |told: &WhatIf| told.products.iter().find(|one| one.product_id == feeding.grow_a).unwrap().clone();
        let programme = feeding.here.programme;
        let twice = answer(asked(json!({ "change": "strength", "programme_id": programme, "factor": 2.0 }))).await.unwrap();
        let (as_planned, changed) = (grow_a(&twice).planned_use.total, grow_a(&twice).changed_use.total);
        assert_eq!(as_planned, of(&planned, feeding.grow_a).expected_use.total);
        assert!((1.8..2.2).contains(&(changed / as_planned)), "{changed} {as_planned}");
        assert!((grow_a(&twice).difference - (changed - as_planned)).abs() < 0.002);
        let rarely = answer(asked(json!({ "change": "interval", "programme_id": programme, "days": 28 }))).await.unwrap();
        assert!(grow_a(&rarely).changed_use.tank_changes < 0.6 * grow_a(&rarely).planned_use.tank_changes);
        let business = world.ada.business();
        let other = business.create::<NewProgramme>(&json(json!({ "name": "Strong", "crop_id": feeding.here.crop }))).await.unwrap();
        let step = json!({ "stage": "vegetative", "days": 60, "change_every_days": 7, "strength": 1.0, "top_up_strength": 1.0,
            "doses": [{ "product_id": feeding.grow_a, "per_litre": 6.0 }], "bands": [] });
        let revision = json!({ "programme_id": other.id, "effective_at": "2026-01-01T00:00:00Z", "steps": [step] });
        business.create::<NewProgrammeRevision>(&json(revision)).await.unwrap();
        let cycle = world.ada.site(site).all::<NewCycle>("").await.unwrap().remove(0).id;
        let refed = json!({ "change": "programme", "cycle_id": cycle, "programme_id": other.id });
        let refed = grow_a(&answer(asked(refed)).await.unwrap());
        assert!(refed.changed_use.total > 1.5 * refed.planned_use.total, "a programme that no cycle has had yet: {refed:?}");
        let closed = json!({ "change": "room_closed", "room_id": feeding.here.north_room, "from_on": "2026-11-24", "until_on": "2027-03-01" });
        assert!(grow_a(&answer(asked(closed)).await.unwrap()).changed_use.tank_changes < 1.0);
        assert_eq!(world.ada.forecast(site, 28).await.unwrap().products, planned.products, "nothing is kept");
        let error = answer(asked(json!({ "change": "interval", "programme_id": Uuid::now_v7(), "days": 7 }))).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/changes/0/programme_id"));
        let error = answer(asked(json!({ "change": "interval", "programme_id": programme, "days": 0 }))).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/changes/0/days"));
    }

    async fn a_change_done_today_is_out_of_the_stock_and_not_forecast_again(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let changes = |forecast: &SiteForecast| of(forecast, feeding.grow_a).expected_use.tank_changes;
        let before = changes(&world.ada.forecast(site, 10).await.unwrap());
        let change = feeding.change("2026-11-24T06:30:00+01:00", json!({}));
        world.ada.record_tank_change(site, &change).await.unwrap();
        let after = world.ada.forecast(site, 10).await.unwrap();
        assert!((of(&after, feeding.grow_a).days[0].balance - 2600.0).abs() < 1e-6);
        assert!(before > 390.0 && changes(&after) < 410.0, "{before} {}", changes(&after));
        let first = of(&after, feeding.grow_a).days.iter().find(|one| one.used.tank_changes > 1.0).unwrap();
        assert_eq!(first.on, day("2026-12-01"));
    }

    async fn a_skipped_change_wants_nothing(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let first = async || {
            let forecast = world.ada.forecast(site, 30).await.unwrap();
            of(&forecast, feeding.grow_a).days.iter().find(|one| one.used.tank_changes > 1.0).unwrap().on
        };
        assert_eq!(first().await, day("2026-11-27"));
        let skip: NewPlannedChange = json(json!({ "tank_id": feeding.here.north_tank, "kind": "skipped",
            "on_day": "2026-11-27", "reason": "public holiday" }));
        world.ada.site(site).create::<NewPlannedChange>(&skip).await.unwrap();
        assert_eq!(first().await, day("2026-12-04"));
    }

    async fn the_same_days_are_forecast_alike_however_far_one_looks(world: World) {
        let feeding = weekly(&world).await;
        let far = world.ada.forecast(feeding.here.site, 90).await.unwrap();
        for horizon in [4, 11, 12] {
            let near = world.ada.forecast(feeding.here.site, horizon).await.unwrap();
            assert_eq!(of(&near, feeding.grow_a).days.len(), usize::from(horizon));
            assert_eq!(of(&near, feeding.grow_a).purchase, of(&far, feeding.grow_a).purchase, "{horizon}");
            assert_eq!(near.orders, far.orders, "{horizon}");
            for (near, far) in of(&near, feeding.grow_a).days.iter().zip(&of(&far, feeding.grow_a).days) {
                assert!((near.used.total - far.used.total).abs() < 1e-6, "{horizon}: {near:?} {far:?}");
            }
        }
    }

    async fn what_runs_out_is_ordered_in_time_in_whole_packs_and_in_step(world: World) {
        let feeding = weekly(&world).await;
        let forecast = world.ada.forecast(feeding.here.site, 90).await.unwrap();
        let grow_a = of(&forecast, feeding.grow_a);
        let out = grow_a.may_run_out_on.unwrap();
        let purchase = grow_a.purchase.as_ref().unwrap();
        assert!(matches!(purchase.order_by_on.weekday(), Weekday::Tue | Weekday::Thu), "{}", purchase.order_by_on);
        assert!(purchase.order_by_on < out && out <= day("2026-12-20"), "{purchase:?} {out}");
        let [line] = purchase.lines.as_slice() else { panic!("{purchase:?}") };
        assert!(line.pack_count >= 2 && line.pack.value == 1000.0 && purchase.transfers.is_empty(), "{purchase:?}");
        assert_eq!(purchase.cost_minor, purchase.pack_count * 1990);
        let grow_b = of(&forecast, feeding.grow_b).purchase.as_ref().unwrap();
        assert_eq!((grow_b.order_by_on, grow_b.pack_count), (purchase.order_by_on, purchase.pack_count));
        let order = &forecast.orders[0];
        let mut together = order.product_ids.clone();
        together.sort();
        assert_eq!((order.supplier_id, together), (feeding.supplier, vec![feeding.grow_a, feeding.grow_b]));
        assert_eq!(order.value_minor, purchase.cost_minor + grow_b.cost_minor);
    }

    async fn terms_in_another_currency_are_left_out_with_a_caution(world: World) {
        let feeding = weekly(&world).await;
        let supplier = world.ada.business().read::<NewSupplier>(feeding.supplier).await.unwrap();
        let dollars = json!({ "currency": "USD", "minimum_order_minor": 900_000, "freight_minor": 990 });
        world.ada.business().change(&supplier, dollars).await.unwrap();
        let forecast = world.ada.forecast(feeding.here.site, 90).await.unwrap();
        let order = &forecast.orders[0];
        assert_eq!((order.freight_minor, order.below_minimum_minor, order.currency.as_str()), (None, None, "EUR"));
        assert!(order.cautions[0].contains("USD"), "{:?}", order.cautions);
    }

    async fn draft_orders_are_placed_received_in_parts_and_seen_coming(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let before = world.ada.forecast(site, 90).await.unwrap();
        let wanted = of(&before, feeding.grow_a).purchase.clone().unwrap();
        let early = NewDraftOrders { order_by_on: wanted.order_by_on.pred_opt().unwrap() };
        assert!(world.ada.draft_forecast_orders(site, &early).await.unwrap().is_empty());
        let drafts = world.ada.draft_forecast_orders(site, &NewDraftOrders { order_by_on: wanted.order_by_on }).await.unwrap();
        let [draft] = drafts.as_slice() else { panic!("{drafts:?}") };
        let packs: Vec<i64> = draft.lines.iter().map(|line| i64::from(line.packs)).collect();
        assert_eq!((draft.state.as_str(), packs), ("draft", vec![wanted.pack_count; 2]));
        let again = world.ada.draft_forecast_orders(site, &NewDraftOrders { order_by_on: wanted.order_by_on }).await;
        assert_eq!(again.unwrap(), [], "what is drafted is not drafted again");
        let order = world.ada.place_order(site, draft.id, &NewPlacing { placed_at: None, expected_on: None, confirmed: false }).await.unwrap();
        let coming = order.expected_on.unwrap();
        let ordered_ml = wanted.pack_count as f64 * 1000.0;
        let placed = world.ada.forecast(site, 90).await.unwrap();
        let balance = |forecast: &SiteForecast, on: NaiveDate| {
            of(forecast, feeding.grow_a).days.iter().find(|one| one.on == on).unwrap().balance
        };
        assert!((balance(&placed, coming.pred_opt().unwrap()) - balance(&before, coming.pred_opt().unwrap())).abs() < 1.0);
        let last = day("2027-01-20");
        assert!((balance(&placed, last) - balance(&before, last) - ordered_ml).abs() < 1.0, "{} {}", balance(&placed, last), balance(&before, last));
        let lasts = |forecast: &SiteForecast| of(forecast, feeding.grow_a).may_run_out_on.unwrap_or(NaiveDate::MAX);
        assert!(lasts(&placed) > lasts(&before));
        let part: NewReceipt = json(json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a, "lot_number": "A2",
            "amount": { "value": 500, "unit": "mL" }, "order_id": order.id }));
        world.ada.receive_product(site, &part).await.unwrap();
        let parts = world.ada.forecast(site, 90).await.unwrap();
        assert!((balance(&parts, last) - balance(&placed, last)).abs() < 1.0, "what came is no longer coming");
        assert!((balance(&parts, day("2026-11-25")) - balance(&placed, day("2026-11-25")) - 500.0).abs() < 1.0);
        assert_eq!(world.ada.order(site, order.id).await.unwrap().state, "part_received");
    }

    async fn an_order_that_never_came_hides_no_stock_out_and_is_named(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let grow_a = async || of(&world.ada.forecast(site, 90).await.unwrap(), feeding.grow_a).clone();
        let before = grow_a().await;
        let offers = world.ada.site(site).all::<NewOffer>("").await.unwrap();
        let offer = offers.iter().find(|offer| offer.body.product_id == feeding.grow_a).unwrap();
        let lines = vec![NewOrderLine { offer_id: offer.id, packs: 5 }];
        let order = world.ada.draft_order(site, &NewOrder { lines }).await.unwrap();
        let placing = json(json!({ "placed_at": "2026-10-20T09:00:00+02:00", "expected_on": "2026-10-23" }));
        world.ada.place_order(site, order.id, &placing).await.unwrap();
        let now = grow_a().await;
        assert_eq!((now.deliveries.len(), now.may_run_out_on), (0, before.may_run_out_on));
        let reference = order.id.simple().to_string().to_uppercase();
        let told = format!("5000 mL of Grow A on order {}, expected on 2026-10-23, has not come: it is not counted on", &reference[24..]);
        assert!(now.cautions.iter().any(|caution| caution.starts_with(&told)), "{:?}", now.cautions);
    }

    async fn what_runs_to_waste_follows_the_counter(world: World) {
        let feeding = weekly(&world).await;
        to_waste(&world, &feeding).await;
        let forecast = world.ada.forecast(feeding.here.site, 10).await.unwrap();
        // Ten days of 100 L at 2 mL/L.
        assert_eq!(of(&forecast, feeding.grow_a).expected_use.fed, 2000.0);
    }

    async fn a_look_that_was_corrected_makes_no_rise(world: World) {
        let feeding = weekly(&world).await;
        let tank = to_waste(&world, &feeding).await;
        let slip = look(&world, &feeding, tank, 23_500.0, 23).await;
        let site = feeding.here.site;
        let fed = async || of(&world.ada.forecast(site, 10).await.unwrap(), feeding.grow_a).expected_use.fed;
        assert!(fed().await > 2000.0);
        let meant = reading(tank, "water_meter", 2350.0, "L", "2026-11-23T08:00:00+01:00");
        let correction = ReadingCorrection { reading: meant, reason: "a digit too many".into() };
        world.ada.correct_reading(site, slip.id, &correction).await.unwrap();
        // Nine days from 1400 L on the 14th to 2350 L on the 23rd, at 2 mL/L.
        let expected = 10.0 * 2.0 * (2350.0 - 1400.0) / 9.0;
        assert!((fed().await - expected).abs() < 0.01, "{}", fed().await);
    }

    async fn a_lot_that_expired_and_went_whole_is_no_use(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let write_off = async |slip: &Slip, ml: f64| {
            let body = json(json!({ "client_id": Uuid::now_v7(), "lot_id": slip.movements[0].lot_id, "reason": "past its date",
                "amount": { "value": ml, "unit": "mL" }, "done_at": "2026-11-20T08:00:00Z" }));
            world.ada.write_off_lot(site, &body).await.unwrap();
            of(&world.ada.forecast(site, 10).await.unwrap(), feeding.grow_a).expected_use.unplanned
        };
        let expired = feeding.receive(&world.ada, feeding.grow_a, "A0", "2026-11-15", 500.0).await;
        assert_eq!(write_off(&expired, 500.0).await, 0.0);
        let fresh = feeding.receive(&world.ada, feeding.grow_a, "A9", "2028-01-01", 500.0).await;
        assert!(write_off(&fresh, 500.0).await > 0.0);
    }

    async fn what_is_taken_out_and_made_into_preparations_is_forecast_by_its_past(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let product = async |name: &str, kind: &str| {
            let body = json!({ "name": name, "base": "mL", "kind": kind, "mixing_rank": 90 });
            world.ada.business().create::<NewProduct>(&json(body)).await.unwrap().id
        };
        let (cleaner, stock) = (product("Cleaner", "cleaning_agent").await, product("Stock A", "concentrate").await);
        feeding.receive(&world.ada, cleaner, "C1", "2028-01-01", 9000.0).await;
        feeding.receive(&world.ada, feeding.grow_b, "B9", "2028-01-01", 9000.0).await;
        for day in [11, 18] {
            let done_at = format!("2026-11-{day}T08:00:00Z");
            let taken = json!({ "client_id": Uuid::now_v7(), "amount": { "value": 280.0, "unit": "mL" }, "done_at": done_at });
            world.ada.issue_product(site, cleaner, &json(taken)).await.unwrap();
            let made = json!({ "client_id": Uuid::now_v7(), "product_id": stock, "lot_number": format!("S{day}"),
                "strength": 10.0, "done_at": done_at, "amount": { "value": 2.0, "unit": "L" },
                "parts": [{ "product_id": feeding.grow_b, "amount": { "value": 140.0, "unit": "mL" } }] });
            world.ada.make_preparation(site, &json(made)).await.unwrap();
        }
        let forecast = world.ada.forecast(site, 28).await.unwrap();
        // What is known of two weeks is a rate of four at least.
        let of_cleaner = of(&forecast, cleaner);
        assert!((of_cleaner.expected_use.taken_out - 560.0).abs() < 0.1, "{:?}", of_cleaner.expected_use);
        assert_eq!((of_cleaner.expected_use.total, of_cleaner.learnt_from.taken_out_count), (of_cleaner.expected_use.taken_out, 2));
        let part = of(&forecast, feeding.grow_b).expected_use;
        assert!((part.taken_out - 280.0).abs() < 0.1 && part.total > part.taken_out, "{part:?}");
        assert_eq!(of(&forecast, feeding.grow_a).expected_use.taken_out, 0.0, "what goes into tanks is planned");
    }

    async fn a_stage_that_the_programme_has_no_step_for_is_told(world: World) {
        let feeding = weekly(&world).await;
        let site = world.ada.site(feeding.here.site);
        let cycle = site.read::<NewCycle>(feeding.here.cycle).await.unwrap();
        let mut stages = serde_json::to_value(&cycle.body.stages).unwrap();
        stages.as_array_mut().unwrap().push(json!({ "stage": "ripening", "from_on": "2026-12-10" }));
        site.change(&cycle, json!({ "stages": stages })).await.unwrap();
        let forecast = world.ada.forecast(feeding.here.site, 28).await.unwrap();
        let cautions = &of(&forecast, feeding.grow_a).cautions;
        assert!(cautions.iter().any(|told| told.starts_with("from 2026-12-10 on")), "{cautions:?}");
    }

    async fn a_tank_out_of_use_wants_nothing(world: World) {
        let feeding = weekly(&world).await;
        let outage = json(json!({ "tank_id": feeding.here.north_tank, "from_on": "2026-11-24", "reason": "leaks" }));
        world.ada.site(feeding.here.site).create::<NewOutage>(&outage).await.unwrap();
        let forecast = world.ada.forecast(feeding.here.site, 90).await.unwrap();
        assert_eq!(of(&forecast, feeding.grow_a).expected_use.tank_changes, 0.0);
    }

    async fn staff_read_the_forecast_and_do_not_order(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        assert_eq!(sam.forecast(site, 30).await.unwrap().products.len(), 2);
        let drafts = NewDraftOrders { order_by_on: day("2027-01-01") };
        assert_eq!(refusal(sam.draft_forecast_orders(site, &drafts).await), ProblemCode::NotAllowed);
        for horizon in ["0", "10000", "x", "-1"] {
            let answer = world.ada.get::<SiteForecast>(&format!("/sites/{site}/forecast?horizon_days={horizon}")).await;
            assert!(matches!(refusal(answer), ProblemCode::BadRequest | ProblemCode::Invalid), "{horizon}");
        }
    }
}
