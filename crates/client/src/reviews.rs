//! Reviews of days.

use fillmark_api::{DayReview, Listed, NewReview, Review};
use uuid::Uuid;

use crate::{Client, ClientError};

impl Client {
    /// Signs for the records of a day.
    /// # Errors
    /// [`ClientError`].
    pub async fn sign_review(&self, site: Uuid, review: &NewReview) -> Result<Review, ClientError> {
        self.post(&format!("/sites/{site}/reviews"), review).await
    }

    /// Days with how their review stands; the query says which.
    /// # Errors
    /// [`ClientError`].
    pub async fn reviews(&self, site: Uuid, query: &str) -> Result<Vec<DayReview>, ClientError> {
        Ok(self.get::<Listed<DayReview>>(&format!("/sites/{site}/reviews?{query}")).await?.items)
    }
}
