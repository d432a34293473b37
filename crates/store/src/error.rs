//! What can go wrong between an action and its rows.

use sea_orm::{DbErr, SqlErr};
use uuid::Uuid;

/// The store could not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// A row that breaks a rule of the domain.
    #[error(transparent)]
    Broken(#[from] BrokenRow),
    /// A name, number or key is taken.
    #[error("a unique value is taken already")]
    Taken(#[source] DbErr),
    /// The database cannot be reached, is full, or answers too late.
    #[error("the database is not available")]
    Unavailable(#[source] DbErr),
    /// Another transaction held a lock for longer than this one waits.
    #[error("another transaction holds a lock")]
    Held(#[source] DbErr),
    /// A unit of work was committed, and something was begun in it all the same.
    #[error("the unit of work has ended")]
    UnitEnded,
    /// Anything else the database refused.
    #[error("the database refused a statement")]
    Database(#[source] DbErr),
    /// The schema is newer than this binary.
    #[error("the database was written by a newer version ({newest}); update this binary")]
    Newer {
        /// The newest change of the schema found.
        newest: String,
    },
}

impl From<DbErr> for StoreError {
    fn from(error: DbErr) -> Self {
        match error.sql_err() {
            Some(SqlErr::UniqueConstraintViolation(_)) => StoreError::Taken(error),
            _ if postgres_code(&error).as_deref() == Some("55P03") => StoreError::Held(error),
            _ if is_unavailable(&error) => StoreError::Unavailable(error),
            _ => StoreError::Database(error),
        }
    }
}

fn is_unavailable(error: &DbErr) -> bool {
    match error {
        DbErr::ConnectionAcquire(_) | DbErr::Conn(_) => true,
        DbErr::Exec(runtime) | DbErr::Query(runtime) => {
            // 5 busy, 13 full, 10 I/O (SQLite); 57P0x shutdown, 53xxx resources, 57014 timeout, 40xxx retry (PostgreSQL).
            let text = runtime.to_string();
            ["(code: 5)", "(code: 13)", "(code: 10)", "(code: 517)"].iter().any(|code| text.contains(code))
                || matches!(runtime, sea_orm::RuntimeErr::SqlxError(_))
                    && postgres_code(error).is_some_and(|code| {
                        ["57P", "53", "57014", "40"].iter().any(|prefix| code.starts_with(prefix))
                    })
        }
        _ => false,
    }
}

fn postgres_code(error: &DbErr) -> Option<String> {
    let (DbErr::Exec(sea_orm::RuntimeErr::SqlxError(inner))
    | DbErr::Query(sea_orm::RuntimeErr::SqlxError(inner))) = error
    else {
        return None;
    };
    match inner.as_ref() {
        sea_orm::sqlx::Error::Database(database) => database.code().map(|code| code.into_owned()),
        _ => None,
    }
}

/// A row holds what no code can have written.
#[derive(Debug, thiserror::Error)]
#[error("row {id} of {table}: {what}")]
pub struct BrokenRow {
    /// The table.
    pub table: &'static str,
    /// The row.
    pub id: Uuid,
    /// What is wrong with it.
    pub what: String,
}
