//! A person's round among a million checks, against what cannot be done without: a hello, and the SQL of the answer.

use std::time::{Duration, Instant};

use chrono::{Days, NaiveDate, Utc};
use chrono_tz::Europe::Berlin;
use fillmark_api::{NewCheckPlan, NewShift};
use fillmark_client::Client;
use fillmark_store::Store;
use sea_orm_migration::sea_orm::{ConnectionTrait, Statement, Value};
use serde_json::json;
use uuid::Uuid;

use super::figures::{Bar, Measured, Rounds, median};
use super::ground::Ground;
use super::history::write_checks;
use super::load::{Visitor, get, median_wait_ms};
use super::server::Server;
use crate::feeding::Feeding;
use crate::fresh::Kind;
use crate::world::{PASSWORD, json as body};

/// Checks in the database.
const CHECKS: usize = 1_000_000;

/// Check plans, each with a check a day.
const PLANS: usize = 12;

/// How often each side is asked in a round.
const TIMES: usize = 300;

/// The server makes checks and publishes rounds at its next beats.
const PATIENCE: Duration = Duration::from_secs(60);

const ROUND: &str =
    "select r.id, r.minutes, r.fair_minutes, p.published_at, s.position, s.starts_at, s.with_id, c.*
    from publications p
    join rounds r on r.site_id = p.site_id and r.publication_id = p.id
    join round_steps s on s.site_id = r.site_id and s.round_id = r.id
    join checks c on c.site_id = s.site_id and c.id = s.check_id
    where p.site_id = $1 and p.day_on = $2 and r.person_id = $3
    and p.number = (select max(number) from publications where site_id = $1 and day_on = $2)
    order by s.position";

/// Measures it.
/// # Panics
/// When a server does not come up, or publishes no round.
pub async fn round(kind: Kind, rounds: usize) -> Measured {
    let ground = Ground::make(kind);
    let yard = ground.yard().await;
    let (ours, bare) = (Server::ours(&yard.fresh).await, Server::bare(&ground.bare().await).await);
    let round = Published::make(&ours, yard.feeding).await;
    let store = Store::open(&yard.fresh.settings.where_kept(), 1).await.expect("the database");
    // Four minutes apart: 360 a day, over more than seven years.
    write_checks(&store, CHECKS, 4).await;

    let (ask, hello) = (get(&round.path, &round.token), get("/hello", ""));
    let (mut taken, mut hellos) = (Rounds::default(), Vec::new());
    for at in 0..=rounds {
        let own = median_wait_ms(&ours.address, &ask, TIMES).await;
        let sql = median_query_ms(&store, &[(ROUND, round.values.clone())], TIMES, PLANS).await;
        let hello = median_wait_ms(&bare.address, &hello, TIMES).await;
        // The first round warms all up.
        if at > 0 {
            taken.add(own, sql + hello);
            hellos.push(hello);
        }
    }
    store.close().await.expect("a closed database");
    taken
        .measured("round", kind, "ms", "a hello and the SQL of the answer", Some(Bar::RatioAtMost(3.0)))
        .beside("a hello, ms", median(&hellos))
}

/// The median wait for queries one after the other, which find so many rows together at least, in milliseconds.
/// # Panics
/// When they find fewer.
pub async fn median_query_ms(
    store: &Store,
    queries: &[(&str, Vec<Value>)],
    times: usize,
    rows: usize,
) -> f64 {
    let connection = store.for_migrations();
    let backend = connection.get_database_backend();
    let mut waits = Vec::with_capacity(times);
    for _ in 0..times {
        let (began, mut found) = (Instant::now(), 0);
        for (query, values) in queries {
            let statement = Statement::from_sql_and_values(backend, *query, values.clone());
            found += connection.query_all_raw(statement).await.expect("rows").len();
        }
        waits.push(began.elapsed().as_secs_f64() * 1e3);
        assert!(found >= rows, "{found} rows");
    }
    median(&waits)
}

/// A round of tomorrow, which the server has published.
pub struct Published {
    /// Whose it is, signed in.
    pub token: String,
    path: String,
    values: Vec<Value>,
}

impl Published {
    /// Plans and a shift, from which the server makes checks and a round.
    /// # Panics
    /// When it does not.
    pub async fn make(server: &Server, feeding: Feeding) -> Published {
        let client = Client::new(&format!("http://{}", server.address)).expect("a client");
        let person = client.sign_in("ada", PASSWORD).await.expect("a session").person_id;
        let (site, tomorrow) = (feeding.here.site, tomorrow());
        for at in 0..PLANS {
            let plan = json!({ "name": format!("Look {at}"), "task": "measure", "metrics": ["ec", "ph"], "sample_point": "tank",
                "tank_id": feeding.here.north_tank, "rule": "FREQ=DAILY", "starts_local": format!("2026-01-01T{:02}:00:00", 8 + at % 6),
                "window_min": 120, "limit_min": 480, "work_min": 10 });
            client.site(site).create::<NewCheckPlan>(&body(plan)).await.expect("a check plan");
        }
        let shift = json!({ "person_id": person, "day_on": tomorrow, "starts_local": "07:00:00", "ends_local": "17:00:00" });
        client.site(site).create::<NewShift>(&body(shift)).await.expect("a shift");
        let token = client.access_token().await.expect("a token");
        let path = format!("/api/v1/sites/{site}/rounds/mine?day_on={tomorrow}");
        wait_until_answered(server, &get(&path, &token)).await;
        Published { token, path, values: vec![site.into(), tomorrow.into(), Uuid::into(person)] }
    }
}

async fn wait_until_answered(server: &Server, request: &[u8]) {
    let mut visitor = Visitor::connect(&server.address).await.expect("a connection");
    let began = Instant::now();
    while visitor.ask(request).await.expect("an answer").0 != 200 {
        assert!(began.elapsed() < PATIENCE, "no round was published");
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}

fn tomorrow() -> NaiveDate {
    let today = Utc::now().with_timezone(&Berlin).date_naive();
    today.checked_add_days(Days::new(1)).expect("a day")
}
