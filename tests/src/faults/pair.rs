//! Two servers on one PostgreSQL: one of them killed or paused while plans fall due, and both restarted in turn while
//! people write.

use std::time::{Duration, Instant};

use chrono::Utc;
use fillmark_client::Client;
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use sea_orm_migration::sea_orm::{ConnectionTrait, DatabaseConnection, Statement};
use serde_json::json as value;
use uuid::Uuid;

use super::Load;
use super::load::Outcome;
use crate::fresh::{Fresh, Kind};
use crate::process::{Process, free_address, run};
use crate::world::{PASSWORD, json};
use crate::yard::Yard;

/// A beat comes every ten seconds; whoever takes over later than this is counted as one that does not.
const PATIENCE: Duration = Duration::from_secs(60);

/// What a run of two servers that follow plans showed.
#[derive(Debug)]
pub struct TakenOver {
    /// Occurrences that fell due.
    pub occurrences: u64,
    /// Of those, how many became no check.
    pub lost: u64,
    /// Checks beyond one an occurrence.
    pub twice: u64,
    /// The longest time from the harm until all that had fallen due was made.
    pub longest_takeover: Duration,
    /// What `fillmark verify` says afterwards.
    pub verified: Result<String, String>,
}

/// Lets plans fall due on two servers, so many times, each time with one of the two killed or paused.
/// # Panics
/// When a server does not come up, or nobody takes over.
pub async fn take_over(times: u32, seed: u64) -> TakenOver {
    let mut chance = StdRng::seed_from_u64(seed);
    let yard = Yard::make(Kind::Postgres).await;
    let connection = connection(&yard.fresh).await;
    let listens = [free_address(), free_address()];
    let mut servers = Vec::new();
    for listen in &listens {
        servers.push(Process::serve(&yard.fresh, listen).await);
    }
    let mut found = TakenOver {
        occurrences: 0,
        lost: 0,
        twice: 0,
        longest_takeover: Duration::ZERO,
        verified: Ok(String::new()),
    };
    let mut plans = Vec::new();
    for time in 0..times {
        let harmed = chance.random_range(0..2_usize);
        let plan = plan(&servers[1 - harmed], &yard, time).await;
        let expected = fall_due_again(&connection, plan).await;
        tokio::time::sleep(Duration::from_millis(chance.random_range(0..500))).await;
        let pauses = chance.random_range(0..2) == 0;
        if pauses {
            servers[harmed].signal("STOP");
        } else {
            servers.remove(harmed).kill();
        }
        let began = Instant::now();
        while made(&connection, plan).await < expected && began.elapsed() < PATIENCE {
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        found.longest_takeover = found.longest_takeover.max(began.elapsed());
        if pauses {
            servers[harmed].signal("CONT");
        } else {
            servers.insert(harmed, Process::serve(&yard.fresh, &listens[harmed]).await);
        }
        plans.push((plan, expected));
    }
    for server in servers {
        server.stop().await;
    }
    for (plan, expected) in plans {
        let distinct = number(&connection, plan, "count(distinct due_on || due_time)").await;
        found.occurrences += expected;
        found.lost += expected.saturating_sub(distinct);
        found.twice += made(&connection, plan).await - distinct;
    }
    found.verified = run(&yard.fresh, &["verify"]);
    found
}

/// A plan with a check each two hours.
async fn plan(server: &Process, yard: &Yard, time: u32) -> Uuid {
    let client = Client::new(&server.address).expect("a client");
    client.sign_in("ada", PASSWORD).await.expect("a session");
    let body = value!({ "name": format!("Look round {time}"), "task": "inspect", "room_id": yard.feeding.here.north_room,
        "rule": "FREQ=HOURLY;INTERVAL=2", "starts_local": Utc::now().format("%Y-%m-%dT00:30:00").to_string(),
        "window_min": 60, "limit_min": 90, "work_min": 10 });
    let site = client.site(yard.feeding.here.site);
    site.create::<fillmark_api::NewCheckPlan>(&json(body)).await.expect("a check plan").id
}

/// Takes the checks of a plan away, as if their days had only now come near; answers how many there were.
async fn fall_due_again(connection: &DatabaseConnection, plan: Uuid) -> u64 {
    let expected = made(connection, plan).await;
    let back = format!(
        "with gone as (delete from checks where plan_id = '{plan}') delete from planned_days where plan_id = '{plan}'"
    );
    connection.execute_unprepared(&back).await.expect("a plan that nobody has followed");
    expected
}

async fn made(connection: &DatabaseConnection, plan: Uuid) -> u64 {
    number(connection, plan, "count(*)").await
}

async fn number(connection: &DatabaseConnection, plan: Uuid, what: &str) -> u64 {
    let query = format!("select {what} from checks where plan_id = '{plan}'");
    let row =
        connection.query_one_raw(Statement::from_string(connection.get_database_backend(), query)).await;
    let number: i64 = row.expect("a row").expect("a number").try_get_by_index(0).expect("a whole number");
    u64::try_from(number).expect("a count")
}

async fn connection(fresh: &Fresh) -> DatabaseConnection {
    sea_orm_migration::sea_orm::Database::connect(&fresh.settings.database).await.expect("a connection")
}

/// What a run of restarts in turn showed.
#[derive(Debug)]
pub struct InTurn {
    /// How often each server was restarted.
    pub times: u32,
    /// What became of what was entered. Nobody had to send anything again by hand.
    pub outcome: Outcome,
}

/// Restarts two servers in turn while people write with clients that know both.
/// # Panics
/// When a server does not come up or does not stop in order.
pub async fn restart_in_turn(times: u32) -> InTurn {
    let yard = Yard::make(Kind::Postgres).await;
    let listens = [free_address(), free_address()];
    let mut servers = Vec::new();
    for listen in &listens {
        servers.push(Process::serve(&yard.fresh, listen).await);
    }
    let addresses: Vec<&str> = servers.iter().map(|server| server.address.as_str()).collect();
    let load = Load::start(&addresses, yard.feeding, 8).await;
    for _ in 0..times {
        for listen in &listens {
            load.more(30).await;
            servers.remove(0).stop().await;
            load.more(10).await;
            servers.push(Process::serve(&yard.fresh, listen).await);
        }
    }
    load.more(20).await;
    let written = load.stop().await;
    for server in servers {
        server.stop().await;
    }
    InTurn { times, outcome: Outcome::of(written, &yard).await }
}
