//! The same script on both databases is answered in the same bytes, ids apart.

use std::collections::HashMap;

use chrono::TimeDelta;
use fillmark_actions::dosing;
use fillmark_api::{NewClosure, NewOffer, NewReversal, NewTankChange};
use fillmark_domain::people::Role;
use fillmark_tests::Greenhouse;
use fillmark_tests::fresh::Kind;
use fillmark_tests::greenhouse::reading;
use fillmark_tests::world::{World, instant, json};
use serde_json::{Value, json};
use uuid::Uuid;

/// What is asked for, `{site}`, `{room}` and `{tank}` to be filled in.
const ASKED: [&str; 27] = [
    "/sites",
    "/people",
    "/crops",
    "/programme-revisions",
    "/products",
    "/suppliers",
    "/lots?limit=1",
    "/sites/{site}/rooms",
    "/sites/{site}/tanks",
    "/sites/{site}/cycles",
    "/sites/{site}/feeds",
    "/sites/{site}/closures",
    "/sites/{site}/readings?sort=-recorded_at",
    "/sites/{site}/additions",
    "/sites/{site}/tank-changes",
    "/sites/{site}/tank-changes/due",
    "/sites/{site}/stock",
    "/sites/{site}/movements",
    "/sites/{site}/orders",
    "/sites/{site}/checks?limit=40",
    "/sites/{site}/alerts",
    "/sites/{site}/rounds?day_on=2026-11-25",
    "/sites/{site}/forecast?horizon_days=30",
    "/sites/{site}/rooms/{room}/report?from_on=2026-11-16&until_on=2026-11-24",
    "/sites/{site}/tanks/{tank}/learning",
    "/sites/{site}/tanks/{tank}/uptake",
    "/sites/{site}/tanks/{tank}/reconciliation",
];

const REFERENCE: &str = "\"reference\":\"";

async fn script(world: &World) -> Greenhouse {
    let feeding = world.feeding().await;
    let (site, tank) = (feeding.here.site, feeding.here.north_tank);
    let ada = &world.ada;
    // The server's own heartbeat may come at any moment: what it makes is made before what is to stand behind it.
    world.beat().await;
    for (product, ml) in [(feeding.grow_a, 1234.567), (feeding.grow_b, 2000.001)] {
        feeding.receive(ada, product, "L1", "2027-03-01", ml).await;
        feeding.receive(ada, product, "L2", "2026-12-31", 500.0).await;
    }
    ada.site(site)
        .create::<NewClosure>(&json(
            json!({ "from_on": "2026-12-25", "until_on": "2026-12-26", "reason": "Jól, Ünnep, 🎄" }),
        ))
        .await
        .unwrap();
    world.check_plan(site, json!({ "tank_id": tank })).await;
    let (sam, client) = world.person("Sam", Role::Staff, Some(site)).await;
    world.shift(site, sam.id, "2026-11-25").await;
    world.beat().await;
    for (number, (ec, ph)) in
        [(1.4, 6.0), (1.7, 6.3), (1.9, 6.7), (1.3000000000000003, 5.95)].into_iter().enumerate()
    {
        let at = format!("2026-11-2{}T07:00:00.123+01:00", number + 1);
        client.record_reading(site, &reading(tank, "ec", ec * 1000.0, "uS/cm", &at)).await.unwrap();
        client.record_reading(site, &reading(tank, "ph", ph, "[pH]", &at)).await.unwrap();
    }
    let change: NewTankChange = feeding.change("2026-11-22T09:00:00+01:00", json!({}));
    ada.record_tank_change(site, &change).await.unwrap();
    let poured = ada.record_addition(site, &feeding.addition(33.333)).await.unwrap();
    ada.record_addition(site, &feeding.addition(66.6)).await.unwrap();
    ada.reverse_addition(
        site,
        poured.id,
        &NewReversal { client_id: Uuid::now_v7(), reason: "typed twice".into() },
    )
    .await
    .unwrap();
    let offers = ada.site(site).all::<NewOffer>("").await.unwrap();
    let lines: Vec<Value> = offers.iter().map(|offer| json!({ "offer_id": offer.id, "packs": 3 })).collect();
    let draft = ada.draft_order(site, &json(json!({ "lines": lines }))).await.unwrap();
    ada.place_order(site, draft.id, &json(json!({}))).await.unwrap();
    ada.publish_rounds(site, "2026-11-25".parse().unwrap()).await.unwrap();
    world.clock.advance(TimeDelta::milliseconds(86_400_123));
    world.beat().await;
    dosing::watch_balances(&world.server.app).await.unwrap();
    feeding.here
}

/// Ids by the order in which they first appear; cursors are sealed with a server's own key.
fn masked(text: &str, seen: &mut HashMap<String, usize>) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.char_indices().map(|(at, _)| at).find(|at| is_id(&rest[*at..])) {
        let next = seen.len();
        let number = *seen.entry(rest[at..at + 36].to_owned()).or_insert(next);
        out.push_str(&rest[..at]);
        out.push_str(&format!("id {number}"));
        rest = &rest[at + 36..];
    }
    out.push_str(rest);
    // The end of an id.
    let references: Vec<usize> = out.match_indices(REFERENCE).map(|(at, _)| at + REFERENCE.len()).collect();
    references.into_iter().for_each(|at| out.replace_range(at..at + 8, "the same"));
    match out.find("\"next_cursor\":\"") {
        Some(at) => format!("{}cursor", &out[..at]),
        None => out,
    }
}

fn is_id(text: &str) -> bool {
    text.get(..36).is_some_and(|text| text.as_bytes()[8] == b'-' && Uuid::try_parse(text).is_ok())
}

async fn answers(kind: Kind) -> Vec<(String, String)> {
    let world = World::begin_at(kind, instant("2026-11-24T06:00:00.500Z")).await;
    let here = script(&world).await;
    let ids = [("{site}", here.site), ("{room}", here.north_room), ("{tank}", here.north_tank)];
    let mut seen = HashMap::new();
    let mut answers = Vec::new();
    for asked in ASKED {
        let path = ids.iter().fold(asked.to_owned(), |path, (name, id)| path.replace(name, &id.to_string()));
        let text = world.ada.get_text(&path).await.unwrap_or_else(|error| panic!("{asked}: {error}"));
        answers.push((asked.to_owned(), masked(&text, &mut seen)));
    }
    answers
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_script_is_answered_in_the_same_bytes_by_both_databases() {
    let (embedded, served) = tokio::join!(answers(Kind::Sqlite), answers(Kind::Postgres));
    for ((asked, one), (_, other)) in embedded.iter().zip(&served) {
        assert!(one.len() > 30, "{asked}: {one}");
        let differs = one
            .bytes()
            .zip(other.bytes())
            .position(|(one, other)| one != other)
            .unwrap_or(one.len().min(other.len()));
        let near = |text: &str| text.chars().skip(differs.saturating_sub(120)).take(240).collect::<String>();
        assert!(one == other, "{asked} differs:\n{}\n{}", near(one), near(other));
    }
}
