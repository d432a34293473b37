//! Writers who enter readings and additions one after another, each until it is acknowledged, and the count of what
//! became of them.

use std::collections::HashSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

use chrono::Utc;
use fillmark_api::{BatchAnswer, NewAddition, NewReading, ReadingBatch};
use fillmark_client::{Client, ClientError};
use fillmark_store::Store;
use sea_orm_migration::sea_orm::{ConnectionTrait, Statement};
use serde_json::json as value;
use tokio::task::JoinSet;
use uuid::Uuid;

use crate::Feeding;
use crate::fresh::Fresh;
use crate::process::run;
use crate::rows::number;
use crate::world::{PASSWORD, json};
use crate::yard::Yard;

/// How long a writer waits before it sends again what was not acknowledged.
const PAUSE: Duration = Duration::from_millis(20);

/// Each writer's readings go in batches of so many, every fourth time.
const BATCH: usize = 10;

/// Writers at work.
#[derive(Debug)]
pub struct Load {
    stop: Arc<AtomicBool>,
    acknowledged: Arc<AtomicU64>,
    writers: JoinSet<Written>,
}

/// What was acknowledged to writers, by the ids that they made, and what they were answered beside.
#[derive(Debug, Default)]
pub struct Written {
    /// Readings.
    pub readings: Vec<Uuid>,
    /// Additions of 1 mL.
    pub additions: Vec<Uuid>,
    /// How often an entry had to be sent again since the server was not there or asked for patience.
    pub sent_again: u64,
    /// Answers that no writer should ever see.
    pub unexpected: Vec<String>,
}

/// What a database holds of what was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Count {
    /// Acknowledged entries.
    pub acknowledged: usize,
    /// Of these, those that are not there.
    pub lost: usize,
    /// Entries that are there more than once.
    pub twice: usize,
    /// Thousandths of mL by which the balance is not what was received less what was poured.
    pub balance_off: i64,
}

/// What became of what was entered while harm was done.
#[derive(Debug)]
pub struct Outcome {
    /// What the database holds.
    pub count: Count,
    /// How often an entry was sent again.
    pub sent_again: u64,
    /// Answers that nobody should see.
    pub unexpected: Vec<String>,
    /// What `fillmark verify` says afterwards.
    pub verified: Result<String, String>,
}

impl Outcome {
    /// Of what was written to a database that nobody is on any more.
    pub(super) async fn of(written: Written, yard: &Yard) -> Outcome {
        Outcome {
            count: written.count(&yard.fresh, yard.received_ml).await,
            sent_again: written.sent_again,
            unexpected: written.unexpected,
            verified: run(&yard.fresh, &["verify"]),
        }
    }

    /// Whether all that was acknowledged is there, once, and nobody saw an answer that they should not.
    pub fn is_whole(&self) -> bool {
        let Count { acknowledged, lost, twice, balance_off } = self.count;
        acknowledged > 0
            && (lost, twice, balance_off) == (0, 0, 0)
            && self.unexpected.is_empty()
            && self.verified.is_ok()
    }
}

impl Load {
    /// So many writers begin, with clients that know these addresses.
    /// # Panics
    /// When they cannot sign in.
    pub async fn start(addresses: &[&str], feeding: Feeding, writers: usize) -> Load {
        let (stop, acknowledged) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU64::new(0)));
        let mut load = Load { stop, acknowledged, writers: JoinSet::new() };
        for _ in 0..writers {
            let client = Client::of_several(addresses).expect("a client");
            client.sign_in("ada", PASSWORD).await.expect("a session");
            let (stop, acknowledged) = (load.stop.clone(), load.acknowledged.clone());
            load.writers.spawn(async move {
                let mut written = Written::default();
                let mut turn = 0;
                while !stop.load(Ordering::Relaxed) {
                    written.write(&client, feeding, turn).await;
                    turn += 1;
                    acknowledged.fetch_add(1, Ordering::Relaxed);
                }
                written
            });
        }
        load
    }

    /// How many requests were acknowledged up to now.
    pub fn acknowledged(&self) -> u64 {
        self.acknowledged.load(Ordering::Relaxed)
    }

    /// Waits until so many more requests are acknowledged.
    pub async fn more(&self, requests: u64) {
        let enough = self.acknowledged() + requests;
        while self.acknowledged() < enough {
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    }

    /// Lets every writer finish what it has begun.
    pub async fn stop(self) -> Written {
        self.stop.store(true, Ordering::Relaxed);
        let mut all = Written::default();
        for written in self.writers.join_all().await {
            all.readings.extend(written.readings);
            all.additions.extend(written.additions);
            all.sent_again += written.sent_again;
            all.unexpected.extend(written.unexpected);
        }
        all
    }
}

