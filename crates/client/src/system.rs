//! The server itself: whether it is ready, and its first owner.

use fillmark_api::{NewFirstOwner, Person, Readiness};

use crate::{Client, ClientError};

impl Client {
    /// Whether the server can do its work; told also by a server that cannot.
    /// # Errors
    /// When the server is not reached or answers something else.
    pub async fn readiness(&self) -> Result<Readiness, ClientError> {
        super::read(self.http.get(format!("{}/readyz", self.base(0))).send().await?).await
    }

    /// Becomes the first owner with the code that the server printed.
    /// # Errors
    /// [`ClientError`].
    pub async fn claim_business(&self, owner: &NewFirstOwner) -> Result<Person, ClientError> {
        self.post("/first-owner", owner).await
    }
}
