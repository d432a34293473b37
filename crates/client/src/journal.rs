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

    /// What comes behind a number in a site's journal, in the order of its chain.
    /// # Errors
    /// [`ClientError`].
    pub async fn follow_site_journal(
        &self,
        site: Uuid,
        after_seq: i64,
    ) -> Result<Vec<JournalEntry>, ClientError> {
        self.get(&format!("/sites/{site}/journal/sealed?after_seq={after_seq}")).await
    }

    /// A page of the business's journal.
    /// # Errors
    /// [`ClientError`].
    pub async fn journal(&self, query: &str) -> Result<Listed<JournalEntry>, ClientError> {
        self.get(&format!("/journal?{query}")).await
    }
}
