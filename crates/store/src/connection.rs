//! Connections and transactions, the same words for both databases.

mod embedded;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use sea_orm::sea_query::{Func, FunctionCall, Query};
use sea_orm::sqlx::postgres::PgConnectOptions;
use sea_orm::sqlx::sqlite::{SqliteJournalMode, SqliteSynchronous};
use sea_orm::{
    ConnectOptions, ConnectionTrait, DatabaseConnection, DatabaseTransaction, DbBackend, DbErr,
    SqliteTransactionMode, TransactionOptions, TransactionTrait,
};
use tokio::sync::Mutex;

use crate::StoreError;
use crate::plan::Plans;
use crate::standing::Standings;

/// So long a request waits for a connection of PostgreSQL, for the rights of who sends it and then for its own. What was
/// asked together with others is asked once more alone where that failed.
const LONGEST_WAIT: Duration = Duration::from_secs(1);

/// What each session of PostgreSQL begins with. The locks of a server that is paused in a transaction are broken, and it is undone.
const OF_EACH_SESSION: [(&str, &str); 3] =
    [("jit", "off"), ("timezone", "UTC"), ("idle_in_transaction_session_timeout", "10s")];

/// What sessions that only read begin with besides: told once, each of their transactions sees one state of the database
/// and begins with one statement instead of three.
const OF_EACH_READING: [(&str, &str); 2] =
    [("default_transaction_isolation", "repeatable read"), ("default_transaction_read_only", "on")];

/// So many statements a connection keeps prepared: those of a day, and the portions that entries are written in.
const STATEMENTS: usize = 200;

/// So many rows SQLite's thread reads ahead of whoever takes them: at each that is waited for, two threads change places.
const ROWS_AHEAD: usize = 1_000;

/// While one transaction of PostgreSQL waits, others can go on; with more than a few, each would hold less of what shares a wait.
const WRITERS: usize = 4;

/// Where the records are kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Database {
    /// A file of the embedded database; its folder exists.
    Sqlite {
        /// Path of the file.
        path: std::path::PathBuf,
    },
    /// A file of the embedded database that is being built and thrown away when that fails: nothing waits for the disk.
    Building {
        /// Path of the file.
        path: std::path::PathBuf,
    },
    /// A PostgreSQL server.
    Postgres {
        /// `postgres://…`
        url: String,
    },
}

impl Database {
    /// The folder that an embedded database is kept in.
    pub fn folder(&self) -> Option<&std::path::Path> {
        match self {
            Database::Sqlite { path } | Database::Building { path } => path.parent(),
            Database::Postgres { .. } => None,
        }
    }
}

/// Connections to one database: one that writes, several that read.
#[derive(Debug, Clone)]
pub struct Store {
    writer: DatabaseConnection,
    reader: DatabaseConnection,
    memory: Memory,
    within: Option<Unit>,
}

/// What a store remembers of what it has read.
#[derive(Debug, Clone, Default)]
struct Memory {
    plans: Plans,
    standings: Standings,
    /// Whether the transaction that it comes with, or the unit of work around it, has changed who may do what.
    stale: Arc<AtomicBool>,
}

impl Memory {
    /// For a transaction that has changed nothing yet.
    fn afresh(&self) -> Memory {
        Memory { stale: Arc::default(), ..self.clone() }
    }
}

/// A unit of work: what is begun in its store is kept together by its one commit, or not at all.
#[derive(Debug, Clone)]
pub struct Unit(Arc<Mutex<Option<Tx>>>);

/// One transaction; dropping it without a commit rolls back. With it comes what its store remembers.
#[derive(Debug)]
pub struct Tx(pub(crate) DatabaseTransaction, Memory);

impl Store {
    /// Connects, by two connections at once where it can. The embedded database is made when it is not there.
    /// # Errors
    /// When the database cannot be reached or opened.
    pub async fn open(database: &Database, connections: u32) -> Result<Store, StoreError> {
        let (writer, reader) = match database {
            Database::Sqlite { path } => embedded(path, connections, SqliteSynchronous::Full).await?,
            Database::Building { path } => embedded(path, connections, SqliteSynchronous::Off).await?,
            Database::Postgres { url } => {
                let writer = connect(postgres(url, connections.div_ceil(2), &[]));
                let reader = connect(postgres(url, (connections / 2).max(1), &OF_EACH_READING));
                tokio::try_join!(writer, reader)?
            }
        };
        Ok(Store { writer, reader, memory: Memory::default(), within: None })
    }

    /// A transaction that writes: immediate on SQLite, so that it never fails half way for a lock.
    /// # Errors
    /// When no connection can be had.
    pub async fn begin(&self) -> Result<Tx, StoreError> {
        if let Some(unit) = &self.within {
            return unit.begin().await;
        }
        let immediate = Some(SqliteTransactionMode::Immediate);
        let options = TransactionOptions { sqlite_transaction_mode: immediate, ..Default::default() };
        self.begun(&self.writer, options).await
    }

