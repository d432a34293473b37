//! What every kept record has beside its content.

use chrono::{DateTime, Utc};

use crate::Id;

/// A record of the word `W` as it is kept: its content with its id, version and dates.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept<W> {
    /// Made by the server, for ever.
    pub id: Id<W>,
    /// Rises by one with each change; a change states the version it was made against.
    pub version: i64,
    /// When it was first kept.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
    /// When it was put away, if it was. An archived record stays readable, its name may be given again.
    pub archived_at: Option<DateTime<Utc>>,
    /// The content itself.
    pub content: W,
}
