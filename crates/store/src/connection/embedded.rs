//! What is peculiar to the embedded database and its connections.

use std::io::Read as _;

use sea_orm::sqlx::sqlite::SqliteConnection;
use sea_orm::sqlx::{self, Connection as _};

/// Whether a database writes ahead into a log, by bytes 18 and 19 of its file (SQLite, Database File Format, section 1.3.3).
pub(super) fn has_log(path: &std::path::Path) -> bool {
    let mut header = [0; 20];
    let read = std::fs::File::open(path).and_then(|mut file| file.read_exact(&mut header));
    read.is_ok() && header[18..] == [2, 2]
}

/// Whether a connection that comes back may be used again. SQLite ends a transaction by itself when a write fails, on a
/// full disk for one; the roll back that follows is refused then, and the connection takes itself to be inside of a
/// transaction for good. What the next one committed in it would only be a savepoint, and lost.
pub(super) async fn is_at_rest(connection: &mut SqliteConnection) -> Result<bool, sqlx::Error> {
    // Waits for the roll back that a transaction left behind when it was dropped.
    connection.ping().await?;
    Ok(!connection.is_in_transaction())
}
