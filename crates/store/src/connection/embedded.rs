//! What is peculiar to the embedded database and its connections.

use std::fs::OpenOptions;
use std::io::Read as _;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::time::Duration;

use sea_orm::sqlx::sqlite::{SqliteConnection, SqliteJournalMode, SqliteSynchronous};
use sea_orm::sqlx::{self, Connection as _};
use sea_orm::{ConnectOptions, DatabaseConnection};

use super::STATEMENTS;
use crate::StoreError;

/// So many rows SQLite's thread reads ahead of whoever takes them: at each that is waited for, two threads change places.
const ROWS_AHEAD: usize = 1_000;

/// The connection that writes and those that only read.
pub(super) async fn open(
    path: &Path,
    connections: u32,
    waits: SqliteSynchronous,
) -> Result<(DatabaseConnection, DatabaseConnection), StoreError> {
    make(path)?;
    let writer = sea_orm::Database::connect(sqlite(path, 1, waits, false));
    let reader = sea_orm::Database::connect(sqlite(path, connections, waits, true));
    // Each reads the schema, which two cores do at once; but only one can make the file, or its log.
    match has_log(path) {
        true => Ok(tokio::try_join!(writer, reader)?),
        false => Ok((writer.await?, reader.await?)),
    }
}

/// Whether a database writes ahead into a log, by bytes 18 and 19 of its file (SQLite, Database File Format, section 1.3.3).
fn has_log(path: &Path) -> bool {
    let mut header = [0; 20];
    let read = std::fs::File::open(path).and_then(|mut file| file.read_exact(&mut header));
    read.is_ok() && header[18..] == [2, 2]
}

/// Makes the file where it is not there: it holds password hashes and signing keys, which are nobody else's to read. Its log
/// takes after it.
fn make(path: &Path) -> Result<(), StoreError> {
    let file = OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(path);
    file.map(drop).map_err(|source| StoreError::NoFile { path: path.to_owned(), source })
}

/// Whether a connection that comes back may be used again. SQLite ends a transaction by itself when a write fails, on a
/// full disk for one; the roll back that follows is refused then, and the connection takes itself to be inside of a
/// transaction for good. What the next one committed in it would only be a savepoint, and lost.
async fn is_at_rest(connection: &mut SqliteConnection) -> Result<bool, sqlx::Error> {
    // Waits for the roll back that a transaction left behind when it was dropped.
    connection.ping().await?;
    Ok(!connection.is_in_transaction())
}

fn sqlite(path: &Path, connections: u32, waits: SqliteSynchronous, reads_only: bool) -> ConnectOptions {
    let mut options = ConnectOptions::new(format!("sqlite://{}", path.display()));
    options
        .max_connections(connections)
        .min_connections(0)
        .acquire_timeout(Duration::from_secs(10))
        .test_before_acquire(false)
        .sqlx_logging(false)
        .map_sqlx_sqlite_pool_opts(|pool| {
            pool.after_release(|connection, _| Box::pin(is_at_rest(connection)))
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
