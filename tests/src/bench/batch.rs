//! Readings by the batch, against the fastest way into the same table that each database has for one connection.

use std::fmt::Write;
use std::time::Instant;

use chrono::Utc;
use sea_orm_migration::sea_orm::{ConnectionTrait, Database};
use serde_json::{Value, json};
use sqlx::{Connection, PgConnection, SqliteConnection};
use uuid::Uuid;

use super::entry::sessions;
use super::figures::{Bar, Measured, Rounds, median};
use super::ground::Ground;
use super::load::{Visitor, post};
use super::server::Server;
use crate::feeding::Feeding;
use crate::fresh::Kind;

/// The largest batch there is.
const BATCH: usize = 500;

/// Batches in a round. Each thousand rows are two of ours, and one transaction of the other side.
const BATCHES: usize = 20;

/// The columns of a reading that are never null.
const COLUMNS: &str = "site_id, id, client_id, tank_id, sample_point, metric, entered_value, entered_unit, value, uncompensated,
    recorded_at, received_at, clock_suspect, band_low, band_aim, band_high";

/// Measures it.
/// # Panics
/// When a server does not come up, or a batch is not taken.
pub async fn batch(kind: Kind, rounds: usize) -> Measured {
    let ground = Ground::make(kind);
    let yard = ground.yard().await;
    let feeding = yard.feeding;
    let ours = Server::ours(&yard.fresh).await;
    let token = sessions(&ours, 1).await.remove(0);
    let mut visitor = Visitor::connect(&ours.address).await.expect("a connection");
    let path = format!("/api/v1/sites/{}/readings/batch", feeding.here.site);
    let mut other = Other::open(&ground, feeding).await;

    let (mut taken, mut cpu) = (Rounds::default(), Vec::new());
    for round in 0..=rounds {
        let requests: Vec<Vec<u8>> =
            (0..BATCHES).map(|at| post(&path, &token, &readings(feeding, at))).collect();
        let (began, before) = (Instant::now(), ours.cpu_s());
        for request in &requests {
            visitor.expect(request, 200).await;
        }
        let rate = rows() / began.elapsed().as_secs_f64();
        let spent = ours.cpu_s() - before;
        let other_rate = rows() / other.insert().await;
        // The first round warms both up.
        if round == 0 {
            ground.settle().await;
        } else {
            taken.add(rate, other_rate);
            cpu.push(spent / rows() * 1e6);
        }
    }
    let (reference, bar) = match kind {
        Kind::Sqlite => ("one prepared insert, 1,000 rows a transaction", None),
        Kind::Postgres => ("COPY in one stream, 1,000 rows a transaction", Some(Bar::RatioAtLeast(0.35))),
    };
    taken.measured("batch", kind, "rows/s", reference, bar).beside("CPU of ours, us a row", median(&cpu))
}

fn rows() -> f64 {
    (BATCH * BATCHES) as f64
}

/// A batch of pH readings that are in their band.
pub fn readings(feeding: Feeding, at: usize) -> String {
    let reading = |item: usize| {
        json!({ "client_id": Uuid::now_v7(), "tank_id": feeding.here.north_tank, "sample_point": "tank", "metric": "ph",
            "value": { "value": 5.9 + ((at * BATCH + item) % 30) as f64 / 100.0, "unit": "[pH]" }, "recorded_at": Utc::now() })
    };
    json!({ "items": (0..BATCH).map(reading).collect::<Vec<Value>>() }).to_string()
}

/// A table like that of the readings, with its indexes and without foreign keys or triggers, and the connection that fills it.
enum Other {
    Sqlite(Box<SqliteConnection>, Feeding),
    Postgres(Box<PgConnection>, Feeding),
}

