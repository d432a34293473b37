//! The sessions of people, and the names of those who left.

use fillmark_api::{Listed, OpenSession};
use reqwest::Method;
use uuid::Uuid;

use crate::{Client, ClientError};

impl Client {
    /// The open sessions of a person, the newest first.
    /// # Errors
    /// [`ClientError`].
    pub async fn sessions(&self, person: Uuid) -> Result<Vec<OpenSession>, ClientError> {
        Ok(self.get::<Listed<OpenSession>>(&format!("/people/{person}/sessions")).await?.items)
    }

    /// Ends a session of a person.
    /// # Errors
    /// [`ClientError`].
    pub async fn end_session(&self, person: Uuid, session: Uuid) -> Result<(), ClientError> {
        let path = format!("/people/{person}/sessions/{session}");
        self.call::<()>(Method::DELETE, &path, None, None).await.map(drop)
    }

    /// Ends all sessions of a person; of one's own, all but this one.
    /// # Errors
    /// [`ClientError`].
    pub async fn end_sessions(&self, person: Uuid) -> Result<(), ClientError> {
        self.call::<()>(Method::DELETE, &format!("/people/{person}/sessions"), None, None).await.map(drop)
    }

    /// Erases the name of somebody who has left.
    /// # Errors
    /// [`ClientError`].
    pub async fn erase_name(&self, person: Uuid) -> Result<(), ClientError> {
        self.call::<()>(Method::POST, &format!("/people/{person}/erasures"), None, None).await.map(drop)
    }
}
