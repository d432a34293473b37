//! What follows once somebody has poured on advice: a check that measures again, in the running round.

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_domain::Coded;
use fillmark_domain::people::Role as RoleWord;
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::work::seen;
use fillmark_tests::world::{World, instant, refusal};
use serde_json::json;
use uuid::Uuid;

use super::{labelled, wanted};

on_both! {
    async fn what_is_to_be_measured_again_comes_into_the_running_round(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        world.check_plan(site, json!({ "name": "Look", "room_id": feeding.here.north_room })).await;
        let (sam, by_sam) = world.person("Sam", RoleWord::Staff, Some(site)).await;
        world.shift(site, sam.id, "2026-11-24").await;
        world.beat().await;
        let names = async || {
            let own = by_sam.my_round(site, None).await.unwrap();
            let mut names: Vec<String> = own.steps.into_iter().filter_map(|step| step.check).map(|check| check.name).collect();
            names.sort();
            names
        };
        let before = names().await;
        let advice = world.ada.advise_fill(site, &wanted(&feeding)).await.unwrap();
        let poured = NewAddition { advice_id: Some(advice.id), ..feeding.addition(20.0) };
        world.ada.record_addition(site, &poured).await.unwrap();
        world.beat().await;
        let mut after = before.clone();
        after.push("Measure again".to_owned());
        after.sort();
        assert_eq!(names().await, after);
        let number = world.ada.rounds(site, None).await.unwrap().number;
        world.beat().await;
        assert_eq!(world.ada.rounds(site, None).await.unwrap().number, number, "published once");
    }

    async fn what_was_read_before_it_was_poured_does_not_measure_again(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        let (sam, by_sam) = world.person("Sam", RoleWord::Staff, Some(site)).await;
        world.shift(site, sam.id, "2026-11-24").await;
        let now = || Instant(world.server.app.now()).text();
        let read = async |metric: &str, value: f64| {
            let unit = if metric == "ec" { "mS/cm" } else { "[pH]" };
            let body = reading(feeding.here.north_tank, metric, value, unit, &now());
            by_sam.record_reading(site, &body).await.unwrap().id
        };
        let before = [read("ec", 1.2).await, read("ph", 6.2).await];
        let advice = world.ada.advise_fill(site, &wanted(&feeding)).await.unwrap();
        let poured = NewAddition { advice_id: Some(advice.id), ..feeding.addition(20.0) };
        by_sam.record_addition(site, &poured).await.unwrap();
        world.beat().await;
        let own = by_sam.my_round(site, None).await.unwrap();
        let step = own.steps.iter().find(|step| step.check.as_ref().is_some_and(|check| check.cause == "advice"));
        let step = step.expect("a step that measures again");
        let again = step.check.clone().unwrap();
        assert!(step.starts_at.0 >= again.due_at.0 && again.state.0.code() == "planned", "{step:?}");
        world.clock.advance(TimeDelta::minutes(45));
        let done = |readings: [Uuid; 2]| NewCompletion {
            reading_ids: readings.to_vec(),
            note: None,
            ..seen(&now(), "")
        };
        let refused = by_sam.settle_check(site, again.id, &done(before)).await;
        assert_eq!(refusal(refused), ProblemCode::Invalid);
        let after = [read("ec", 1.4).await, read("ph", 5.9).await];
        by_sam.settle_check(site, again.id, &done(after)).await.unwrap();
    }

    async fn a_tank_that_was_filled_on_advice_and_not_read_is_measured_again(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        let advice = world.ada.advise_fill(site, &wanted(&feeding)).await.unwrap();
        let change = |at: &str, more: serde_json::Value| {
            let mut fields = json!({ "advice_id": advice.id, "confirmed": true });
            fields.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
            feeding.change(at, fields)
        };
        let again = async || {
            let checks = world.ada.all_checks(site, "").await.unwrap();
            checks.into_iter().filter(|check| check.cause == "advice").collect::<Vec<_>>()
        };
        world.ada.record_tank_change(site, &change("2026-11-24T05:00:00Z", json!({}))).await.unwrap();
        assert_eq!(again().await, [], "EC and pH were read with it");
        let unread = change("2026-11-24T05:30:00Z", json!({ "readings": [] }));
        let done = world.ada.record_tank_change(site, &unread).await.unwrap();
        let check = again().await.remove(0);
        let metrics: Vec<_> = check.metrics.iter().map(|metric| metric.0.code()).collect();
        assert_eq!((check.due_at.0, metrics), (instant("2026-11-24T06:00:00Z"), vec!["ec", "ph"]));
        let back = NewReversal { client_id: Uuid::now_v7(), reason: "another tank".into() };
        world.ada.reverse_tank_change(site, done.change.id, &back).await.unwrap();
        assert_eq!(again().await, []);
    }
}