    /// A transaction that only reads, and sees one state of the database from its first query to its last.
    /// # Errors
    /// When no connection can be had.
    pub async fn look(&self) -> Result<Tx, StoreError> {
        if let Some(unit) = &self.within {
            return unit.begin().await;
        }
        self.begun(&self.reader, TransactionOptions::default()).await
    }

    /// Begins by a task of its own. Whoever asks may be gone before the database answers, a request with a body that cannot
    /// be read for one: its connection, half way into a transaction, would be given to the next.
    async fn begun(&self, on: &DatabaseConnection, options: TransactionOptions) -> Result<Tx, StoreError> {
        let on = on.clone();
        let begun = tokio::spawn(async move { on.begin_with_options(options).await }).await;
        let begun = begun.map_err(|cut_off| DbErr::Custom(cut_off.to_string()))??;
        Ok(Tx(begun, self.memory.afresh()))
    }

    /// A connection for one statement that reads, which needs no transaction around it. It sees what is committed, not what a
    /// unit of work has done so far.
    pub(crate) fn glance(&self) -> &DatabaseConnection {
        &self.reader
    }

    /// Begins a unit of work. Transactions of the store that comes with it are savepoints: one that is dropped
    /// takes back its own, and all that were committed are kept when the unit is.
    /// # Errors
    /// When no connection can be had.
    pub async fn unit(&self) -> Result<(Store, Unit), StoreError> {
        let unit = Unit(Arc::new(Mutex::new(Some(self.begin().await?))));
        Ok((Store { within: Some(unit.clone()), ..self.clone() }, unit))
    }

    /// How many transactions that write the same tables are worth having at a time.
    pub fn writers(&self) -> usize {
        match self.writer.get_database_backend() {
            DbBackend::Postgres => WRITERS,
            _ => 1,
        }
    }

    /// The standings that it remembers.
    pub(crate) fn standings(&self) -> &Standings {
        &self.memory.standings
    }

    /// Whether what is begun in it is part of a unit of work.
    pub fn is_within_unit(&self) -> bool {
        self.within.is_some()
    }

    /// A connection that reads, for whoever asks how the schema stands.
    pub fn for_looking(&self) -> &DatabaseConnection {
        &self.reader
    }

    /// The writing connection, for the migrations at start.
    pub fn for_migrations(&self) -> &DatabaseConnection {
        &self.writer
    }

    /// How many connections there are, and how many of them nobody uses now.
    pub fn connections(&self) -> (u32, usize) {
        let of = |connection: &DatabaseConnection| match connection.get_database_backend() {
            DbBackend::Postgres => {
                let pool = connection.get_postgres_connection_pool();
                (pool.size(), pool.num_idle())
            }
            _ => {
                let pool = connection.get_sqlite_connection_pool();
                (pool.size(), pool.num_idle())
            }
        };
        let (writer, reader) = (of(&self.writer), of(&self.reader));
        (writer.0 + reader.0, writer.1 + reader.1)
    }

    /// Whether the database answers, and a connection can be had: on PostgreSQL one that writes too, while the embedded
    /// database has but one, which somebody may be waiting for in good order.
    /// # Errors
    /// When it does not.
    pub async fn ping(&self) -> Result<(), StoreError> {
        if self.writer.get_database_backend() == DbBackend::Postgres {
            self.writer.ping().await?;
        }
        Ok(self.reader.ping().await?)
    }

    /// Closes all connections; the embedded database folds its log into its file.
    /// # Errors
    /// When the database cannot be closed in order.
    pub async fn close(self) -> Result<(), StoreError> {
        self.reader.close_by_ref().await?;
        if self.writer.get_database_backend() == DbBackend::Sqlite {
            self.writer.execute_unprepared("pragma wal_checkpoint(truncate)").await?;
        }
        Ok(self.writer.close().await?)
    }
}

impl Unit {
    /// Keeps all that was committed in it. Nothing can be begun in it any more.
    /// # Errors
    /// When the database could not; then nothing is kept.
    pub async fn commit(self) -> Result<(), StoreError> {
        let tx = self.0.lock().await.take().ok_or(StoreError::UnitEnded)?;
        tx.commit().await
    }

    async fn begin(&self) -> Result<Tx, StoreError> {
        let held = self.0.lock().await;
        let tx = held.as_ref().ok_or(StoreError::UnitEnded)?;
        Ok(Tx(tx.0.begin_with_options(TransactionOptions::default()).await?, tx.1.clone()))
    }
}

impl Tx {
    /// Keeps all that was done in it.
    /// # Errors
    /// When the database could not; then nothing is kept.
    pub async fn commit(self) -> Result<(), StoreError> {
        let Tx(tx, memory) = self;
        tx.commit().await?;
        if memory.stale.load(Ordering::Relaxed) {
            memory.standings.forget();
        }
        Ok(())
    }

