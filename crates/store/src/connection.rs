//! Connections and transactions, the same words for both databases.

mod embedded;
mod shared;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use sea_orm::sea_query::{Func, FunctionCall, Query};
use sea_orm::sqlx::sqlite::SqliteSynchronous;
use sea_orm::{
    ConnectionTrait, DatabaseConnection, DatabaseTransaction, DbBackend, DbErr, SqliteTransactionMode,
    TransactionOptions, TransactionTrait,
};
use tokio::sync::Mutex;

use crate::StoreError;
use crate::plan::Plans;
use crate::standing::Standings;

/// So many statements a connection keeps prepared: those of a day, and the portions that entries are written in.
const STATEMENTS: usize = 200;

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
            Database::Sqlite { path } => embedded::open(path, connections, SqliteSynchronous::Full).await?,
            Database::Building { path } => embedded::open(path, connections, SqliteSynchronous::Off).await?,
            Database::Postgres { url } => shared::open(url, connections).await?,
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
