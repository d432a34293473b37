//! Forecasts that are issued: each night and on demand, kept as they were, scored later; and what they warn of.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, TimeDelta, Weekday};
use fillmark_actions::{Clock, forecast};
use fillmark_api::*;
use fillmark_domain::Id;
use fillmark_domain::people::Role;
use fillmark_domain::work::AlertStanding;
use fillmark_tests::Feeding;
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, instant, json, refusal};
use serde_json::json;
use uuid::Uuid;

/// Changed on the 20th, 200 L at 2 mL/L of each, so 400 mL a week; 3 L of A and 3.2 L of B on the shelf.
async fn weekly(world: &World) -> Feeding {
    let feeding = world.feeding().await;
    let here = world.ada.site(feeding.here.site);
    let cycle = here.read::<NewCycle>(feeding.here.cycle).await.unwrap();
    here.change(&cycle, json!({ "ends_on": "2027-06-30" })).await.unwrap();
    feeding.receive(&world.ada, feeding.grow_a, "A1", "2030-03-01", 3400.0).await;
    feeding.receive(&world.ada, feeding.grow_b, "B1", "2030-03-01", 3600.0).await;
    let change = feeding.change("2026-11-20T09:00:00+01:00", json!({}));
    world.ada.record_tank_change(feeding.here.site, &change).await.unwrap();
    feeding
}

async fn a_night_passes(world: &World, feeding: &Feeding) {
    world.clock.advance(TimeDelta::days(1));
    forecast::watch_supply_at(&world.server.app, Id::new(feeding.here.site)).await.unwrap();
    // Sessions do not last for months.
    world.ada.sign_in("ada", PASSWORD).await.unwrap();
}

/// On Fridays the tank is changed, as planned.
async fn a_day_passes(world: &World, feeding: &Feeding) {
    let today = world.clock.now().date_naive();
    if today.weekday() == Weekday::Fri {
        let change = feeding.change(&format!("{today}T06:00:00+01:00"), json!({}));
        world.ada.record_tank_change(feeding.here.site, &change).await.unwrap();
    }
    a_night_passes(world, feeding).await;
}

/// The texts of alerts that are not closed, by kind.
async fn told(world: &World, feeding: &Feeding) -> BTreeMap<String, Vec<Alert>> {
    let mut told: BTreeMap<String, Vec<Alert>> = BTreeMap::new();
    for alert in world.ada.alerts(feeding.here.site, "").await.unwrap().items {
        told.entry(serde_json::to_value(alert.kind).unwrap().as_str().unwrap().to_owned())
            .or_default()
            .push(alert);
    }
    told
}

