//! The journal.

use fillmark_api::{JournalEntry, Listed};
use uuid::Uuid;

use crate::{Client, ClientError};

impl Client {
    /// A page of a site's journal; the query is what stands behind the question mark.
    /// # Errors
    /// [`ClientError`].
    pub async fn site_journal(&self, site: Uuid, query: &str) -> Result<Listed<JournalEntry>, ClientError> {
        self.get(&format!("/sites/{site}/journal?{query}")).await
    }

    /// A page of the business's journal.
    /// # Errors
    /// [`ClientError`].
    pub async fn journal(&self, query: &str) -> Result<Listed<JournalEntry>, ClientError> {
        self.get(&format!("/journal?{query}")).await
    }
}