    /// Waits for the turn to do what one may do at a time, and has it until this transaction ends.
    /// # Errors
    /// When the database fails.
    pub async fn take_turn(&self, at: &str) -> Result<(), StoreError> {
        // The embedded database has one writer: whoever has begun has every turn.
        if self.is_postgres() {
            self.0.execute(&Query::select().expr(turn(at)).to_owned()).await?;
        }
        Ok(())
    }

    /// The turn to do what one may do at a time, until this transaction ends; none where another has it. Transactions that only
    /// read have turns too.
    /// # Errors
    /// When the database fails.
    pub async fn try_turn(&self, at: &str) -> Result<bool, StoreError> {
        // The embedded database has one server.
        if !self.is_postgres() {
            return Ok(true);
        }
        let asked = Query::select().expr_as(turn_by("pg_try_advisory_xact_lock", at), "free").to_owned();
        let row = self.0.query_one(&asked).await?;
        Ok(row.map(|row| row.try_get::<bool>("", "free")).transpose()?.unwrap_or(false))
    }

    /// The plans that its store remembers.
    pub(crate) fn plans(&self) -> &Plans {
        &self.1.plans
    }

    /// Says that this transaction changes who may do what: once it is kept, nobody's standing is remembered.
    pub(crate) fn changes_standings(&self) {
        self.1.stale.store(true, Ordering::Relaxed);
    }

    pub(crate) fn is_postgres(&self) -> bool {
        self.0.get_database_backend() == DbBackend::Postgres
    }
}

/// PostgreSQL's lock of a name, held until the transaction ends.
pub(crate) fn turn(at: &str) -> FunctionCall {
    turn_by("pg_advisory_xact_lock", at)
}

fn turn_by(lock: &'static str, at: &str) -> FunctionCall {
    Func::cust(lock).arg(Func::cust("hashtextextended").arg(at).arg(0i64))
}

async fn connect(options: ConnectOptions) -> Result<DatabaseConnection, StoreError> {
    let url = options.get_url();
    if url.starts_with("postgres") && url.parse::<PgConnectOptions>().is_err() {
        // It holds a password: what cannot be read of it is not told.
        return Err(StoreError::NoAddress);
    }
    Ok(sea_orm::Database::connect(options).await?)
}

fn postgres(url: &str, connections: u32, besides: &'static [(&str, &str)]) -> ConnectOptions {
    let mut options = ConnectOptions::new(url);
    options
        .max_connections(connections)
        .min_connections(0)
        .acquire_timeout(LONGEST_WAIT)
        .test_before_acquire(false)
        .sqlx_logging(false)
        .map_sqlx_postgres_opts(|options| {
            options
                .options(OF_EACH_SESSION)
                .options(besides.iter().copied())
                .statement_cache_capacity(STATEMENTS)
        });
    options
}

async fn embedded(
    path: &std::path::Path,
    connections: u32,
    waits: SqliteSynchronous,
) -> Result<(DatabaseConnection, DatabaseConnection), StoreError> {
    let writer = connect(sqlite(path, 1, waits, false));
    let reader = connect(sqlite(path, connections, waits, true));
    // Each reads the schema, which two cores do at once; but only one can make the file, or its log.
    match embedded::has_log(path) {
        true => tokio::try_join!(writer, reader),
        false => Ok((writer.await?, reader.await?)),
    }
}

fn sqlite(
    path: &std::path::Path,
    connections: u32,
    waits: SqliteSynchronous,
    reads_only: bool,
) -> ConnectOptions {
    let mut options = ConnectOptions::new(format!("sqlite://{}", path.display()));
    options
        .max_connections(connections)
        .min_connections(0)
        .acquire_timeout(Duration::from_secs(10))
        .test_before_acquire(false)
        .sqlx_logging(false)
        .map_sqlx_sqlite_pool_opts(|pool| {
            pool.after_release(|connection, _| Box::pin(embedded::is_at_rest(connection)))
        })
        .map_sqlx_sqlite_opts(move |options| {
            let options = options
                .create_if_missing(true)
                .foreign_keys(true)
                .journal_mode(SqliteJournalMode::Wal)
                .synchronous(waits)
                .busy_timeout(Duration::from_secs(10))
                .statement_cache_capacity(STATEMENTS)
                .row_buffer_size(ROWS_AHEAD);
            // What is being built is read again and again: it is kept in memory as far as it goes.
            let options = match waits {
                SqliteSynchronous::Off => {
                    options.pragma("cache_size", "-65536").pragma("mmap_size", "536870912")
                }
                _ => options,
            };
            if reads_only { options.pragma("query_only", "on") } else { options }
        });
    options
}
