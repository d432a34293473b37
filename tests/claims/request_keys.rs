//! Requests under a key of their own: sent again they are answered alike, and have one effect.

use chrono::TimeDelta;
use fillmark_actions::work;
use fillmark_api::*;
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, json};
use futures_util::future::join_all;
use rand::rngs::StdRng;
use rand::seq::SliceRandom;
use rand::{Rng, SeedableRng};
use serde_json::{Value, json};
use uuid::Uuid;

const KEY: &str = "019a0000-0000-7000-8000-0000000000aa";
/// So many entries are held by a phone that was out of reach.
const HELD: usize = 1000;

/// What a request was answered: status, whether it was answered before, body.
type Answered = (u16, bool, Value);

async fn post(world: &World, path: &str, key: &str, body: &Value) -> Answered {
    let request = reqwest::Client::new().post(format!("{}/api/v1{path}", world.server.address));
    let token = world.ada.access_token().await.unwrap();
    let request = request.bearer_auth(token).header("Idempotency-Key", key).json(body);
    let answer = request.send().await.unwrap();
    let replayed = answer.headers().get("idempotency-replayed").is_some_and(|value| value == "true");
    (answer.status().as_u16(), replayed, answer.json().await.unwrap())
}

fn room(name: &str) -> Value {
    json!({ "name": name, "room_use": "growing", "growing_area_m2": 20.0, "hygiene_rank": 1 })
}

async fn rooms(world: &World, site: Uuid) -> usize {
    world.ada.site(site).all::<NewRoom>("").await.unwrap().len()
}

