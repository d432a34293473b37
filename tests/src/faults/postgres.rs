//! PostgreSQL that goes away under a server while people write, and connections that are all taken.

use std::time::{Duration, Instant};

use fillmark_client::{Client, ClientError};
use futures_util::future::join_all;
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use sea_orm_migration::sea_orm::{ConnectionTrait, Database, TransactionTrait};

use super::load::{Load, Outcome, reading};
use crate::cluster::{Cluster, Stop};
use crate::fresh::{Fresh, Kind};
use crate::process::{Process, free_address};
use crate::world::PASSWORD;
use crate::yard::Yard;

/// What a run of restarts showed.
#[derive(Debug)]
pub struct Restarts {
    /// How often the database was restarted, every other time as by a crash.
    pub times: u32,
    /// What became of what was entered.
    pub outcome: Outcome,
    /// The longest time from the database's return until the server was ready.
    pub longest_return: Duration,
}

/// Restarts the database of a server so many times while people write.
/// # Panics
/// When the server ends, or PostgreSQL is not installed.
pub async fn restart_postgres(times: u32, seed: u64) -> Restarts {
    let mut chance = StdRng::seed_from_u64(seed);
    let cluster = Cluster::start();
    let yard = Yard::on(Fresh::at(cluster.url("postgres")), Kind::Postgres).await;
    let server = Process::serve(&yard.fresh, &free_address()).await;
    let load = Load::start(&[&server.address], yard.feeding, 8).await;
    let mut longest_return = Duration::ZERO;
    for time in 0..times {
        load.more(chance.random_range(5..60)).await;
        let how = if time % 2 == 0 { Stop::Immediate } else { Stop::Fast };
        tokio::task::block_in_place(|| cluster.restart(how));
        let back = Instant::now();
        while !server.is_ready().await {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        longest_return = longest_return.max(back.elapsed());
    }
    load.more(20).await;
    let written = load.stop().await;
    server.stop().await;
    Restarts { times, outcome: Outcome::of(written, &yard).await, longest_return }
}

/// What a server without a free connection showed.
#[derive(Debug)]
pub struct Exhausted {
    /// How many entries were acknowledged once the connections were free again.
    pub acknowledged: usize,
    /// How many were asked to come again.
    pub asked_to_wait: usize,
    /// The longest that one of these waited for its answer.
    pub longest_wait: Duration,
    /// Answers that nobody should see.
    pub unexpected: Vec<String>,
    /// Whether the server said that it was ready while no connection was free.
    pub ready_meanwhile: bool,
    /// Whether it said so afterwards.
    pub ready_afterwards: bool,
}

/// More people than connections write at once while somebody else has locked the table.
/// # Panics
/// When the server does not come up.
pub async fn exhaust_connections(people: usize, connections: u32) -> Exhausted {
    let mut yard = Yard::make(Kind::Postgres).await;
    yard.fresh.settings.connections = connections;
    let server = Process::serve(&yard.fresh, &free_address()).await;
    let client = Client::new(&server.address).expect("a client");
    client.sign_in("ada", PASSWORD).await.expect("a session");
    let other = Database::connect(&yard.fresh.settings.database).await.expect("the database");
    #[expect(clippy::disallowed_methods, reason = "a transaction of somebody else, on PostgreSQL alone")]
    let lock = other.begin().await.expect("a transaction");
    lock.execute_unprepared("lock table readings in access exclusive mode").await.expect("the lock");

    let site = yard.feeding.here.site;
    let enter = async || {
        let began = Instant::now();
        (client.record_reading(site, &reading(yard.feeding)).await, began.elapsed())
    };
    let entered = join_all((0..people).map(|_| enter()));
    let watched = async {
        tokio::time::sleep(Duration::from_millis(1_500)).await;
        let ready = server.is_ready().await;
        tokio::time::sleep(Duration::from_millis(1_500)).await;
        lock.rollback().await.expect("the lock is let go");
        ready
    };
    let (answers, ready_meanwhile) = tokio::join!(entered, watched);
    let mut seen = Exhausted {
        acknowledged: 0,
        asked_to_wait: 0,
        longest_wait: Duration::ZERO,
        unexpected: Vec::new(),
        ready_meanwhile,
        ready_afterwards: server.is_ready().await,
    };
    for (answer, waited) in answers {
        match answer {
            Ok(_) => seen.acknowledged += 1,
            Err(ClientError::Refused(problem)) if problem.status == 503 => {
                seen.asked_to_wait += 1;
                seen.longest_wait = seen.longest_wait.max(waited);
            }
            Err(other) => seen.unexpected.push(other.to_string()),
        }
    }
    server.stop().await;
    seen
}
