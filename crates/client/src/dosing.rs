//! Advice about what to add to a tank.

use fillmark_api::{Advice, NewCorrectionAdvice, NewFillAdvice};
use uuid::Uuid;

use crate::{Client, ClientError};

impl Client {
    /// Asks for advice on a fresh fill.
    /// # Errors
    /// [`ClientError`].
    pub async fn advise_fill(&self, site: Uuid, wanted: &NewFillAdvice) -> Result<Advice, ClientError> {
        self.post(&format!("/sites/{site}/advice/fills"), wanted).await
    }

    /// Asks for advice on bringing a tank back into its bands.
    /// # Errors
    /// [`ClientError`].
    pub async fn advise_correction(
        &self,
        site: Uuid,
        wanted: &NewCorrectionAdvice,
    ) -> Result<Advice, ClientError> {
        self.post(&format!("/sites/{site}/advice/corrections"), wanted).await
    }

    /// Advice as it was given.
    /// # Errors
    /// [`ClientError`].
    pub async fn advice(&self, site: Uuid, id: Uuid) -> Result<Advice, ClientError> {
        self.get(&format!("/sites/{site}/advice/{id}")).await
    }
}
