//! Readings, additions, tank changes, harvests.

use fillmark_api::*;
use uuid::Uuid;

use crate::{Client, ClientError};

impl Client {
    /// Enters one reading.
    /// # Errors
    /// [`ClientError`].
    pub async fn record_reading(&self, site: Uuid, reading: &NewReading) -> Result<Reading, ClientError> {
        self.post(&format!("/sites/{site}/readings"), reading).await
    }

    /// Enters up to 500 readings, each for itself.
    /// # Errors
    /// [`ClientError`].
    pub async fn record_readings(
        &self,
        site: Uuid,
        batch: &ReadingBatch,
    ) -> Result<BatchAnswer, ClientError> {
        self.post(&format!("/sites/{site}/readings/batch"), batch).await
    }

    /// All readings of a site that a query picks.
    /// # Errors
    /// [`ClientError`].
    pub async fn readings(&self, site: Uuid, query: &str) -> Result<Vec<Reading>, ClientError> {
        self.all(&format!("/sites/{site}/readings"), query).await
    }
}
