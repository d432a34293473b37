//! One server at a time on a folder: the embedded database belongs to whoever serves it.

use std::fs::{DirBuilder, File, OpenOptions, TryLockError};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use fillmark_store::Database;

/// The file whose lock tells that its folder is served. The system lets go of the lock however its holder ends.
const NAME: &str = "in-use";

/// Why a folder cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum HoldError {
    /// Another Fillmark has it.
    #[error("{path} is in use by another Fillmark; stop that one first, or use PostgreSQL to run several")]
    InUse {
        /// The folder.
        path: PathBuf,
    },
    /// It cannot be made or written to.
    #[error("cannot use the folder {path}")]
    Unusable {
        /// The folder.
        path: PathBuf,
        /// Why.
        #[source]
        source: std::io::Error,
    },
}

/// A folder that no other Fillmark serves, until this is dropped.
#[derive(Debug)]
pub struct Hold(#[expect(dead_code, reason = "the open file holds the lock")] File);

impl Hold {
    /// Takes the folder of an embedded database, which is made when it is not there. PostgreSQL is shared: there is
    /// nothing to take.
    /// # Errors
    /// [`HoldError`].
    pub fn of(database: &Database) -> Result<Option<Self>, HoldError> {
        match database.folder() {
            Some(folder) => Self::take(folder).map(Some),
            None => Ok(None),
        }
    }

    /// Takes a folder, which is made when it is not there.
    /// # Errors
    /// [`HoldError`].
    pub fn take(folder: &Path) -> Result<Self, HoldError> {
        let unusable = |source| HoldError::Unusable { path: folder.to_owned(), source };
        make(folder)?;
        let mut options = OpenOptions::new();
        options.create(true).truncate(false).write(true).mode(0o600);
        let file = options.open(folder.join(NAME)).map_err(unusable)?;
        match file.try_lock() {
            Ok(()) => Ok(Self(file)),
            Err(TryLockError::WouldBlock) => Err(HoldError::InUse { path: folder.to_owned() }),
            Err(TryLockError::Error(source)) => Err(unusable(source)),
        }
    }
}

/// Makes a folder for a database. It will hold password hashes and signing keys: nobody else's to read.
/// # Errors
/// [`HoldError::Unusable`].
pub fn make(folder: &Path) -> Result<(), HoldError> {
    let unusable = |source| HoldError::Unusable { path: folder.to_owned(), source };
    DirBuilder::new().recursive(true).mode(0o700).create(folder).map_err(unusable)
}
