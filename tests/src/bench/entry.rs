//! One reading a request, from many people at once, each answered when it is safe on the disk.

use std::time::Duration;

use chrono::Utc;
use fillmark_api::{NewMembership, NewPassword, NewPerson};
use fillmark_client::Client;
use serde_json::json;
use uuid::Uuid;

use super::bare::{self, NewEntry};
use super::figures::{Bar, Measured, Rounds, median};
use super::ground::Ground;
use super::load::{for_some_time, post};
use super::server::Server;
use crate::fresh::Kind;
use crate::world::{PASSWORD, json as body};

/// So many people enter at once.
const PEOPLE: usize = 64;

/// A person has so many sessions at most.
const MOST_OF_ONE: usize = 50;

/// So long each side is measured in a round.
const SPAN: Duration = Duration::from_secs(3);

/// Measures it.
/// # Panics
/// When a server does not come up, or a reading is not taken.
pub async fn entry(kind: Kind, rounds: usize) -> Measured {
    let ground = Ground::make(kind);
    let yard = ground.yard().await;
    let (ours, bare) = (Server::ours(&yard.fresh).await, Server::bare(&ground.bare().await).await);
    let tokens = sessions(&ours, PEOPLE).await;
    let bare_tokens: Vec<String> = (0..PEOPLE).map(|_| bare::token()).collect();
    let tank = yard.feeding.here.north_tank;
    let path = format!("/api/v1/sites/{}/readings", yard.feeding.here.site);
    let reading = |token: &str| post(&path, token, &reading(tank));
    let bare_entry = |token: &str| post("/entries", token, &bare_entry(tank));

    let (mut taken, mut cpu, mut bare_cpu) = (Rounds::default(), Vec::new(), Vec::new());
    for round in 0..=rounds {
        let (before, bare_before) = (ours.cpu_s(), bare.cpu_s());
        let done = for_some_time(&ours.address, &tokens, SPAN, 201, reading).await;
        let spent = ours.cpu_s() - before;
        let bare_done = for_some_time(&bare.address, &bare_tokens, SPAN, 201, bare_entry).await;
        // The first round warms both up.
        if round == 0 {
            ground.settle().await;
        } else {
            taken.add(done.per_second(), bare_done.per_second());
            cpu.push(spent / done.requests as f64 * 1e6);
            bare_cpu.push((bare.cpu_s() - bare_before) / bare_done.requests as f64 * 1e6);
        }
    }
    let bar = Some(Bar::RatioAtLeast(0.6));
    taken
        .measured("entry", kind, "req/s", "a bare insert handler", bar)
        .beside("CPU of ours, us a request", median(&cpu))
        .beside("CPU of the bare server, us a request", median(&bare_cpu))
}

/// Access tokens of so many sessions: Ada's, and of more than a person may have, Bea's too.
/// # Panics
/// When they cannot sign in.
pub async fn sessions(server: &Server, count: usize) -> Vec<String> {
    let client = Client::new(&format!("http://{}", server.address)).expect("a client");
    let mut tokens = Vec::with_capacity(count);
    for at in 0..count {
        if at == MOST_OF_ONE {
            add_bea(&client).await;
        }
        client.sign_in(if at < MOST_OF_ONE { "ada" } else { "bea" }, PASSWORD).await.expect("a session");
        tokens.push(client.access_token().await.expect("a token"));
    }
    tokens
}

/// A second owner.
async fn add_bea(ada: &Client) {
    let bea = NewPerson { name: "Bea Brook".into(), sign_in: Some("bea".into()) };
    let bea = ada.business().create(&bea).await.expect("a person").id;
    let password = NewPassword { password: PASSWORD.into(), present_password: None };
    ada.put(&format!("/people/{bea}/password"), &password).await.expect("a password");
    let role = json!({ "person_id": bea, "role": "owner", "from_at": "2026-01-01T00:00:00Z" });
    ada.business().create::<NewMembership>(&body(role)).await.expect("a membership");
}

/// A pH of a tank that is in its band, read now.
pub fn reading(tank: Uuid) -> String {
    json!({ "client_id": Uuid::now_v7(), "tank_id": tank, "sample_point": "tank", "metric": "ph",
        "value": { "value": 6.0, "unit": "[pH]" }, "recorded_at": Utc::now() })
    .to_string()
}

fn bare_entry(tank: Uuid) -> String {
    json!(NewEntry { tank_id: tank, metric: "ph".into(), value: 6.0, recorded_at: Utc::now() }).to_string()
}