/// One request of a writer.
enum Entry {
    Reading(NewReading),
    Readings(ReadingBatch),
    Addition(NewAddition),
}

impl Entry {
    fn new(feeding: Feeding, turn: usize) -> Entry {
        match turn % 4 {
            0 => Entry::Addition(addition(feeding)),
            1 => Entry::Readings(ReadingBatch { items: (0..BATCH).map(|_| reading(feeding)).collect() }),
            _ => Entry::Reading(reading(feeding)),
        }
    }

    /// Sends it; an answer tells what parts of it were refused.
    async fn send(&self, client: &Client, site: Uuid) -> Result<Vec<String>, ClientError> {
        match self {
            Entry::Reading(reading) => client.record_reading(site, reading).await.map(|_| Vec::new()),
            Entry::Addition(addition) => client.record_addition(site, addition).await.map(|_| Vec::new()),
            Entry::Readings(batch) => client.record_readings(site, batch).await.map(refused),
        }
    }
}

impl Written {
    /// Enters the next thing, again and again until it is acknowledged.
    async fn write(&mut self, client: &Client, feeding: Feeding, turn: usize) {
        let entry = Entry::new(feeding, turn);
        loop {
            match entry.send(client, feeding.here.site).await {
                Ok(refused) => {
                    self.unexpected.extend(refused);
                    break;
                }
                Err(ClientError::Refused(problem)) if problem.status != 503 => {
                    self.unexpected.push(format!("{}: {}", problem.status, problem.detail));
                }
                Err(_) => self.sent_again += 1,
            }
            tokio::time::sleep(PAUSE).await;
        }
        match entry {
            Entry::Reading(reading) => self.readings.push(reading.client_id),
            Entry::Addition(addition) => self.additions.push(addition.client_id),
            Entry::Readings(batch) => {
                self.readings.extend(batch.items.iter().map(|reading| reading.client_id));
            }
        }
    }

    /// Looks at a database that nobody writes to, which had received so many mL before.
    /// # Panics
    /// When it cannot be read.
    pub async fn count(&self, fresh: &Fresh, received_ml: i64) -> Count {
        let store = Store::open(&fresh.settings.where_kept(), 1).await.expect("the database");
        let (readings, additions) =
            (client_ids(&store, "readings").await, client_ids(&store, "additions").await);
        let held = number(&store, "select cast(sum(balance) as bigint) as n from holdings").await;
        store.close().await.expect("a closed database");
        let there: HashSet<Uuid> = readings.iter().chain(&additions).copied().collect();
        let acknowledged = self.readings.iter().chain(&self.additions);
        Count {
            acknowledged: self.readings.len() + self.additions.len(),
            lost: acknowledged.filter(|id| !there.contains(id)).count(),
            twice: readings.len() + additions.len() - there.len(),
            balance_off: held - (received_ml - self.additions.len() as i64) * 1000,
        }
    }
}

async fn client_ids(store: &Store, table: &str) -> Vec<Uuid> {
    let connection = store.for_migrations();
    let query = format!("select client_id from {table}");
    let rows =
        connection.query_all_raw(Statement::from_string(connection.get_database_backend(), query)).await;
    rows.expect("rows").iter().map(|row| row.try_get_by_index(0).expect("an id")).collect()
}

fn refused(answer: BatchAnswer) -> Vec<String> {
    let problems = answer.results.into_iter().filter_map(|result| result.problem);
    problems.map(|problem| format!("in a batch: {}: {}", problem.status, problem.detail)).collect()
}

/// A pH of the north tank that is in its band, read now.
pub(super) fn reading(feeding: Feeding) -> NewReading {
    json(
        value!({ "client_id": Uuid::now_v7(), "tank_id": feeding.here.north_tank, "sample_point": "tank", "metric": "ph",
        "value": { "value": 6.0, "unit": "[pH]" }, "recorded_at": Utc::now().to_rfc3339() }),
    )
}

fn addition(feeding: Feeding) -> NewAddition {
    json(
        value!({ "client_id": Uuid::now_v7(), "tank_id": feeding.here.north_tank, "product_id": feeding.grow_a,
        "amount": { "value": 1.0, "unit": "mL" }, "reason": "strength", "recorded_at": Utc::now().to_rfc3339() }),
    )
}
