//! The schema, one file per change, the same text for both databases.
//!
//! To add a change: a new file with a later number, a line in [`Changes`]. Released files are never edited.
//! The text is SQL that SQLite and PostgreSQL both read: `uuid`, `text`, `bigint`, `double precision`, `boolean`,
//! `timestamptz`, `date` and `jsonb` columns (SQLite takes the names as they are). Keys and indexes of a site's
//! tables start with `site_id`. No database-side defaults for times: the two databases write them differently.

mod m0001_people;
mod m0002_places;
mod m0003_growing;
mod m0004_stock;
mod m0005_entries;
mod m0006_work;
mod m0007_answers;
mod m0008_readings_of_changes;
mod m0009_chain;
mod m0010_unsettled_checks;
mod m0011_sign_ins;
mod m0012_devices;
mod m0013_reviews;
mod m0014_counts;
mod m0015_taken_back;
mod m0016_plan_marks;
mod m0017_labels;
mod m0018_advice;
mod m0019_outcomes;
mod m0020_forecasts;
mod m0021_approvals;
mod m0022_sharing;
mod m0023_moves;
mod m0024_handing;
mod m0025_for_whom;
mod m0026_alerts_about;
mod m0027_slips_reversed;
mod m0028_calibrated_meters;
mod m0029_taken_out;
mod m0030_spent_tokens;
mod m0031_counts_listed;

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::{
    ConnectionTrait, DatabaseConnection, DbBackend, SqliteTransactionMode, Statement, TransactionOptions,
    TransactionTrait,
};

/// Every change of the schema, oldest first.
#[derive(Debug)]
pub struct Changes;

#[async_trait::async_trait]
impl MigratorTrait for Changes {
    fn migrations() -> Vec<Box<dyn MigrationTrait>> {
        vec![
            Change::new("m0001_people", m0001_people::UP),
            Change::new("m0002_places", m0002_places::UP),
            Change::new("m0003_growing", m0003_growing::UP),
            Change::new("m0004_stock", m0004_stock::UP),
            Change::new("m0005_entries", m0005_entries::UP),
            Change::new("m0006_work", m0006_work::UP),
            Change::new("m0007_answers", m0007_answers::UP),
            Change::new("m0008_readings_of_changes", m0008_readings_of_changes::UP),
            Box::new(Change { name: "m0009_chain", up: m0009_chain::UP, then: Some(m0009_chain::then) }),
            Change::new("m0010_unsettled_checks", m0010_unsettled_checks::UP),
            Change::new("m0011_sign_ins", m0011_sign_ins::UP),
            Change::new("m0012_devices", m0012_devices::UP),
            Box::new(Change {
                name: "m0013_reviews",
                up: m0013_reviews::UP,
                then: Some(m0013_reviews::then),
            }),
            Change::new("m0014_counts", m0014_counts::UP),
            Change::new("m0015_taken_back", m0015_taken_back::UP),
            Box::new(Change {
                name: "m0016_plan_marks",
                up: m0016_plan_marks::UP,
                then: Some(m0016_plan_marks::then),
            }),
            Box::new(Change { name: "m0017_labels", up: m0017_labels::UP, then: Some(m0017_labels::then) }),
            Change::new("m0018_advice", m0018_advice::UP),
            Box::new(Change {
                name: "m0019_outcomes",
                up: m0019_outcomes::UP,
                then: Some(m0019_outcomes::then),
            }),
            Box::new(Change {
                name: "m0020_forecasts",
                up: m0020_forecasts::UP,
                then: Some(m0020_forecasts::then),
            }),
            Change::new("m0021_approvals", m0021_approvals::UP),
            Change::new("m0022_sharing", m0022_sharing::UP),
            Change::new("m0023_moves", m0023_moves::UP),
            Change::new("m0024_handing", m0024_handing::UP),
            Change::new("m0025_for_whom", m0025_for_whom::UP),
            Change::new("m0026_alerts_about", m0026_alerts_about::UP),
            Box::new(Change {
                name: "m0027_slips_reversed",
                up: m0027_slips_reversed::UP,
                then: Some(m0027_slips_reversed::then),
            }),
            Change::new("m0028_calibrated_meters", m0028_calibrated_meters::UP),
            Change::new("m0029_taken_out", m0029_taken_out::UP),
            Change::new("m0030_spent_tokens", m0030_spent_tokens::UP),
            Change::new("m0031_counts_listed", m0031_counts_listed::UP),
        ]
    }
}

