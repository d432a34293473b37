//! The demo: an invented business with a year of history, made by a seeded generator through the same actions as real
//! entry, put in place only when it is complete.

mod build;
mod business;
mod cast;
mod print;
mod season;
mod trade;
mod vessel;
mod week;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, Utc};
use fillmark_actions::{App, Clock, Refusal};
use fillmark_store::Database;

use crate::hold::{self, Hold, HoldError};
use crate::{Settings, StartError};

/// Tells a folder that the demo made from one that holds somebody's records.
const MARK: &str = "THIS-IS-A-DEMO";
const MARK_TEXT: &str = "Made by `fillmark demo`; `fillmark demo --fresh` removes this folder.\n";

/// Why there is no demo.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// A folder of that name does not carry the demo's mark.
    #[error("{path} was not made by the demo, so it is left alone; move it away or start the demo elsewhere")]
    NotOurs {
        /// The folder.
        path: PathBuf,
    },
    /// A file or folder cannot be made or removed.
    #[error("{path}")]
    Files {
        /// The file or folder.
        path: PathBuf,
        /// Why.
        #[source]
        source: std::io::Error,
    },
    /// A demo is running in the folder.
    #[error(transparent)]
    Held(#[from] HoldError),
    /// The database or server cannot be started.
    #[error(transparent)]
    Start(#[from] StartError),
    /// An action was refused: a fault of the demo itself.
    #[error("the demo was refused something")]
    Refused(#[from] Refusal),
    /// The database cannot be closed.
    #[error("the database cannot be closed")]
    Store(#[from] fillmark_store::StoreError),
}

/// Makes the demo in a folder if it is not there, and answers the settings of a server on it.
/// # Errors
/// [`DemoError`]; a demo that is not complete is never put in place.
pub async fn prepare(folder: &Path, fresh: bool, clock: Arc<dyn Clock>) -> Result<Settings, DemoError> {
    let files = |source| DemoError::Files { path: folder.to_owned(), source };
    if folder.exists() && !folder.join(MARK).exists() {
        return Err(DemoError::NotOurs { path: folder.to_owned() });
    }
    if folder.exists() && fresh {
        let _hold = Hold::take(folder)?;
        std::fs::remove_dir_all(folder).map_err(files)?;
    }
    if !folder.exists() {
        let building = building_folder(folder);
        let _hold = begin(&building)?;
        build_in(&building, clock.now()).await?;
        std::fs::rename(&building, folder).map_err(files)?;
    }
    Ok(Settings { database: folder.display().to_string(), ..Settings::default() })
}

/// Prints where to open the demo, who can sign in, today's rounds, what to buy and a room's report.
/// # Errors
/// When something cannot be read.
pub async fn show(app: &App, address: &str) -> Result<(), DemoError> {
    Ok(print::print(app, address).await?)
}

/// Takes the folder that a demo is built in, and clears away what an earlier start did not finish.
fn begin(building: &Path) -> Result<Hold, DemoError> {
    let files = |source| DemoError::Files { path: building.to_owned(), source };
    if !building.exists() {
        hold::make(building)?;
        std::fs::write(building.join(MARK), MARK_TEXT).map_err(files)?;
    }
    if !building.join(MARK).exists() {
        return Err(DemoError::NotOurs { path: building.to_owned() });
    }
    let hold = Hold::take(building)?;
    for name in ["fillmark.sqlite", "fillmark.sqlite-wal", "fillmark.sqlite-shm"] {
        let unfinished = building.join(name);
        if unfinished.exists() {
            std::fs::remove_file(unfinished).map_err(files)?;
        }
    }
    Ok(hold)
}

fn building_folder(folder: &Path) -> PathBuf {
    let mut name = folder.file_name().unwrap_or_default().to_owned();
    name.push(".building");
    folder.with_file_name(name)
}

async fn build_in(folder: &Path, now: DateTime<Utc>) -> Result<(), DemoError> {
    let clock = Arc::new(Moved::at(now));
    let database = Database::Building { path: folder.join("fillmark.sqlite") };
    let app = crate::startup::open_database(&database, 2, clock.clone()).await?;
    build::build(&app, &clock, now).await?;
    app.store.close().await?;
    Ok(())
}

/// A clock that the year is written by.
#[derive(Debug)]
struct Moved(std::sync::atomic::AtomicI64);

impl Moved {
    fn at(instant: DateTime<Utc>) -> Self {
        Self(instant.timestamp_millis().into())
    }

    fn set(&self, instant: DateTime<Utc>) {
        self.0.store(instant.timestamp_millis(), std::sync::atomic::Ordering::SeqCst);
    }
}

impl Clock for Moved {
    fn now(&self) -> DateTime<Utc> {
        DateTime::from_timestamp_millis(self.0.load(std::sync::atomic::Ordering::SeqCst)).unwrap_or_default()
    }
}