impl Other {
    async fn open(ground: &Ground, feeding: Feeding) -> Other {
        let database = ground.bare().await;
        match ground.kind {
            Kind::Postgres => {
                // A schema of its own, brought up as ours, and the bonds to other tables taken off.
                migrate(&database).await;
                let mut connection = PgConnection::connect(&database).await.expect("a connection");
                let loose = "create table loose (like readings including all)";
                sqlx::query(loose).execute(&mut connection).await.expect("a table");
                Other::Postgres(Box::new(connection), feeding)
            }
            Kind::Sqlite => {
                let url = format!("sqlite://{database}?mode=rwc");
                migrate(&url).await;
                let mut connection = SqliteConnection::connect(&url).await.expect("a connection");
                for pragma in
                    ["pragma journal_mode = wal", "pragma synchronous = full", "pragma foreign_keys = off"]
                {
                    sqlx::query(pragma).execute(&mut connection).await.expect("a setting");
                }
                Other::Sqlite(Box::new(connection), feeding)
            }
        }
    }

    /// Inserts a round's rows, and answers how long that took, in seconds.
    async fn insert(&mut self) -> f64 {
        let portions = BATCH * BATCHES / 1_000;
        match self {
            Other::Postgres(connection, feeding) => {
                let texts: Vec<String> = (0..portions).map(|_| copied(*feeding)).collect();
                let began = Instant::now();
                for text in texts {
                    let copy = format!("copy loose ({COLUMNS}) from stdin");
                    let mut copy = connection.copy_in_raw(&copy).await.expect("a copy");
                    copy.send(text.as_bytes()).await.expect("rows sent");
                    copy.finish().await.expect("rows kept");
                }
                began.elapsed().as_secs_f64()
            }
            Other::Sqlite(connection, feeding) => {
                let began = Instant::now();
                for _ in 0..portions {
                    insert_a_thousand(connection, *feeding).await.expect("rows kept");
                }
                began.elapsed().as_secs_f64()
            }
        }
    }
}

async fn migrate(url: &str) {
    let connection = Database::connect(url).await.expect("a connection");
    fillmark_migrations::bring_up(&connection).await.expect("the schema");
    if url.starts_with("sqlite") {
        connection.execute_unprepared("pragma wal_checkpoint(truncate)").await.expect("a checkpoint");
    }
    connection.close().await.expect("a closed connection");
}

/// A thousand rows as COPY reads them.
fn copied(feeding: Feeding) -> String {
    let (site, tank) = (feeding.here.site, feeding.here.north_tank);
    let mut text = String::new();
    for item in 0..1_000 {
        let (id, client_id, value, now) =
            (Uuid::now_v7(), Uuid::now_v7(), 5.9 + f64::from(item % 30) / 100.0, Utc::now().to_rfc3339());
        let written = writeln!(
            text,
            "{site}\t{id}\t{client_id}\t{tank}\ttank\tph\t{value}\t[pH]\t{value}\tf\t{now}\t{now}\tf\t5.8\t6\t6.4"
        );
        written.expect("text");
    }
    text
}

async fn insert_a_thousand(connection: &mut SqliteConnection, feeding: Feeding) -> Result<(), sqlx::Error> {
    const INSERT: &str = "insert into readings (site_id, id, client_id, tank_id, sample_point, metric, entered_value,
        entered_unit, value, uncompensated, recorded_at, received_at, clock_suspect, band_low, band_aim, band_high)
        values (?, ?, ?, ?, 'tank', 'ph', ?, '[pH]', ?, false, ?, ?, false, 5.8, 6.0, 6.4)";
    let mut tx = connection.begin().await?;
    for item in 0..1_000 {
        let (value, now) = (5.9 + f64::from(item % 30) / 100.0, Utc::now());
        sqlx::query(INSERT)
            .bind(feeding.here.site)
            .bind(Uuid::now_v7())
            .bind(Uuid::now_v7())
            .bind(feeding.here.north_tank)
            .bind(value)
            .bind(value)
            .bind(now)
            .bind(now)
            .execute(&mut *tx)
            .await?;
    }
    tx.commit().await
}
