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

    /// Enters one addition.
    /// # Errors
    /// [`ClientError`].
    pub async fn record_addition(&self, site: Uuid, addition: &NewAddition) -> Result<Addition, ClientError> {
        self.post(&format!("/sites/{site}/additions"), addition).await
    }

    /// Enters up to 500 additions, each for itself.
    /// # Errors
    /// [`ClientError`].
    pub async fn record_additions(
        &self,
        site: Uuid,
        batch: &AdditionBatch,
    ) -> Result<BatchAnswer, ClientError> {
        self.post(&format!("/sites/{site}/additions/batch"), batch).await
    }

    /// All additions of a site that a query picks.
    /// # Errors
    /// [`ClientError`].
    pub async fn additions(&self, site: Uuid, query: &str) -> Result<Vec<Addition>, ClientError> {
        self.all(&format!("/sites/{site}/additions"), query).await
    }

    /// Takes an addition back.
    /// # Errors
    /// [`ClientError`].
    pub async fn reverse_addition(
        &self,
        site: Uuid,
        id: Uuid,
        reversal: &NewReversal,
    ) -> Result<Addition, ClientError> {
        self.post(&format!("/sites/{site}/additions/{id}/reversals"), reversal).await
    }

    /// Enters a tank change with all that went in.
    /// # Errors
    /// [`ClientError`].
    pub async fn record_tank_change(
        &self,
        site: Uuid,
        change: &NewTankChange,
    ) -> Result<TankChangeDone, ClientError> {
        self.post(&format!("/sites/{site}/tank-changes"), change).await
    }

    /// All tank changes of a site that a query picks.
    /// # Errors
    /// [`ClientError`].
    pub async fn tank_changes(&self, site: Uuid, query: &str) -> Result<Vec<TankChange>, ClientError> {
        self.all(&format!("/sites/{site}/tank-changes"), query).await
    }

    /// The changes that are due.
    /// # Errors
    /// [`ClientError`].
    pub async fn due_changes(&self, site: Uuid) -> Result<DueChanges, ClientError> {
        self.get(&format!("/sites/{site}/tank-changes/due")).await
    }

    /// Takes a tank change back.
    /// # Errors
    /// [`ClientError`].
    pub async fn reverse_tank_change(
        &self,
        site: Uuid,
        id: Uuid,
        reversal: &NewReversal,
    ) -> Result<TankChangeDone, ClientError> {
        self.post(&format!("/sites/{site}/tank-changes/{id}/reversals"), reversal).await
    }

    /// Corrects a reading.
    /// # Errors
    /// [`ClientError`].
    pub async fn correct_reading(
        &self,
        site: Uuid,
        id: Uuid,
        correction: &ReadingCorrection,
    ) -> Result<Reading, ClientError> {
        self.post(&format!("/sites/{site}/readings/{id}/corrections"), correction).await
    }

    /// Enters a harvest.
    /// # Errors
    /// [`ClientError`].
    pub async fn record_harvest(&self, site: Uuid, harvest: &NewHarvest) -> Result<Harvest, ClientError> {
        self.post(&format!("/sites/{site}/harvests"), harvest).await
    }

    /// All harvests of a site that a query picks.
    /// # Errors
    /// [`ClientError`].
    pub async fn harvests(&self, site: Uuid, query: &str) -> Result<Vec<Harvest>, ClientError> {
        self.all(&format!("/sites/{site}/harvests"), query).await
    }

    /// Takes a harvest back.
    /// # Errors
    /// [`ClientError`].
    pub async fn reverse_harvest(
        &self,
        site: Uuid,
        id: Uuid,
        reversal: &NewReversal,
    ) -> Result<Harvest, ClientError> {
        self.post(&format!("/sites/{site}/harvests/{id}/reversals"), reversal).await
    }
}
