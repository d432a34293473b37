//! Recall: where a lot went, and what a harvest may have drunk.

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_tests::Feeding;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, json};
use serde_json::json;
use uuid::Uuid;

async fn harvest(world: &World, feeding: &Feeding, at: &str) -> Uuid {
    let body = json!({ "client_id": Uuid::now_v7(), "cycle_id": feeding.here.cycle, "harvested_at": at,
        "saleable": { "value": 30.0, "unit": "kg" }, "rejected": { "value": 1.0, "unit": "kg" } });
    world.ada.record_harvest(feeding.here.site, &json(body)).await.unwrap().id
}

async fn lot_of(world: &World, feeding: &Feeding, number: &str) -> Uuid {
    feeding.receive(&world.ada, feeding.grow_a, number, "2028-03-01", 5000.0).await.lot_id.unwrap()
}

/// A change with 400 mL of a lot of A.
async fn change(world: &World, feeding: &Feeding, at: &str, lot: Uuid) {
    let products =
        json!([{ "product_id": feeding.grow_a, "lot_id": lot, "amount": { "value": 400.0, "unit": "mL" } }]);
    let body = feeding.change(at, json!({ "products": products }));
    world.ada.record_tank_change(feeding.here.site, &body).await.unwrap();
}

on_both! {
    async fn a_lot_is_followed_to_tanks_cycles_and_harvests_and_back(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        let (first, second) = (lot_of(&world, &feeding, "A1").await, lot_of(&world, &feeding, "A2").await);
        let early = harvest(&world, &feeding, "2026-11-17T10:00:00+01:00").await;
        change(&world, &feeding, "2026-11-18T09:00:00+01:00", first).await;
        change(&world, &feeding, "2026-11-20T09:00:00+01:00", second).await;
        let late = harvest(&world, &feeding, "2026-11-21T10:00:00+01:00").await;
        let trace = world.ada.trace_lot(site, first).await.unwrap();
        assert_eq!((trace.lot_ids.clone(), trace.site_ids.clone()), (vec![first], vec![site]));
        let [tank] = trace.tanks[..] else { panic!("{trace:?}") };
        assert_eq!(tank.tank_id, feeding.here.north_tank);
        assert_eq!(tank.from_at.text(), "2026-11-18T08:00:00.000Z");
        assert_eq!(tank.until_at.unwrap().text(), "2026-11-20T08:00:00.000Z", "drained whole by the next change");
        assert_eq!(trace.cycles.iter().map(|one| one.cycle_id).collect::<Vec<_>>(), [feeding.here.cycle]);
        let [picked] = trace.harvests[..] else { panic!("{trace:?}") };
        assert_eq!((picked.harvest_id, picked.cycle_id, picked.saleable_kg), (late, feeding.here.cycle, 30.0));
        let still = world.ada.trace_lot(site, second).await.unwrap();
        assert_eq!((still.tanks[0].until_at, still.tanks[0].left_share), (None, 1.0));
        let half = json!({ "fraction": 0.5, "products": [] });
        let half = feeding.change("2026-11-22T09:00:00+01:00", half);
        world.ada.record_tank_change(site, &half).await.unwrap();
        let diluted = world.ada.trace_lot(site, second).await.unwrap();
        assert_eq!((diluted.tanks[0].until_at, diluted.tanks[0].left_share), (None, 0.5), "diluted, and still in");
        let lots = async |harvest| {
            let mut lots: Vec<Uuid> =
                world.ada.trace_harvest(site, harvest).await.unwrap().lots.iter().map(|lot| lot.lot_id).collect();
            lots.sort();
            lots
        };
        let mut both = [first, second];
        both.sort();
        assert_eq!(lots(late).await, both);
        assert!(lots(early).await.is_empty());
        let back = world.ada.trace_harvest(site, late).await.unwrap();
        let of_first = back.lots.iter().find(|lot| lot.lot_id == first).unwrap();
        assert_eq!(of_first.drunk[0].until_on, "2026-11-20".parse().ok(), "drained before it was picked");
        assert_eq!(of_first.drunk[0].left_share, 0.0);
        let of_second = back.lots.iter().find(|lot| lot.lot_id == second).unwrap();
        assert_eq!(of_second.drunk[0].until_on, "2026-11-21".parse().ok(), "the day it was picked");
        assert_eq!(of_second.drunk[0].left_share, 1.0, "diluted after it was picked only");
        let table = world.ada.get_text(&format!("/sites/{site}/harvests/{late}/trace?format=csv")).await.unwrap();
        assert_eq!(table.lines().count(), 3, "{table}");
        assert!(table.contains(",A1,") && table.contains(",North tank,"), "{table}");
        let table = world.ada.get_text(&format!("/sites/{site}/lots/{second}/trace?format=csv")).await.unwrap();
        let reached: Vec<&str> = table.lines().skip(1).map(|row| row.split(',').next().unwrap()).collect();
        assert_eq!(reached, ["site", "tank", "cycle", "harvest"], "{table}");
        let error = world.ada.trace_lot(site, Uuid::now_v7()).await.unwrap_err();
        assert_eq!(error.problem().unwrap().code, ProblemCode::NotFound);
    }

    async fn a_lot_that_was_typed_in_a_year_later_is_followed_from_its_first_pour(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        let body = json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a, "lot_number": "A0",
            "expiry_on": "2028-01-01", "amount": { "value": 5.0, "unit": "L" }, "done_at": "2026-02-01T08:00:00Z" });
        let lot = world.ada.receive_product(site, &json(body)).await.unwrap().lot_id.unwrap();
        change(&world, &feeding, "2026-02-02T09:00:00+01:00", lot).await;
        let trace = world.ada.trace_lot(site, lot).await.unwrap();
        assert_eq!(trace.tanks.iter().map(|tank| tank.from_at.text()).collect::<Vec<_>>(), ["2026-02-02T08:00:00.000Z"]);
    }

    async fn a_solution_made_on_site_carries_the_trace_of_its_parts(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        let part = lot_of(&world, &feeding, "A1").await;
        let product = json(json!({ "name": "Stock A", "base": "mL", "kind": "concentrate", "mixing_rank": 20 }));
        let stock = world.ada.business().create::<NewProduct>(&product).await.unwrap().id;
        let body = json!({ "client_id": Uuid::now_v7(), "product_id": stock, "lot_number": "S1", "strength": 10.0,
            "amount": { "value": 2.0, "unit": "L" },
            "parts": [{ "product_id": feeding.grow_a, "amount": { "value": 1.0, "unit": "L" } }] });
        let made = world.ada.make_preparation(site, &json(body)).await.unwrap();
        world.clock.advance(TimeDelta::hours(1));
        let products = json!([{ "product_id": stock, "amount": { "value": 100.0, "unit": "mL" } }]);
        let change = feeding.change("2026-11-24T07:50:00+01:00", json!({ "products": products }));
        world.ada.record_tank_change(site, &change).await.unwrap();
        let trace = world.ada.trace_lot(site, part).await.unwrap();
        assert!(trace.lot_ids.contains(&part) && trace.lot_ids.contains(&made.lot_id.unwrap()), "{trace:?}");
        assert_eq!(trace.tanks.len(), 1, "{trace:?}");
    }

    async fn a_lot_is_followed_to_a_site_that_only_got_what_was_made_of_it(world: World) {
        let feeding = world.feeding().await;
        let here = feeding.here.site;
        let product = json(json!({ "name": "Stock A", "base": "mL", "kind": "concentrate", "mixing_rank": 20 }));
        let stock = world.ada.business().create::<NewProduct>(&product).await.unwrap().id;
        let elsewhere = world.site("Hill").await.id;
        let salt = json(json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a, "lot_number": "N1",
            "amount": { "value": 5.0, "unit": "L" } }));
        let salt = world.ada.receive_product(elsewhere, &salt).await.unwrap().lot_id.unwrap();
        let body = json!({ "client_id": Uuid::now_v7(), "product_id": stock, "lot_number": "S1", "strength": 10.0,
            "amount": { "value": 2.0, "unit": "L" },
            "parts": [{ "product_id": feeding.grow_a, "amount": { "value": 1.0, "unit": "L" } }] });
        let made = world.ada.make_preparation(elsewhere, &json(body)).await.unwrap().lot_id.unwrap();
        let error = world.ada.trace_lot(here, salt).await.unwrap_err();
        assert_eq!(error.problem().unwrap().code, ProblemCode::NotFound);
        let sending = json(json!({ "client_id": Uuid::now_v7(), "product_id": stock, "to_site_id": here,
            "amount": { "value": 1.0, "unit": "L" } }));
        let sent = world.ada.send_transfer(elsewhere, &sending).await.unwrap();
        let on_its_way = world.ada.trace_lot(elsewhere, salt).await.unwrap();
        assert!(on_its_way.site_ids.contains(&here), "{on_its_way:?}");
        let arrival = NewArrival { client_id: Uuid::now_v7(), done_at: None };
        world.ada.take_in_transfer(here, sent.id, &arrival).await.unwrap();
        world.clock.advance(TimeDelta::hours(1));
        let products = json!([{ "product_id": stock, "amount": { "value": 100.0, "unit": "mL" } }]);
        let change = feeding.change("2026-11-24T07:50:00+01:00", json!({ "products": products }));
        world.ada.record_tank_change(here, &change).await.unwrap();
        let picked = harvest(&world, &feeding, "2026-11-24T07:55:00+01:00").await;
        let trace = world.ada.trace_lot(here, salt).await.unwrap();
        assert_eq!((trace.tanks.len(), trace.harvests[0].harvest_id), (1, picked), "{trace:?}");
        let there = world.ada.trace_lot(elsewhere, salt).await.unwrap();
        assert!(there.tanks.is_empty() && there.site_ids.contains(&here), "{there:?}");
        assert_eq!((&there.names[&here], &there.names[&made]), (&"Harbour".to_owned(), &"S1".to_owned()));
        let table = world.ada.get_text(&format!("/sites/{elsewhere}/lots/{salt}/trace?format=csv")).await.unwrap();
        let reached: Vec<&str> = table.lines().skip(1).map(|row| row.split(',').next().unwrap()).collect();
        assert_eq!(reached, ["lot", "site", "site"], "{table}");
        let (_, noa) = world.person("Noa", Role::Manager, Some(elsewhere)).await;
        let unseen = noa.trace_lot(elsewhere, salt).await.unwrap();
        assert_eq!((unseen.site_ids.clone(), unseen.unseen_sites), (vec![elsewhere], 1));
        assert!(!unseen.names.contains_key(&here), "{unseen:?}");
        let table = noa.get_text(&format!("/sites/{elsewhere}/lots/{salt}/trace?format=csv")).await.unwrap();
        assert!(table.contains("1 more that you may not see"), "{table}");
        let back = world.ada.trace_harvest(here, picked).await.unwrap();
        assert!([salt, made].iter().all(|lot| back.lots.iter().any(|one| one.lot_id == *lot)), "{back:?}");
    }

    async fn a_solution_that_was_made_before_a_count_carries_it_whatever_becomes_of_the_count(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        let part = lot_of(&world, &feeding, "A1").await;
        let product = json(json!({ "name": "Stock A", "base": "mL", "kind": "concentrate", "mixing_rank": 20 }));
        let stock = world.ada.business().create::<NewProduct>(&product).await.unwrap().id;
        let made_at = Instant(world.server.app.now());
        world.clock.advance(TimeDelta::hours(1));
        let held = world.ada.product_stock(site, feeding.grow_a).await.unwrap().balance.value;
        let count = json(json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a,
            "counted": { "value": held - 1000.0, "unit": "mL" } }));
        let count = world.ada.count_stock(site, &count).await.unwrap();
        let body = json!({ "client_id": Uuid::now_v7(), "product_id": stock, "lot_number": "S1", "strength": 10.0,
            "done_at": made_at, "amount": { "value": 2.0, "unit": "L" },
            "parts": [{ "product_id": feeding.grow_a, "amount": { "value": 1.0, "unit": "L" } }] });
        let made = world.ada.make_preparation(site, &json(body)).await.unwrap();
        let back = NewReversal { client_id: Uuid::now_v7(), reason: "another shelf".into() };
        world.ada.reverse_slip(site, count.id, &back).await.unwrap();
        let trace = world.ada.trace_lot(site, part).await.unwrap();
        assert!(trace.lot_ids.contains(&made.lot_id.unwrap()), "{trace:?}");
        fillmark_server::commands::verify(&world.server.app).await.unwrap();
    }
}