on_both! {
    async fn a_request_that_comes_again_is_answered_alike_and_has_one_effect(world: World) {
        let site = world.site("Harbour").await.id;
        let path = format!("/sites/{site}/rooms");
        let (status, replayed, first) = post(&world, &path, KEY, &room("North room")).await;
        assert_eq!((status, replayed), (201, false));
        let quoted = format!("\"{KEY}\"");
        for key in [KEY, &quoted] {
            assert_eq!(post(&world, &path, key, &room("North room")).await, (201, true, first.clone()));
        }
        assert_eq!(rooms(&world, site).await, 1);
    }

    async fn requests_at_once_under_one_key_are_answered_alike(world: World) {
        let site = world.site("Harbour").await.id;
        let path = format!("/sites/{site}/rooms");
        let body = room("North room");
        let answers = join_all((0..8).map(|_| post(&world, &path, KEY, &body))).await;
        assert!(answers.iter().all(|(status, _, body)| (*status, body) == (201, &answers[0].2)), "{answers:?}");
        assert_eq!(answers.iter().filter(|(_, replayed, _)| !replayed).count(), 1);
        assert_eq!(rooms(&world, site).await, 1);
    }

    async fn a_key_is_good_for_one_body(world: World) {
        let site = world.site("Harbour").await.id;
        let path = format!("/sites/{site}/rooms");
        post(&world, &path, KEY, &room("North room")).await;
        let (status, _, problem) = post(&world, &path, KEY, &room("South room")).await;
        assert_eq!((status, problem["code"].as_str()), (422, Some("key_reused")));
        let elsewhere = world.site("Quay").await.id;
        let (status, ..) = post(&world, &format!("/sites/{elsewhere}/rooms"), KEY, &room("South room")).await;
        assert_eq!((status, rooms(&world, site).await, rooms(&world, elsewhere).await), (201, 1, 1));
    }

    async fn a_refusal_leaves_nothing_behind_and_the_same_may_do_better_later(world: World) {
        let site = world.site("Harbour").await.id;
        let path = format!("/sites/{site}/rooms");
        post(&world, &path, KEY, &room("North room")).await;
        let other = KEY.replace("aa", "bb");
        let (status, _, refused) = post(&world, &path, &other, &room("North room")).await;
        assert_eq!((status, refused["code"].as_str()), (409, Some("name_in_use")));
        let (status, replayed, again) = post(&world, &path, &other, &room("North room")).await;
        assert_eq!((status, replayed, &again["code"]), (409, false, &refused["code"]), "looked at anew");
        assert_eq!(rooms(&world, site).await, 1);
        let kept = world.ada.site(site).all::<NewRoom>("").await.unwrap().remove(0);
        world.ada.site(site).change(&kept, json!({ "name": "Old room" })).await.unwrap();
        assert_eq!(post(&world, &path, &other, &room("North room")).await.0, 201);
        assert!(post(&world, &path, &other, &room("North room")).await.1, "and is kept once it is done");
    }

    async fn no_token_is_ever_kept(world: World) {
        let session = json!({ "sign_in": "ada", "password": PASSWORD });
        let (status, replayed, first) = post(&world, "/sessions", KEY, &session).await;
        assert_eq!((status, replayed), (201, false));
        let (_, replayed, second) = post(&world, "/sessions", KEY, &session).await;
        assert!(!replayed && first["refresh_token"] != second["refresh_token"], "{first} {second}");
    }

    async fn a_key_that_is_none_is_refused(world: World) {
        let site = world.site("Harbour").await.id;
        for key in ["", "short", &"x".repeat(129), "a key with blanks in it"] {
            let (status, _, problem) = post(&world, &format!("/sites/{site}/rooms"), key, &room("North room")).await;
            assert_eq!((status, problem["code"].as_str()), (400, Some("bad_request")), "{key:?}");
        }
        assert_eq!(rooms(&world, site).await, 0);
    }

    async fn keys_are_forgotten_after_forty_five_days(world: World) {
        let site = world.site("Harbour").await.id;
        let path = format!("/sites/{site}/rooms");
        post(&world, &path, KEY, &room("North room")).await;
        world.clock.advance(TimeDelta::days(44));
        work::beat(&world.server.app).await.unwrap();
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        assert!(post(&world, &path, KEY, &room("North room")).await.1);
        world.clock.advance(TimeDelta::days(2));
        work::beat(&world.server.app).await.unwrap();
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        assert_eq!(post(&world, &path, KEY, &room("South room")).await.0, 201);
    }

    async fn what_a_phone_held_arrives_once_however_often_it_is_sent(world: World) {
        let here = world.greenhouse().await;
        let held: Vec<NewReading> = (0..HELD)
            .map(|n| reading(here.north_tank, "ph", 5.9 + (n % 20) as f64 / 100.0, "[pH]", "2026-11-24T06:00:00+01:00"))
            .collect();
        let mut chance = StdRng::seed_from_u64(20_261_125);
        let mut sent: Vec<NewReading> = held.iter().flat_map(|one| vec![one.clone(); chance.random_range(1..=5)]).collect();
        sent.shuffle(&mut chance);
        let mut batches = Vec::new();
        while !sent.is_empty() {
            let rest = sent.split_off(sent.len().min(chance.random_range(1..=200)));
            batches.push(ReadingBatch { items: std::mem::replace(&mut sent, rest) });
        }
        for two in batches.chunks(2) {
            let sent = two.iter().map(|batch| world.ada.record_readings(here.site, batch));
            for result in join_all(sent).await.into_iter().flat_map(|answer| answer.unwrap().results) {
                assert_ne!(result.outcome, BatchOutcome::Rejected, "{:?}", result.problem);
            }
        }
        assert_eq!(world.ada.readings(here.site, "").await.unwrap().len(), HELD);
    }
}

#[test]
fn the_document_names_the_key_on_all_that_makes_or_moves() {
    let document: Value = serde_json::from_str(fillmark_server::document::COMMITTED).unwrap();
    let paths: Vec<(String, Value)> =
        json::<serde_json::Map<_, _>>(document["paths"].clone()).into_iter().collect();
    for (path, item) in paths.iter().filter(|(_, item)| item["post"]["security"].is_array()) {
        let named = item["post"]["parameters"].to_string().contains("IdempotencyKey");
        // What is told once is not told again, under whatever key; calculators make and move nothing.
        let tells_a_secret = item["post"]["operationId"] == "give_device_token";
        let calculates = item["post"]["tags"] == json!(["calculators"]);
        assert_ne!(named, tells_a_secret || calculates, "{path}");
    }
}