/// Why the schema could not be brought up.
#[derive(Debug, thiserror::Error)]
pub enum MigrationError {
    /// The database was written by a newer binary.
    #[error("the database was written by a newer version of Fillmark (it has {newest}); update this binary")]
    Newer {
        /// The newest change found that this binary does not know.
        newest: String,
    },
    /// The database lacks changes, and this server is not to make them.
    #[error("the database's schema is older than this binary; run fillmark migrate")]
    Older,
    /// The database refused.
    #[error("the database refused a change of the schema")]
    Refused(#[from] DbErr),
}

/// Whether a database is as this binary would leave it, by a connection that need only read.
/// # Errors
/// [`MigrationError::Newer`], or when the database fails.
pub async fn is_brought_up(connection: &DatabaseConnection) -> Result<bool, MigrationError> {
    let known = known();
    let applied = applied(connection).await?;
    refuse_newer(&known, &applied)?;
    Ok(known.iter().all(|change| applied.contains(change)))
}

/// Brings an empty or older database to this binary's schema, one process at a time.
/// # Errors
/// [`MigrationError`]; nothing is changed then.
pub async fn bring_up(connection: &DatabaseConnection) -> Result<(), MigrationError> {
    // All in one transaction under a lock: PostgreSQL by an advisory lock that ends with it, SQLite by being
    // the only writer. A second process waits, then finds nothing to do.
    let options = TransactionOptions {
        isolation_level: None,
        access_mode: None,
        sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
    };
    let tx = connection.begin_with_options(options).await?;
    if tx.get_database_backend() == DbBackend::Postgres {
        tx.execute_unprepared("select pg_advisory_xact_lock(7018265544)").await?;
    }
    refuse_newer(&known(), &applied(&tx).await?)?;
    Changes::up(&tx, None).await?;
    tx.commit().await?;
    Ok(())
}

/// Whether a database has every change that this binary knows; a newer instance may have made more.
/// # Errors
/// When the database fails.
pub async fn is_current(connection: &DatabaseConnection) -> Result<bool, DbErr> {
    let applied = applied(connection).await?;
    Ok(known().iter().all(|change| applied.contains(change)))
}

/// The names of the changes this binary knows, oldest first.
pub fn known() -> Vec<String> {
    Changes::migrations().iter().map(|change| change.name().to_owned()).collect()
}

fn refuse_newer(known: &[String], applied: &[String]) -> Result<(), MigrationError> {
    match applied.iter().find(|change| !known.contains(change)) {
        Some(newest) => Err(MigrationError::Newer { newest: newest.clone() }),
        None => Ok(()),
    }
}

/// The names of the changes that a database has had, oldest first.
async fn applied(connection: &impl ConnectionTrait) -> Result<Vec<String>, DbErr> {
    let backend = connection.get_database_backend();
    let table = match backend {
        // Asked of the view of all tables, a session that has just begun would first read what that is made of.
        DbBackend::Postgres => {
            "select 1 where to_regclass(quote_ident(current_schema()) || '.seaql_migrations') is not null"
        }
        _ => "select 1 from sqlite_master where name = 'seaql_migrations'",
    };
    if connection.query_one_raw(Statement::from_string(backend, table)).await?.is_none() {
        return Ok(Vec::new());
    }
    let applied = Statement::from_string(backend, "select version from seaql_migrations order by version");
    connection.query_all_raw(applied).await?.iter().map(|row| row.try_get_by_index(0)).collect()
}

/// Triggers by which a database refuses to change or remove rows of a table; [`m0009_chain`] made what they call.
fn kept_once(backend: DbBackend, table: &str) -> String {
    if backend == DbBackend::Postgres {
        return format!(
            "create trigger {table}_are_kept before update or delete on {table} for each row execute function is_kept();\n\
             create trigger {table}_are_kept_whole before truncate on {table} for each statement execute function is_kept();\n"
        );
    }
    refusal(table, "update") + &refusal(table, "delete")
}

/// The trigger by which SQLite refuses a deed to the rows of a table.
fn refusal(table: &str, deed: &str) -> String {
    format!(
        "create trigger {table}_no_{deed} before {deed} on {table} begin select raise(abort, '{table} are kept as they are'); end;\n"
    )
}

/// A change given as SQL text, its statements parted by semicolons at line ends.
struct Change {
    name: &'static str,
    up: &'static str,
    /// What is said to each database in its own words, where they share none: triggers.
    then: Option<fn(DbBackend) -> String>,
}

impl Change {
    #[expect(clippy::new_ret_no_self, reason = "changes are only ever listed as what they do")]
    fn new(name: &'static str, up: &'static str) -> Box<dyn MigrationTrait> {
        Box::new(Self { name, up, then: None })
    }
}

impl MigrationName for Change {
    fn name(&self) -> &str {
        self.name
    }
}

#[async_trait::async_trait]
impl MigrationTrait for Change {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let connection = manager.get_connection();
        let own = self.then.map(|then| then(connection.get_database_backend())).unwrap_or_default();
        let statements = self.up.split(";\n").chain(own.split(";\n"));
        for statement in statements.map(str::trim).filter(|statement| !statement.is_empty()) {
            // A trigger of SQLite ends with a semicolon of its own.
            connection.execute_unprepared(&format!("{statement};")).await?;
        }
        Ok(())
    }

    fn use_transaction(&self) -> Option<bool> {
        // The whole of `bring_up` is one transaction already.
        Some(false)
    }
}
