//! From the embedded database to PostgreSQL: all rows, shown to be equal on both sides before anything is kept.

use std::time::Instant;

use fillmark_store::carry::{self, CarryError, Content, Table};
use fillmark_store::summary::summary;
use fillmark_store::{Database, Store, StoreError, Tx, verify};

use crate::hold::{Hold, HoldError};

/// Why a database was not moved; it is where it was, and the other is as it was.
#[derive(Debug, thiserror::Error)]
pub enum MoveError {
    /// Only from a folder to PostgreSQL.
    #[error("this moves an embedded database to PostgreSQL: --database names a folder, --to a postgres://…")]
    NotThisWay,
    /// There is nothing to move.
    #[error("there is no database in {path}")]
    Nothing {
        /// Where it was looked for.
        path: std::path::PathBuf,
    },
    /// A server runs on the folder.
    #[error(transparent)]
    Held(#[from] HoldError),
    /// The schema of one of them cannot be brought up.
    #[error(transparent)]
    Schema(#[from] fillmark_migrations::MigrationError),
    /// Rows cannot be carried.
    #[error(transparent)]
    Carry(#[from] CarryError),
    /// Sums or journals differ.
    #[error("the sums of balances or the journals differ")]
    Unequal,
    /// Records are not what was written.
    #[error("{count} not as written:\n{broken}")]
    Broken {
        /// How many.
        count: usize,
        /// Each on a line.
        broken: String,
    },
    /// A database fails.
    #[error("a database cannot be read or written")]
    Store(#[from] StoreError),
}

/// Carries all rows of an embedded database to an empty one of PostgreSQL, and says what was carried.
/// # Errors
/// [`MoveError`]; nothing is kept then.
pub async fn carry(from: &Database, to: &Database) -> Result<String, MoveError> {
    let began = Instant::now();
    let (Database::Sqlite { path }, Database::Postgres { .. }) = (from, to) else {
        return Err(MoveError::NotThisWay);
    };
    if !path.exists() {
        return Err(MoveError::Nothing { path: path.clone() });
    }
    let _hold = Hold::of(from)?;
    let (from, to) = (Store::open(from, 1).await?, Store::open(to, 2).await?);
    fillmark_migrations::bring_up(from.for_migrations()).await?;
    fillmark_migrations::bring_up(to.for_migrations()).await?;
    let (read, written) = (from.look().await?, to.begin().await?);
    let tables = carry::tables(&read, &written).await?;
    let mut rows = 0;
    for table in &tables {
        let left = carry::carry(&read, &written, table).await?;
        refuse_unequal(table, left, carry::content(&written, table).await?)?;
        rows += left.rows;
    }
    look_at(&read, &written).await?;
    drop(read);
    written.commit().await?;
    from.close().await?;
    to.close().await?;
    Ok(format!(
        "{rows} rows of {} tables are equal on both sides, sums and journals agree, {:.1} s\n\
         Start the server with the new database; the folder stays as it is and may be kept as a backup.\n",
        tables.len(),
        began.elapsed().as_secs_f64()
    ))
}

fn refuse_unequal(table: &Table, left: Content, arrived: Content) -> Result<(), CarryError> {
    if left == arrived {
        return Ok(());
    }
    Err(CarryError::Unequal { table: table.name().to_owned(), left, arrived })
}

async fn look_at(read: &Tx, written: &Tx) -> Result<(), MoveError> {
    if summary(read).await? != summary(written).await? {
        return Err(MoveError::Unequal);
    }
    let found = verify::all(written).await?;
    if found.broken.is_empty() {
        return Ok(());
    }
    let broken = found.broken.iter().map(|broken| format!("{broken}\n")).collect();
    Err(MoveError::Broken { count: found.broken.len(), broken })
}
