//! A day of nine people and 120 checks, shared out and published through the API: what whoever presses the button waits.

use std::time::Instant;

use chrono::{Days, NaiveDate, TimeDelta, Utc};
use chrono_tz::Europe::Berlin;
use fillmark_api::{
    Code, Instant as Moment, NewCheckPlan, NewMembership, NewPerson, NewRoom, NewRounds, NewShift, Rounds,
};
use fillmark_client::Client;
use fillmark_domain::people::Role;
use serde_json::json;
use uuid::Uuid;

use super::figures::{Bar, Measured, Rounds as Taken, median};
use super::ground::Ground;
use super::load::{Visitor, get, median_wait_ms, post};
use super::server::Server;
use crate::fresh::Kind;
use crate::world::{PASSWORD, json as body};

const PEOPLE: usize = 9;

/// Rooms with ten checks a day each.
const ROOMS: usize = 12;
const OF_A_ROOM: usize = 10;

/// Days that are measured: each is shared out for the first time. The server does today and tomorrow by itself.
const FIRST_DAY: u64 = 2;
const DAYS: u64 = 10;

/// What seems to be at once to whoever presses a button (from memory: Miller, Response time in man-computer conversational
/// transactions, 1968).
const WAIT_MS: f64 = 100.0;

/// Measures it.
/// # Panics
/// When a server does not come up, or leaves a check undone.
pub async fn plan(kind: Kind) -> Measured {
    let ground = Ground::make(kind);
    let yard = ground.yard().await;
    let (ours, bare) = (Server::ours(&yard.fresh).await, Server::bare(&ground.bare().await).await);
    let site = yard.feeding.here.site;
    let client = Client::new(&format!("http://{}", ours.address)).expect("a client");
    client.sign_in("ada", PASSWORD).await.expect("a session");
    let days: Vec<NaiveDate> =
        (FIRST_DAY..FIRST_DAY + DAYS).map(|ahead| today() + Days::new(ahead)).collect();
    make_work(&client, site).await;
    make_people(&client, site, &days).await;

    let token = client.access_token().await.expect("a token");
    let mut visitor = Visitor::connect(&ours.address).await.expect("a connection");
    let hello = get("/hello", "");
    let (mut taken, mut checks) = (Taken::default(), Vec::new());
    for day_on in days {
        let wanted = serde_json::to_string(&NewRounds { day_on }).expect("a body");
        let request = post(&format!("/api/v1/sites/{site}/rounds"), &token, &wanted);
        let began = Instant::now();
        let answer = visitor.expect(&request, 201).await;
        let own = began.elapsed().as_secs_f64() * 1e3;
        taken.add(own, median_wait_ms(&bare.address, &hello, 20).await);
        let rounds: Rounds = serde_json::from_slice(&answer).expect("rounds");
        assert!(rounds.left.is_empty(), "{} checks are left", rounds.left.len());
        checks.push(rounds.rounds.iter().map(|round| round.steps.len()).sum::<usize>() as f64);
    }
    taken
        .measured("plan", kind, "ms", "a hello", Some(Bar::AtMost(WAIT_MS)))
        .beside("people", PEOPLE as f64)
        .beside("checks of a day", median(&checks))
}

async fn make_work(client: &Client, site: Uuid) {
    for room in 0..ROOMS {
        let new = json!({ "name": format!("Room {room}"), "room_use": "growing", "hygiene_rank": room });
        let id = client.site(site).create::<NewRoom>(&body(new)).await.expect("a room").id;
        for at in 0..OF_A_ROOM {
            let hour = 7 + (room + at) % 6;
            let plan = json!({ "name": format!("Look {at} of {room}"), "task": "inspect", "room_id": id, "rule": "FREQ=DAILY",
                "starts_local": format!("2026-01-01T{hour:02}:00:00"), "window_min": 240, "limit_min": 480, "work_min": 10 + at });
            client.site(site).create::<NewCheckPlan>(&body(plan)).await.expect("a check plan");
        }
    }
}

async fn make_people(client: &Client, site: Uuid, days: &[NaiveDate]) {
    for at in 0..PEOPLE {
        let new = NewPerson { name: format!("Person {at}"), sign_in: None };
        let person_id = client.business().create(&new).await.expect("a person").id;
        let from_at = Moment(Utc::now() - TimeDelta::hours(1));
        let role = NewMembership {
            person_id,
            site_id: Some(site),
            role: Code(Role::Staff),
            from_at,
            until_at: None,
        };
        client.business().create(&role).await.expect("a membership");
        for day in days {
            let shift = json!({ "person_id": person_id, "day_on": day, "starts_local": "06:30:00", "ends_local": "16:00:00" });
            client.site(site).create::<NewShift>(&body(shift)).await.expect("a shift");
        }
    }
}

fn today() -> NaiveDate {
    Utc::now().with_timezone(&Berlin).date_naive()
}