on_both! {
    async fn a_forecast_is_issued_once_a_night_and_kept_as_it_was(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        for _ in 0..2 {
            forecast::watch_supply_at(&world.server.app, Id::new(site)).await.unwrap();
        }
        let asked = world.ada.issue_forecast(site).await.unwrap();
        assert!(asked.issued_by.is_some());
        let issued = world.ada.issued_forecasts(site).await.unwrap().items;
        assert_eq!(issued.len(), 2, "one of the night and one that was asked for");
        let of_night = issued.iter().find(|one| one.issued_by.is_none()).unwrap();
        assert_eq!(of_night.lines, asked.lines, "unchanged records, the same forecast");
        let now = world.ada.forecast(site, 28).await.unwrap();
        let now = now.products.iter().find(|one| one.product_id == feeding.grow_a).unwrap();
        let line = asked.lines.iter().find(|line| line.product_id == feeding.grow_a).unwrap();
        let month = line.uses.iter().find(|told| told.days == 28).unwrap();
        assert!((month.expected - now.expected_use.total).abs() < 0.01, "{month:?}");
        assert!(month.expected < month.high_90 && month.high_90 <= month.high_95, "{month:?}");
        let by_cause = month.by_cause.unwrap();
        assert!((by_cause.total - month.expected).abs() < 0.01 && by_cause.tank_changes > 1000.0, "{by_cause:?}");
        let change = feeding.change("2026-11-24T06:30:00+01:00", json!({}));
        world.ada.record_tank_change(site, &change).await.unwrap();
        assert_eq!(world.ada.issued_forecast(site, asked.id).await.unwrap(), asked);
    }

    async fn a_forecast_is_scored_once_its_days_are_over(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        forecast::watch_supply_at(&world.server.app, Id::new(site)).await.unwrap();
        let issued = world.ada.issued_forecasts(site).await.unwrap().items.remove(0);
        let before = world.ada.track_record(site).await.unwrap();
        assert_eq!((before.night_count, before.scores), (0, Vec::new()));
        world.clock.set(instant("2026-11-27T09:00:00Z"));
        let change = feeding.change("2026-11-27T09:00:00+01:00", json!({}));
        world.ada.record_tank_change(site, &change).await.unwrap();
        world.clock.set(instant("2026-12-01T09:00:00Z"));
        let record = world.ada.track_record(site).await.unwrap();
        let score = record.scores.iter().find(|one| one.product_id == feeding.grow_a).unwrap();
        assert_eq!((record.night_count, score.days, score.forecast_count), (1, 7, 1));
        let line = issued.lines.iter().find(|line| line.product_id == feeding.grow_a).unwrap();
        let expected = line.uses.iter().find(|told| told.days == 7).unwrap().expected;
        // 400 mL went into the tank of the 27th.
        let error = (expected - 400.0).abs() / 400.0 * 100.0;
        assert!((score.error_percent.unwrap() - error).abs() < 0.02, "{score:?} {error}");
    }

    async fn what_must_be_ordered_is_told_until_it_is(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let by = world.ada.forecast(site, 90).await.unwrap();
        let by = by.products.iter().find(|one| one.product_id == feeding.grow_a).unwrap().purchase.clone().unwrap().order_by_on;
        let mut nights = 0;
        while !told(&world, &feeding).await.contains_key("order_by_near") {
            a_day_passes(&world, &feeding).await;
            nights += 1;
            assert!(nights < 60, "never told, to be ordered by {by}");
        }
        let alerts = told(&world, &feeding).await;
        let near = &alerts["order_by_near"];
        assert!(near.iter().any(|alert| alert.about_id == feeding.grow_a && alert.text.contains("Grow A: order")), "{near:?}");
        forecast::watch_supply_at(&world.server.app, Id::new(site)).await.unwrap();
        assert_eq!(told(&world, &feeding).await["order_by_near"].len(), near.len(), "told once");
        let drafts = world.ada.draft_forecast_orders(site, &json(json!({ "order_by_on": "2027-12-31" }))).await.unwrap();
        assert!(drafts[0].lines.iter().any(|line| line.why.as_ref().is_some_and(|why| why.contains("running out before it comes"))), "{drafts:?}");
        let approved = world.ada.approve_order(site, drafts[0].id).await.unwrap();
        assert!(approved.approved_by.is_some() && approved.approved_at.is_some(), "{approved:?}");
        let message = world.ada.order_message(site, drafts[0].id).await.unwrap();
        assert!(message.contains("Grow A in packs of") && message.contains("confirm price"), "{message}");
        let table = world.ada.order_table(site, drafts[0].id).await.unwrap();
        let lines: Vec<&str> = table.lines().collect();
        assert!(lines[0].starts_with("order,state,supplier,site,product,packs,pack."), "{table}");
        assert!(lines.len() > 1 && lines[1].contains("Grow A"), "{table}");
        let order = world.ada.place_order(site, drafts[0].id, &json(json!({}))).await.unwrap();
        assert_eq!(order.state, "placed");
        let svg = world.ada.stock_chart(site, feeding.grow_a).await.unwrap();
        assert!(svg.contains("Deliveries (triangles)"), "{svg}");
        a_night_passes(&world, &feeding).await;
        assert!(!told(&world, &feeding).await.contains_key("order_by_near"), "over once it is ordered");
        while !told(&world, &feeding).await.contains_key("supplier_late") {
            a_night_passes(&world, &feeding).await;
            nights += 1;
            assert!(nights < 90, "a promise of three days is never late");
        }
        let late = &told(&world, &feeding).await["supplier_late"];
        assert_eq!(late.iter().map(|alert| alert.about_id).collect::<Vec<Uuid>>(), [order.id]);
    }

    async fn what_is_told_is_told_as_it_is_now(world: World) {
        let feeding = weekly(&world).await;
        while !told(&world, &feeding).await.contains_key("stock_out_near") {
            a_day_passes(&world, &feeding).await;
        }
        let first = told(&world, &feeding).await["stock_out_near"][0].clone();
        world.ada.see_alert(feeding.here.site, first.id).await.unwrap();
        // Half a litre is lent to a neighbour: it runs out sooner.
        let lent = json!({ "client_id": Uuid::now_v7(), "amount": { "value": 500.0, "unit": "mL" } });
        world.ada.issue_product(feeding.here.site, first.about_id, &json(lent)).await.unwrap();
        a_night_passes(&world, &feeding).await;
        let alerts = told(&world, &feeding).await;
        let now = alerts["stock_out_near"].iter().find(|alert| alert.id == first.id).unwrap();
        assert_ne!(now.text, first.text, "it runs out sooner");
        assert_eq!(now.state.0, AlertStanding::Seen, "it is the same all the same");
    }

    async fn a_forecast_that_is_asked_for_tells_what_a_night_would(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        world.ada.issue_forecast(site).await.unwrap();
        assert!(told(&world, &feeding).await.is_empty());
        // 90 mL of each are left, and a change takes 400 mL.
        for (product, ml) in [(feeding.grow_a, 2910.0), (feeding.grow_b, 3110.0)] {
            let issue = json!({ "client_id": Uuid::now_v7(), "amount": { "value": ml, "unit": "mL" } });
            world.ada.issue_product(site, product, &json(issue)).await.unwrap();
        }
        let expiring = feeding.receive(&world.ada, feeding.grow_b, "B-77", "2026-12-10", 5000.0).await;
        world.ada.issue_forecast(site).await.unwrap();
        let alerts = told(&world, &feeding).await;
        assert_eq!(alerts["stock_out_near"][0].about_id, feeding.grow_a);
        let left = &alerts["expiry"][0];
        assert_eq!(left.about_id, expiring.movements[0].lot_id);
        assert!(left.text.contains(" mL of lot B-77 are expected to be left"), "{left:?}");
        feeding.receive(&world.ada, feeding.grow_a, "A2", "2030-03-01", 9000.0).await;
        world.ada.issue_forecast(site).await.unwrap();
        assert!(!told(&world, &feeding).await.contains_key("stock_out_near"), "over once there is enough");
    }

    async fn what_was_poured_costs_what_was_paid_for_it(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let costs = world.ada.costs(site, "from_on=2026-11-01&until_on=2026-11-30").await.unwrap();
        // 400 mL of each went in on the 20th; a pack of a litre of each is offered for 19.90.
        assert_eq!((costs.currency.as_str(), costs.total_minor), ("EUR", 1592.0));
        assert_eq!(costs.tanks.iter().map(|tank| (tank.id, tank.minor)).collect::<Vec<_>>(), [(feeding.here.north_tank, 1592.0)]);
        assert_eq!(costs.rooms.iter().map(|room| (room.id, room.minor)).collect::<Vec<_>>(), [(feeding.here.north_room, 1592.0)]);
        assert_eq!(costs.months.len(), 1);
        let none = world.ada.costs(site, "from_on=2026-11-21&until_on=2026-11-30").await.unwrap();
        assert_eq!((none.total_minor, none.products.len()), (0.0, 0));
        let prices = world.ada.prices(site, feeding.grow_a).await.unwrap().prices;
        assert_eq!(prices.iter().map(|price| (price.ordered_on, price.minor_per_thousand)).collect::<Vec<_>>(), [(None, 1990.0)]);
        assert!(world.ada.costs(site, "from_on=2026-11-30&until_on=2026-11-01").await.is_err());
    }

    async fn what_was_made_on_site_costs_what_its_parts_do(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        let body = json!({ "name": "Stock A", "base": "mL", "kind": "concentrate", "mixing_rank": 90 });
        let stock = world.ada.business().create::<NewProduct>(&json(body)).await.unwrap().id;
        let made = json!({ "client_id": Uuid::now_v7(), "product_id": stock, "lot_number": "S1", "strength": 10.0,
            "done_at": "2026-11-22T08:00:00Z", "amount": { "value": 2.0, "unit": "L" },
            "parts": [{ "product_id": feeding.grow_a, "amount": { "value": 200.0, "unit": "mL" } }] });
        world.ada.make_preparation(site, &json(made)).await.unwrap();
        let poured = NewAddition { product_id: Some(stock), recorded_at: instant("2026-11-23T08:00:00Z").into(), confirmed: true, ..feeding.addition(500.0) };
        world.ada.record_addition(site, &poured).await.unwrap();
        let costs = world.ada.costs(site, "from_on=2026-11-23&until_on=2026-11-23").await.unwrap();
        // 50 mL of a litre of 19.90.
        assert!((costs.total_minor - 99.5).abs() < 0.01, "{costs:?}");
    }

    async fn what_another_site_can_spare_is_offered_first(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        assert_eq!(world.ada.spares(site).await.unwrap().spares, []);
        let hill = world.site("Hill").await.id;
        let receipt = json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a, "lot_number": "H1", "expiry_on": "2030-03-01",
            "amount": { "value": 50.0, "unit": "L" }, "confirmed": true });
        world.ada.receive_product(hill, &json(receipt)).await.unwrap();
        let spares = world.ada.spares(site).await.unwrap().spares;
        let [spare] = &spares[..] else { panic!("{spares:?}") };
        assert_eq!((spare.from_site_id, spare.product_id), (hill, feeding.grow_a));
        assert!(spare.spare.value > 0.0 && spare.spare.value <= spare.needed.value, "{spare:?}");
        assert_eq!(world.ada.spares(hill).await.unwrap().spares, [], "nothing is needed where nothing grows");
        let (_, mia) = world.person("Mia", Role::Manager, Some(site)).await;
        let unseen = mia.spares(site).await.unwrap();
        assert_eq!((unseen.spares, unseen.unseen_sites), (vec![], 1), "nobody looked where she may not");

        let purchase = async || {
            let forecast = world.ada.forecast(site, 90).await.unwrap();
            forecast.products.into_iter().find(|one| one.product_id == feeding.grow_a).unwrap().purchase.unwrap()
        };
        feeding.receive(&world.ada, feeding.grow_a, "A2", "2030-03-01", 2000.0).await;
        let later = purchase().await;
        assert!(later.order_by_on > "2026-12-08".parse().unwrap() && later.transfers.is_empty(), "{later:?}");
        let expiring = json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a, "lot_number": "H2", "expiry_on": "2027-01-20",
            "amount": { "value": 50.0, "unit": "L" }, "confirmed": true });
        world.ada.receive_product(hill, &json(expiring)).await.unwrap();
        assert_eq!(purchase().await.transfers[0].from_site_id, hill, "what would expire there is proposed at any time");
    }

    async fn one_lot_that_came_short_dated_stops_no_order(world: World) {
        let feeding = weekly(&world).await;
        let purchase = async || {
            let forecast = world.ada.forecast(feeding.here.site, 90).await.unwrap();
            forecast.products.into_iter().find(|one| one.product_id == feeding.grow_a).unwrap().purchase
        };
        let before = purchase().await.unwrap();
        feeding.receive(&world.ada, feeding.grow_a, "short", "2026-11-27", 200.0).await;
        assert_eq!(purchase().await.unwrap().pack_count, before.pack_count);
    }

    async fn a_transfer_is_proposed_before_an_order_and_only_the_rest_is_drafted(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        feeding.receive(&world.ada, feeding.grow_a, "A1", "2028-03-01", 900.0).await;
        feeding.receive(&world.ada, feeding.grow_b, "B1", "2028-03-01", 900.0).await;
        let hill = world.site("Hill").await.id;
        let receipt = json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a, "lot_number": "H1", "expiry_on": "2030-03-01",
            "amount": { "value": 50.0, "unit": "L" }, "confirmed": true });
        world.ada.receive_product(hill, &json(receipt)).await.unwrap();
        let forecast = world.ada.forecast(site, 90).await.unwrap();
        let of = |id| forecast.products.iter().find(|one| one.product_id == id).unwrap().purchase.clone().unwrap();
        let (a, b) = (of(feeding.grow_a), of(feeding.grow_b));
        let [given] = a.transfers.as_slice() else { panic!("{a:?}") };
        assert_eq!((given.from_site_id, given.from_site.as_str(), a.lines.len()), (hill, "Hill", 0));
        assert!(given.amount.value >= a.needed.value && a.why.contains("can come from another site"), "{a:?}");
        assert!(b.transfers.is_empty() && b.pack_count > 0, "{b:?}");
        let table = world.ada.get_text(&format!("/sites/{site}/forecast?format=csv")).await.unwrap();
        assert!(table.contains(" from Hill"), "{table}");
        let by = NewDraftOrders { order_by_on: b.order_by_on };
        let drafts = world.ada.draft_forecast_orders(site, &by).await.unwrap();
        let ordered: Vec<Uuid> = drafts.iter().flat_map(|draft| &draft.lines).map(|line| line.product_id).collect();
        assert_eq!(ordered, [feeding.grow_b]);

        let sending = json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a, "amount": given.amount, "to_site_id": site });
        world.ada.send_transfer(hill, &json(sending)).await.unwrap();
        let forecast = world.ada.forecast(site, 90).await.unwrap();
        let a = forecast.products.iter().find(|one| one.product_id == feeding.grow_a).unwrap();
        assert!(a.deliveries.iter().any(|coming| coming.amount == given.amount), "what is under way is counted: {a:?}");
        assert!(a.purchase.as_ref().is_none_or(|purchase| purchase.order_by_on > b.order_by_on), "{a:?}");
    }

    async fn packs_of_several_sizes_are_drafted_line_by_line(world: World) {
        let feeding = world.feeding().await;
        let here = world.ada.site(feeding.here.site);
        feeding.receive(&world.ada, feeding.grow_a, "A1", "2028-03-01", 1_900.0).await;
        let small = json!({ "supplier_id": feeding.supplier, "product_id": feeding.grow_a, "pack": { "value": 150.0, "unit": "mL" },
            "price_minor": 310, "currency": "EUR" });
        here.create::<NewOffer>(&json(small)).await.unwrap();
        let forecast = world.ada.forecast(feeding.here.site, 90).await.unwrap();
        let a = forecast.products.iter().find(|one| one.product_id == feeding.grow_a).unwrap().purchase.clone().unwrap();
        assert_eq!(a.lines.iter().map(|line| line.cost_minor).sum::<i64>(), a.cost_minor);
        assert!(a.lines.iter().any(|line| line.pack.value == 150.0) && a.amount.value >= a.needed.value, "{a:?}");
        let by = NewDraftOrders { order_by_on: a.order_by_on };
        let drafts = world.ada.draft_forecast_orders(feeding.here.site, &by).await.unwrap();
        let lines = drafts.iter().flat_map(|draft| &draft.lines).filter(|line| line.product_id == feeding.grow_a);
        let drafted: Vec<i64> = lines.map(|line| i64::from(line.packs)).collect();
        assert_eq!(drafted, a.lines.iter().map(|line| line.pack_count).collect::<Vec<_>>());
    }

    async fn the_use_of_a_product_is_taken_apart_by_day_cause_and_tank(world: World) {
        let feeding = weekly(&world).await;
        let site = feeding.here.site;
        world.ada.record_addition(site, &feeding.addition(20.0)).await.unwrap();
        let forecast = world.ada.forecast(site, 60).await.unwrap();
        let grow_a = forecast.products.iter().find(|one| one.product_id == feeding.grow_a).unwrap();
        // As likely done as not by then: what is done late moves those after it.
        let days: Vec<NaiveDate> = grow_a.changes.iter().map(|change| change.on).collect();
        assert_eq!((days.len(), days[0]), (8, "2026-11-27".parse().unwrap()), "{:?}", grow_a.changes);
        assert!(days.iter().all(|day| *day <= grow_a.days.last().unwrap().on), "{days:?}");
        assert!(grow_a.changes.iter().all(|change| (change.amount - 400.0).abs() < 20.0), "{:?}", grow_a.changes);
        let apart = world.ada.forecast_causes(site, feeding.grow_a, 60).await.unwrap();
        let sum: f64 = apart.causes.iter().map(|cause| cause.amount.value).sum();
        assert!((sum - grow_a.expected_use.total).abs() < 0.1, "{sum}");
        let of_tank = |cause: &&ForecastCause| cause.tank_id == Some(feeding.here.north_tank);
        assert!(apart.causes.iter().filter(of_tank).any(|cause| cause.tank.is_some()), "{apart:?}");
        assert_eq!(refusal(world.ada.forecast_causes(site, Uuid::now_v7(), 60).await), ProblemCode::NotFound);
        let table = format!("/sites/{site}/forecast/products/{}/causes?format=csv", feeding.grow_a);
        let table = world.ada.get_text(&table).await.unwrap();
        assert!(table.starts_with("on,cause,tank_id,tank,amount.value,amount.unit\r\n"), "{table}");
        assert!(table.contains("2026-11-27,tank_changes,"), "{table}");
    }

    async fn the_stock_of_a_product_is_drawn(world: World) {
        let feeding = weekly(&world).await;
        let svg = world.ada.stock_chart(feeding.here.site, feeding.grow_a).await.unwrap();
        for part in ["<svg role=\"img\"", "Stock of Grow A", "Order by 2026-", "Tank changes that draw on it", "</svg>"] {
            assert!(svg.contains(part), "{part}: {svg}");
        }
    }
}
