//! Whether all records are what was written.

use std::path::Path;
use std::time::Instant;

use fillmark_actions::App;
use fillmark_store::Database;
use fillmark_store::journal::chain::Head;
use fillmark_store::verify::{self, Found};
use uuid::Uuid;

use super::CommandError;
use super::backup::heads_in;

/// Looks at all records of a database: what was found, or what is not as it was written.
/// # Errors
/// [`CommandError::Broken`] when something is not, [`CommandError::Store`] when the database fails.
pub async fn verify(app: &App) -> Result<String, CommandError> {
    look(app, &[]).await
}

/// Looks at all records, and whether each journal still holds the entry that the manifest of a backup of this database names.
/// # Errors
/// See [`verify()`]; [`CommandError::Manifest`] when that is none.
pub async fn verify_against(app: &App, manifest: &Path) -> Result<String, CommandError> {
    let seen = heads_in(manifest).map_err(|source| CommandError::Manifest(Box::new(source)))?;
    let told = look(app, &seen).await?;
    Ok(format!("{told}{} journals hold the entries that the manifest names\n", seen.len()))
}

async fn look(app: &App, seen: &[(Uuid, Head)]) -> Result<String, CommandError> {
    let began = Instant::now();
    let tx = app.store.look().await?;
    let mut found = verify::all(&tx).await?;
    let seconds = began.elapsed().as_secs_f64();
    found.broken.extend(verify::against(&tx, seen).await?);
    if found.broken.is_empty() {
        let rows = (found.sealed + found.unsealed + found.entries) as f64 / seconds.max(1e-9);
        return Ok(format!("{}{seconds:.1} s, {rows:.0} rows/s\n", told(&found)));
    }
    let broken = found.broken.iter().map(|broken| format!("{broken}\n")).collect();
    Err(CommandError::Broken { count: found.broken.len(), broken })
}

/// Says that a database is there to be looked at: opened, one that is not would be made.
/// # Errors
/// [`CommandError::NoDatabase`].
pub fn refuse_absent(database: &Database) -> Result<(), CommandError> {
    match database {
        Database::Sqlite { path } | Database::Building { path } if !path.exists() => {
            Err(CommandError::NoDatabase { path: path.to_owned() })
        }
        Database::Sqlite { .. } | Database::Building { .. } | Database::Postgres { .. } => Ok(()),
    }
}

/// What was found where all is as it was written.
pub(super) fn told(found: &Found) -> String {
    format!(
        "{} entries of {} journals fit their chains, {} more are not sealed into them yet\n\
         {} of them tell what was entered, planned or settled, and it is so\n\
         {} balances are the sums of their movements\n",
        found.sealed, found.journals, found.unsealed, found.entries, found.balances
    )
}
