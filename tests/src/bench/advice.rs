//! Advice about a tank beside a million readings, asked for by one client: what 99 of a hundred wait at most.

use fillmark_api::Advice;
use fillmark_domain::{Coded, Metric};
use fillmark_store::Store;
use serde_json::json;

use super::figures::{Bar, Measured, Rounds, median, p99};
use super::ground::Ground;
use super::history::{ReadLongAgo, write_readings};
use super::load::{Visitor, get, post, waits_ms};
use super::looked_after::LookedAfter;
use super::server::Server;
use crate::fresh::Kind;

/// Other tanks of the site.
const OTHER_TANKS: usize = 39;

/// Of EC and pH each, once an hour in each tank: a million readings together, over a year and five months.
const READ: ReadLongAgo = ReadLongAgo { each: 12_500, minutes_apart: 60, spared_days: DAYS as usize + 5 };

/// The tank itself was looked after for four months.
const DAYS: i64 = 119;

/// How often each question is asked in a round.
const TIMES: usize = 300;

/// What somebody who stands at a tank with a bottle in hand does not notice.
const P99_MS: f64 = 10.0;

/// Measures it.
/// # Panics
/// When a server does not come up, refuses, or advises without what it should have learnt.
pub async fn advice(kind: Kind, rounds: usize) -> Measured {
    let ground = Ground::make(kind);
    let yard = ground.yard().await;
    let (ours, bare) = (Server::ours(&yard.fresh).await, Server::bare(&ground.bare().await).await);
    let tank = LookedAfter { feeding: yard.feeding, server: &ours };
    let token = tank.make(OTHER_TANKS, DAYS).await;
    let store = Store::open(&yard.fresh.settings.where_kept(), 1).await.expect("the database");
    let mut written = 0;
    for metric in [Metric::Ec, Metric::Ph] {
        written += write_readings(&store, metric.code(), READ).await;
    }
    store.close().await.expect("a closed database");
    assert_eq!(written, 1_000_000, "readings");

    let site = yard.feeding.here.site;
    let wanted = json!({ "tank_id": yard.feeding.here.north_tank }).to_string();
    let [corrections, fills] = ["corrections", "fills"]
        .map(|kind| post(&format!("/api/v1/sites/{site}/advice/{kind}"), &token, &wanted));
    for request in [&corrections, &fills] {
        assert_learnt(&ours, request).await;
    }
    measured(kind, rounds, &ours, &bare, [&corrections, &fills]).await
}

async fn measured(
    kind: Kind,
    rounds: usize,
    ours: &Server,
    bare: &Server,
    [corrections, fills]: [&[u8]; 2],
) -> Measured {
    let (mut taken, mut of_corrections, mut of_fills) =
        (Rounds::default(), Waits::default(), Waits::default());
    let (mut of_hellos, hello) = (Waits::default(), get("/hello", ""));
    let mut cpu = Vec::new();
    for at in 0..=rounds {
        let before = ours.cpu_s();
        let corrected = waits_ms(&ours.address, corrections, TIMES, 201).await;
        let filled = waits_ms(&ours.address, fills, TIMES, 201).await;
        let spent = ours.cpu_s() - before;
        let greeted = waits_ms(&bare.address, &hello, TIMES, 200).await;
        // The first round warms all up.
        if at > 0 {
            taken.add(p99(&corrected).max(p99(&filled)), p99(&greeted));
            of_corrections.add(&corrected);
            of_fills.add(&filled);
            of_hellos.add(&greeted);
            cpu.push(spent / (2 * TIMES) as f64 * 1e3);
        }
    }
    taken
        .measured("advice", kind, "ms, p99 of the slower", "a hello's p99", Some(Bar::AtMost(P99_MS)))
        .beside("corrections, p99, ms", median(&of_corrections.p99))
        .beside("corrections, median, ms", median(&of_corrections.median))
        .beside("fills, p99, ms", median(&of_fills.p99))
        .beside("fills, median, ms", median(&of_fills.median))
        .beside("a hello, median, ms", median(&of_hellos.median))
        .beside("CPU of ours, ms a question", median(&cpu))
}

/// What a question took, round by round.
#[derive(Default)]
struct Waits {
    p99: Vec<f64>,
    median: Vec<f64>,
}

impl Waits {
    fn add(&mut self, waits: &[f64]) {
        self.p99.push(p99(waits));
        self.median.push(median(waits));
    }
}

/// Advice that says nothing would be fast.
async fn assert_learnt(server: &Server, request: &[u8]) {
    let mut visitor = Visitor::connect(&server.address).await.expect("a connection");
    let given: Advice = serde_json::from_slice(&visitor.expect(request, 201).await).expect("advice");
    assert!(given.reasons.iter().any(|reason| reason.contains("is learnt from")), "{given:?}");
    assert!(given.steps.iter().any(|step| step.amount.is_some()), "{given:?}");
}
