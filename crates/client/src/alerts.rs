//! Alerts.

use fillmark_api::{Alert, Listed};
use uuid::Uuid;

use crate::{Client, ClientError};

impl Client {
    /// A page of a site's alerts; the query is what stands behind the question mark.
    /// # Errors
    /// [`ClientError`].
    pub async fn alerts(&self, site: Uuid, query: &str) -> Result<Listed<Alert>, ClientError> {
        self.get(&format!("/sites/{site}/alerts?{query}")).await
    }

    /// Says that an alert was seen.
    /// # Errors
    /// [`ClientError`].
    pub async fn see_alert(&self, site: Uuid, alert: Uuid) -> Result<Alert, ClientError> {
        self.post(&format!("/sites/{site}/alerts/{alert}/sightings"), &()).await
    }

    /// Closes an alert.
    /// # Errors
    /// [`ClientError`].
    pub async fn close_alert(&self, site: Uuid, alert: Uuid) -> Result<Alert, ClientError> {
        self.post(&format!("/sites/{site}/alerts/{alert}/closures"), &()).await
    }
}
