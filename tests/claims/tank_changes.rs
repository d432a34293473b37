//! Tank changes: all of it or nothing, and the days they are due.

use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_tests::Feeding;
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, instant, json, refusal};
use serde_json::json;
use uuid::Uuid;

async fn stocked(world: &World) -> Feeding {
    let feeding = world.feeding().await;
    for product in [feeding.grow_a, feeding.grow_b] {
        feeding.receive(&world.ada, product, "L1", "2027-03-01", 3000.0).await;
    }
    feeding
}

async fn due(world: &World, site: Uuid) -> Vec<String> {
    let due = world.ada.due_changes(site).await.unwrap().items;
    due.iter().map(|due| due.due_on.to_string()).collect()
}

fn reversal(reason: &str) -> NewReversal {
    NewReversal { client_id: Uuid::now_v7(), reason: reason.into() }
}

async fn plan(world: &World, feeding: &Feeding, kind: &str, day: &str) -> PlannedChange {
    let body = json(
        json!({ "tank_id": feeding.here.north_tank, "kind": kind, "on_day": day, "reason": "public holiday" }),
    );
    world.ada.site(feeding.here.site).create::<NewPlannedChange>(&body).await.unwrap()
}

on_both! {
    async fn a_change_keeps_what_was_drained_filled_poured_and_read(world: World) {
        let feeding = stocked(&world).await;
        let site = feeding.here.site;
        let body = feeding.change("2026-11-24T06:30:00+01:00", json!({}));
        let done = world.ada.record_tank_change(site, &body).await.unwrap();
        let change = &done.change;
        assert_eq!((change.fraction, change.drained_l, change.water_in_l), (1.0, 180.0, 200.0));
        assert_eq!(change.drained_to.as_deref(), Some("reed bed"));
        assert_eq!(change.due_on.map(|day| day.to_string()).as_deref(), Some("2026-11-24"));
        let poured: Vec<_> = done.additions.iter().map(|one| (one.amount.value, one.tank_change_id)).collect();
        assert_eq!(poured, [(400.0, Some(change.id)); 2]);
        assert_eq!(done.readings.iter().map(|reading| reading.value.value).collect::<Vec<_>>(), [1.4, 6.0]);
        assert!(!done.cautions.is_empty());
        assert_eq!(feeding.held(&world.ada, feeding.grow_b).await, 2600.0);
        assert_eq!(world.ada.record_tank_change(site, &body).await.unwrap(), done);
        let mut less = body.clone();
        less.products[0].amount.value = 390.0;
        let mut other_ph = body.clone();
        other_ph.readings[1].value.value = 6.1;
        for other in [NewTankChange { fraction: 0.5, ..body.clone() }, NewTankChange { drained_to: None, ..body }, less, other_ph] {
            assert_eq!(refusal(world.ada.record_tank_change(site, &other).await), ProblemCode::ClientIdReused);
        }
        assert_eq!(feeding.held(&world.ada, feeding.grow_b).await, 2600.0);
    }

    async fn a_full_change_that_moved_nothing_is_asked_back(world: World) {
        let feeding = stocked(&world).await;
        let site = feeding.here.site;
        let nothing = json!({ "value": 0.0, "unit": "L" });
        let body = feeding.change("2026-11-24T06:30:00+01:00", json!({ "drained": nothing, "water_in": nothing }));
        let error = world.ada.record_tank_change(site, &body).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/drained")));
        world.ada.record_tank_change(site, &NewTankChange { confirmed: true, ..body }).await.unwrap();
        let filled = feeding.change("2026-11-20T06:30:00+01:00", json!({ "drained": nothing }));
        world.ada.record_tank_change(site, &filled).await.unwrap();
    }

    async fn a_full_change_of_a_quarter_is_asked_back_for_its_fraction(world: World) {
        let feeding = stocked(&world).await;
        let site = feeding.here.site;
        let litres = json!({ "value": 50.0, "unit": "L" });
        let body = feeding.change("2026-11-24T06:30:00+01:00", json!({ "drained": litres, "water_in": litres, "products": [] }));
        let error = world.ada.record_tank_change(site, &body).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/fraction")));
        let part = world.ada.record_tank_change(site, &NewTankChange { fraction: 0.25, ..body }).await.unwrap();
        assert_eq!(part.change.fraction, 0.25);
    }

    async fn what_is_yet_to_come_was_not_done(world: World) {
        let feeding = stocked(&world).await;
        let body = feeding.change("2026-11-25T06:30:00+01:00", json!({}));
        let error = world.ada.record_tank_change(feeding.here.site, &body).await.unwrap_err();
        let fault = &error.problem().unwrap().errors[0];
        assert_eq!((fault.pointer.as_deref(), fault.code.as_str()), (Some("/recorded_at"), "in_the_future"));
    }

    async fn where_a_part_cannot_be_taken_nothing_is(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        feeding.receive(&world.ada, feeding.grow_a, "L1", "2027-03-01", 3000.0).await;
        let at = "2026-11-24T06:30:00+01:00";
        let short = world.ada.record_tank_change(site, &feeding.change(at, json!({}))).await;
        assert_eq!(refusal(short), ProblemCode::OutOfStock);
        let ph58 = json!({ "products": [], "readings": [{ "metric": "ph", "value": { "value": 58.0, "unit": "[pH]" } }] });
        let error = world.ada.record_tank_change(site, &feeding.change(at, ph58)).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/readings/0/value"));
        let no_water = json!({ "products": [], "drained": { "value": 1.0, "unit": "kg" }, "fraction": 1.5, "tank_id": Uuid::now_v7() });
        let error = world.ada.record_tank_change(site, &feeding.change(at, no_water)).await.unwrap_err();
        let pointers: Vec<_> = error.problem().unwrap().errors.iter().map(|fault| fault.pointer.clone().unwrap()).collect();
        assert_eq!(pointers, ["/fraction", "/drained", "/tank_id"]);
        assert!(world.ada.tank_changes(site, "").await.unwrap().is_empty());
        assert!(world.ada.readings(site, "").await.unwrap().is_empty());
        assert!(world.ada.additions(site, "").await.unwrap().is_empty());
        assert_eq!(world.ada.movements(site, "").await.unwrap().len(), 1);
        let poured = json!({ "products": [{ "product_id": feeding.grow_b, "amount": { "value": 0.4, "unit": "L" }, "poured_all_the_same": true }] });
        let done = world.ada.record_tank_change(site, &feeding.change(at, poured)).await.unwrap();
        assert_eq!(done.additions[0].shortage.map(|short| short.value), Some(400.0));
    }

    async fn the_interval_counts_from_the_last_full_change(world: World) {
        let feeding = stocked(&world).await;
        let site = feeding.here.site;
        assert_eq!(due(&world, site).await, ["2026-11-24", "2026-12-01", "2026-12-08"]);
        world.ada.record_tank_change(site, &feeding.change("2026-11-20T09:00:00+01:00", json!({ "products": [] }))).await.unwrap();
        assert_eq!(due(&world, site).await, ["2026-11-27", "2026-12-04"]);
        let half = json!({ "fraction": 0.5, "drained": { "value": 100, "unit": "L" }, "water_in": { "value": 100, "unit": "L" }, "products": [] });
        let partial = world.ada.record_tank_change(site, &feeding.change("2026-11-23T09:00:00+01:00", half)).await.unwrap();
        assert_eq!(partial.change.due_on, None);
        assert_eq!(due(&world, site).await, ["2026-11-27", "2026-12-04"]);
        world.clock.set(instant("2026-11-29T08:00:00Z"));
        let late = world.ada.due_changes(site).await.unwrap().items.remove(0);
        assert_eq!((late.due_on.to_string().as_str(), late.days_late, late.volume_l), ("2026-11-27", 2, 200.0));
        let done = world.ada.record_tank_change(site, &feeding.change("2026-11-29T08:30:00+01:00", json!({}))).await.unwrap();
        assert_eq!(done.change.due_on.map(|day| day.to_string()).as_deref(), Some("2026-11-27"));
        assert_eq!(due(&world, site).await, ["2026-12-06", "2026-12-13"]);
        world.clock.set(instant("2026-12-15T08:00:00Z"));
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        let later = world.ada.record_tank_change(site, &feeding.change("2026-12-15T08:30:00+01:00", json!({}))).await.unwrap();
        assert_eq!(later.change.due_on.map(|day| day.to_string()).as_deref(), Some("2026-12-06"));
    }

    async fn nobody_looks_further_ahead_than_a_year(world: World) {
        let site = stocked(&world).await.here.site;
        let until = async |day: &str| {
            world.ada.get::<DueChanges>(&format!("/sites/{site}/tank-changes/due?until_on={day}")).await
        };
        assert!(!until("2027-11-25").await.unwrap().items.is_empty());
        for day in ["2027-11-26", "9999-12-31"] {
            assert_eq!(refusal(until(day).await), ProblemCode::Invalid);
        }
    }

    async fn people_move_and_skip_the_days(world: World) {
        let feeding = stocked(&world).await;
        let site = feeding.here.site;
        world.ada.record_tank_change(site, &feeding.change("2026-11-20T09:00:00+01:00", json!({ "products": [] }))).await.unwrap();
        let skipped = plan(&world, &feeding, "skipped", "2026-11-27").await;
        assert_eq!(due(&world, site).await, ["2026-12-04"]);
        world.clock.set(instant("2026-11-28T08:00:00Z"));
        assert_eq!(due(&world, site).await, ["2026-12-04", "2026-12-11"], "once past it is no more overdue");
        world.clock.set(instant("2026-11-24T08:00:00Z"));
        world.ada.site(site).archive(&skipped).await.unwrap();
        assert_eq!(due(&world, site).await, ["2026-11-27", "2026-12-04"]);
        plan(&world, &feeding, "on", "2026-11-28").await;
        assert_eq!(due(&world, site).await, ["2026-11-28", "2026-12-05"]);
    }

    async fn taken_back_a_change_gives_its_lots_back_and_its_readings_stay(world: World) {
        let feeding = stocked(&world).await;
        let site = feeding.here.site;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        let own = feeding.change("2026-11-24T02:30:00+01:00", json!({}));
        let own = sam.record_tank_change(site, &own).await.unwrap();
        sam.reverse_tank_change(site, own.change.id, &reversal("a slip of one's own")).await.unwrap();
        let done = world.ada.record_tank_change(site, &feeding.change("2026-11-24T06:30:00+01:00", json!({}))).await.unwrap();
        let id = done.change.id;
        assert_eq!(refusal(sam.reverse_tank_change(site, id, &reversal("no")).await), ProblemCode::NotAllowed);
        let back = reversal("it was the south tank");
        let opposite = world.ada.reverse_tank_change(site, id, &back).await.unwrap();
        assert_eq!((opposite.change.drained_l, opposite.change.reverses_id), (-180.0, Some(id)));
        assert_eq!(world.ada.reverse_tank_change(site, id, &back).await.unwrap().change, opposite.change);
        assert_eq!(refusal(world.ada.reverse_tank_change(site, id, &reversal("again")).await), ProblemCode::Conflict);
        let of_part = world.ada.reverse_addition(site, done.additions[0].id, &reversal("again")).await;
        assert_eq!(refusal(of_part), ProblemCode::Conflict);
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 3000.0);
        assert_eq!(world.ada.readings(site, "").await.unwrap().len(), 4);
        assert_eq!(due(&world, site).await[0], "2026-11-24");
    }

    async fn more_than_the_tank_holds_is_asked_back(world: World) {
        let feeding = stocked(&world).await;
        let site = feeding.here.site;
        for field in ["drained", "water_in"] {
            let flood = feeding.change("2026-11-24T06:30:00+01:00", json!({ field: { "value": 2000.0, "unit": "L" } }));
            let error = world.ada.record_tank_change(site, &flood).await.unwrap_err();
            let problem = error.problem().unwrap();
            assert_eq!((problem.code, &problem.errors[0].pointer), (ProblemCode::ConfirmationNeeded, &Some(format!("/{field}"))));
            world.ada.record_tank_change(site, &NewTankChange { confirmed: true, ..flood }).await.unwrap();
        }
        let mut read = feeding.change("2026-11-24T05:30:00+01:00", json!({ "confirmed": true, "products": [] }));
        read.readings = fillmark_tests::world::json(json!([{ "metric": "volume", "value": { "value": 400.0, "unit": "L" } }]));
        let error = world.ada.record_tank_change(site, &read).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/readings/0/value"));
    }

    async fn a_change_that_somebody_else_entered_is_asked_back(world: World) {
        let feeding = stocked(&world).await;
        let site = feeding.here.site;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        let first = world.ada.record_tank_change(site, &feeding.change("2026-11-24T06:30:00+01:00", json!({}))).await.unwrap();
        let again = feeding.change("2026-11-24T06:50:00+01:00", json!({}));
        let error = sam.record_tank_change(site, &again).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/recorded_at")));
        assert!(problem.errors[0].detail.contains(&first.change.id.to_string()), "{}", problem.errors[0].detail);
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 2600.0);
        sam.record_tank_change(site, &NewTankChange { confirmed: true, ..again }).await.unwrap();
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 2200.0);
    }

    async fn two_who_enter_the_same_change_at_once_do_it_once(world: World) {
        let feeding = stocked(&world).await;
        let site = feeding.here.site;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        let body = feeding.change("2026-11-24T06:30:00+01:00", json!({}));
        let both = tokio::join!(world.ada.record_tank_change(site, &body), sam.record_tank_change(site, &body));
        assert_eq!(both.0.unwrap().change.id, both.1.unwrap().change.id);
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 2600.0);
        assert_eq!(world.ada.tank_changes(site, "").await.unwrap().len(), 1);
    }
}
