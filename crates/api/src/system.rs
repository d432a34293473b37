//! The state of the server itself.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Whether the server can do its work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"takes_work": true, "database": true}))]
pub struct Readiness {
    /// It takes requests: no while it starts and from the moment it is told to stop.
    pub takes_work: bool,
    /// The database answered within a second.
    pub database: bool,
}

impl Readiness {
    /// Whether nothing is missing.
    pub fn is_ready(self) -> bool {
        self.takes_work && self.database
    }
}
