//! What a tank's records show.

use fillmark_api::{TankLearning, TankReconciliation, TankUptake};
use uuid::Uuid;

use crate::{Client, ClientError};

impl Client {
    /// What is learnt or expected of the products that go into a tank.
    /// # Errors
    /// [`ClientError`].
    pub async fn learning(&self, site: Uuid, tank: Uuid) -> Result<TankLearning, ClientError> {
        self.get(&format!("/sites/{site}/tanks/{tank}/learning")).await
    }

    /// What plants took from a tank in so many days, and what left it besides.
    /// # Errors
    /// [`ClientError`].
    pub async fn uptake(&self, site: Uuid, tank: Uuid, days: u16) -> Result<TankUptake, ClientError> {
        self.get(&format!("/sites/{site}/tanks/{tank}/uptake?days={days}")).await
    }

    /// Where a tank's records and readings of so many days do not fit.
    /// # Errors
    /// [`ClientError`].
    pub async fn reconciliation(
        &self,
        site: Uuid,
        tank: Uuid,
        days: u16,
    ) -> Result<TankReconciliation, ClientError> {
        self.get(&format!("/sites/{site}/tanks/{tank}/reconciliation?days={days}")).await
    }
}
