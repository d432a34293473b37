//! The tokens of devices.

use fillmark_api::{DeviceToken, GivenToken, Listed};
use uuid::Uuid;

use crate::{Client, ClientError};

impl Client {
    /// Gives a device a new token; the one before is good no more.
    /// # Errors
    /// [`ClientError`].
    pub async fn give_device_token(&self, site: Uuid, device: Uuid) -> Result<DeviceToken, ClientError> {
        self.post(&format!("/sites/{site}/devices/{device}/tokens"), &()).await
    }

    /// What is known of a device's token, if it has one.
    /// # Errors
    /// [`ClientError`].
    pub async fn device_token(&self, site: Uuid, device: Uuid) -> Result<Option<GivenToken>, ClientError> {
        let path = format!("/sites/{site}/devices/{device}/tokens");
        Ok(self.get::<Listed<GivenToken>>(&path).await?.items.pop())
    }
}
