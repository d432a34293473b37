//! What other sites can spare of what a site is to buy.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::Quantity;

/// What can be had from other sites before anything is ordered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Spares {
    /// Each with its site; a transfer brings it.
    #[schema(max_items = 100000)]
    pub spares: Vec<Spare>,
    /// Other sites of the business that who asks may not see: nobody looked there.
    pub unseen_sites: usize,
}

/// What another site can spare of a product.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Spare {
    /// The site that has it.
    pub from_site_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub from_site: String,
    /// Of which product.
    pub product_id: Uuid,
    /// What is needed.
    pub needed: Quantity,
    /// From when on it may be missing.
    pub needed_by_on: Option<NaiveDate>,
    /// What can be spared of it: with it gone that site still covers six weeks at its own service level.
    pub spare: Quantity,
}
