//! What is peculiar to PostgreSQL and its connections.

use std::sync::Arc;
use std::time::Duration;

use sea_orm::sqlx::Connection as _;
use sea_orm::sqlx::postgres::{PgConnectOptions, PgConnection};
use sea_orm::{ConnectOptions, DatabaseConnection, DbErr, RuntimeErr};

use super::STATEMENTS;
use crate::StoreError;

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

/// Connections that write and such that only read.
pub(super) async fn open(
    url: &str,
    connections: u32,
) -> Result<(DatabaseConnection, DatabaseConnection), StoreError> {
    match both(url, connections).await {
        // A pool says only for how long it tried. A server that answers one alone was but slow: it is asked once more.
        Err(StoreError::Unavailable(_)) => match reason(url).await {
            Some(reason) => Err(StoreError::Unavailable(reason)),
            None => both(url, connections).await,
        },
        opened => opened,
    }
}

async fn both(url: &str, connections: u32) -> Result<(DatabaseConnection, DatabaseConnection), StoreError> {
    let writer = connect(url, connections.div_ceil(2), &[]);
    let reader = connect(url, (connections / 2).max(1), &OF_EACH_READING);
    tokio::try_join!(writer, reader)
}

/// Why no connection can be had, where one that is tried alone tells it.
async fn reason(url: &str) -> Option<DbErr> {
    let options: PgConnectOptions = url.parse().ok()?;
    let tried = tokio::time::timeout(LONGEST_WAIT, PgConnection::connect_with(&options)).await;
    Some(DbErr::Conn(RuntimeErr::SqlxError(Arc::new(tried.ok()?.err()?))))
}

async fn connect(
    url: &str,
    connections: u32,
    besides: &'static [(&str, &str)],
) -> Result<DatabaseConnection, StoreError> {
    if url.parse::<PgConnectOptions>().is_err() {
        // It holds a password: what cannot be read of it is not told.
        return Err(StoreError::NoAddress);
    }
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
    Ok(sea_orm::Database::connect(options).await?)
}
