//! The journal: who did what to which record when.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::Instant;

/// One entry of the journal. It is never changed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "019a0000-0000-7000-8000-000000000000", "at": "2026-11-24T06:30:00.000Z",
    "person_id": "019a0000-0000-7000-8000-000000000001", "deed": "changed", "word": "room",
    "record_id": "019a0000-0000-7000-8000-000000000002", "detail": {"name": "North room"},
    "seq": 7, "hash": "ce325c3c822ba30770ec1162e6bebd90ef61652658b350455a786206b15f827b"}))]
pub struct JournalEntry {
    /// Its id; ids sort by time.
    pub id: Uuid,
    /// When.
    pub at: Instant,
    /// Who; null for the server itself.
    pub person_id: Option<Uuid>,
    /// What was done: created, changed, archived, …
    #[schema(max_length = 60)]
    pub deed: String,
    /// To what kind of record.
    #[schema(max_length = 60)]
    pub word: String,
    /// To which record.
    pub record_id: Uuid,
    /// What was set by it, by the names of its columns; of what is entered once, the hash of its row.
    #[schema(value_type = Object, additional_properties = true)]
    pub detail: serde_json::Value,
    /// Its number in the journal's chain, from 1; null for a moment after it was written.
    #[schema(minimum = 1, maximum = 9007199254740991i64)]
    pub seq: Option<i64>,
    /// SHA-256 over the hash before and this entry, in hex.
    #[schema(max_length = 64)]
    pub hash: Option<String>,
}
