//! Records with the common life.

use std::marker::PhantomData;

use fillmark_api::{Body, Listed, Stored};
use reqwest::Method;
use serde_json::Value;
use uuid::Uuid;

use crate::{Client, ClientError, Collected};

/// Marks records of the business.
#[derive(Debug, Clone, Copy)]
pub enum OfBusiness {}

/// Marks records of a site.
#[derive(Debug, Clone, Copy)]
pub enum OfSite {}

/// The records of the business or of a site.
#[derive(Debug, Clone)]
pub struct Records<'a, Of> {
    client: &'a Client,
    prefix: String,
    of: PhantomData<Of>,
}

impl<'a, Of> Records<'a, Of> {
    pub(crate) fn new(client: &'a Client, prefix: String) -> Self {
        Self { client, prefix, of: PhantomData }
    }

    /// Makes a record.
    /// # Errors
    /// [`ClientError`].
    pub async fn create<B: Body + Collected<Of = Of>>(&self, body: &B) -> Result<Stored<B>, ClientError> {
        self.client.post(&self.path::<B>(), body).await
    }

    /// The record with this id.
    /// # Errors
    /// [`ClientError`].
    pub async fn read<B: Body + Collected<Of = Of>>(&self, id: Uuid) -> Result<Stored<B>, ClientError> {
        self.client.get(&format!("{}/{id}", self.path::<B>())).await
    }

    /// One page of the records; the query is what stands behind the question mark.
    /// # Errors
    /// [`ClientError`].
    pub async fn page<B: Body + Collected<Of = Of>>(
        &self,
        query: &str,
    ) -> Result<Listed<Stored<B>>, ClientError> {
        self.client.get(&format!("{}?{query}", self.path::<B>())).await
    }

    /// All records that a query picks, page by page.
    /// # Errors
    /// [`ClientError`].
    pub async fn all<B: Body + Collected<Of = Of>>(
        &self,
        query: &str,
    ) -> Result<Vec<Stored<B>>, ClientError> {
        self.client.all(&self.path::<B>(), query).await
    }

    /// Changes some fields of a record, against the version that was read.
    /// # Errors
    /// [`ClientError`].
    pub async fn change<B: Body + Collected<Of = Of>>(
        &self,
        seen: &Stored<B>,
        patch: Value,
    ) -> Result<Stored<B>, ClientError> {
        let path = format!("{}/{}", self.path::<B>(), seen.id);
        super::read(self.client.call(Method::PATCH, &path, Some(seen.version), Some(&patch)).await?).await
    }

    /// Archives a record, against the version that was read.
    /// # Errors
    /// [`ClientError`].
    pub async fn archive<B: Body + Collected<Of = Of>>(
        &self,
        seen: &Stored<B>,
    ) -> Result<Stored<B>, ClientError> {
        let path = format!("{}/{}", self.path::<B>(), seen.id);
        super::read(self.client.call::<()>(Method::DELETE, &path, Some(seen.version), None).await?).await
    }

    fn path<B: Collected>(&self) -> String {
        format!("{}/{}", self.prefix, B::PATH)
    }
}

impl Client {
    /// All items of a list, page by page.
    /// # Errors
    /// [`ClientError`].
    pub async fn all<T: serde::de::DeserializeOwned>(
        &self,
        path: &str,
        query: &str,
    ) -> Result<Vec<T>, ClientError> {
        let mut items = Vec::new();
        let mut cursor = String::new();
        loop {
            let page: Listed<T> = self.get(&format!("{path}?limit=200&{query}{cursor}")).await?;
            items.extend(page.items);
            match page.next_cursor {
                Some(next) => cursor = format!("&cursor={next}"),
                None => return Ok(items),
            }
        }
    }
}
