//! The state of the server itself.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Whether the server can do its work, and what is wrong where it cannot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"takes_work": true, "database": true, "schema": true, "disk_free_percent": 61.5,
    "disk_free_bytes": 12884901888u64, "last_beat_s": 4, "reasons": []}))]
pub struct Readiness {
    /// It takes requests: no while it starts and from the moment it is told to stop.
    pub takes_work: bool,
    /// The database answered within a second.
    pub database: bool,
    /// The database has every change of the schema that this server knows.
    pub schema: bool,
    /// Free space where the embedded database is kept, %; null with PostgreSQL.
    #[schema(minimum = 0, maximum = 100)]
    pub disk_free_percent: Option<f64>,
    /// The same space in bytes.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub disk_free_bytes: Option<u64>,
    /// How long ago the jobs beat last, s; null on a server that does none.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub last_beat_s: Option<u64>,
    /// Why it is not ready; empty when it is.
    #[schema(max_items = 10)]
    pub reasons: Vec<String>,
}
