//! What products were bought for, and what was poured cost.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// What a product was bought for at a site.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PriceHistory {
    /// ISO 4217 code of the prices.
    #[schema(min_length = 3, max_length = 3)]
    pub currency: String,
    /// What was paid, the earliest first, and at the end what offers ask now.
    #[schema(max_items = 100000)]
    pub prices: Vec<ProductPrice>,
}

/// What was paid, or is asked, for a product.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProductPrice {
    /// The day it was ordered; null of an offer as it stands.
    pub ordered_on: Option<NaiveDate>,
    /// On which offer.
    pub offer_id: Uuid,
    /// Minor units for a litre, or a kilogram.
    #[schema(minimum = 0, maximum = 1e15)]
    pub minor_per_thousand: f64,
}

/// What was poured on some days, at what was paid for it last before each day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SiteCosts {
    /// First local day.
    pub from_on: NaiveDate,
    /// Last local day.
    pub until_on: NaiveDate,
    /// ISO 4217 code of the sums.
    #[schema(min_length = 3, max_length = 3)]
    pub currency: String,
    /// All of it, minor units.
    #[schema(minimum = -1e15, maximum = 1e15)]
    pub total_minor: f64,
    /// By month.
    #[schema(max_items = 26)]
    pub months: Vec<MonthCost>,
    /// By tank.
    #[schema(max_items = 5000)]
    pub tanks: Vec<PlaceCost>,
    /// By room, as the tanks' shares go.
    #[schema(max_items = 5000)]
    pub rooms: Vec<PlaceCost>,
    /// By product.
    #[schema(max_items = 5000)]
    pub products: Vec<ProductCost>,
    /// Products that were poured and have no price: they are in no sum.
    #[schema(max_items = 5000)]
    pub unpriced_product_ids: Vec<Uuid>,
}

/// A sum as a row of a table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CostRow {
    /// What it sums up: `month`, `tank`, `room` or `product`.
    pub part: &'static str,
    /// The tank, room or product.
    pub id: Option<Uuid>,
    /// Its name; of a month its first day.
    pub name: String,
    /// What was poured, mL or g.
    pub amount: Option<f64>,
    /// Minor units; none where it has no price.
    pub minor: Option<f64>,
    /// ISO 4217 code of the sums.
    pub currency: String,
}

impl SiteCosts {
    /// One row a sum.
    pub fn rows(&self) -> Vec<CostRow> {
        let row = |part, id, name: String, amount, minor| CostRow {
            part,
            id,
            name,
            amount,
            minor,
            currency: self.currency.clone(),
        };
        let place =
            |part, place: &PlaceCost| row(part, Some(place.id), place.name.clone(), None, Some(place.minor));
        let months =
            self.months.iter().map(|one| row("month", None, one.month_on.to_string(), None, Some(one.minor)));
        let tanks = self.tanks.iter().map(|one| place("tank", one));
        let rooms = self.rooms.iter().map(|one| place("room", one));
        let products = self
            .products
            .iter()
            .map(|one| row("product", Some(one.product_id), one.name.clone(), Some(one.amount), one.minor));
        months.chain(tanks).chain(rooms).chain(products).collect()
    }
}

/// What a month cost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MonthCost {
    /// Its first day.
    pub month_on: NaiveDate,
    /// Minor units.
    #[schema(minimum = -1e15, maximum = 1e15)]
    pub minor: f64,
}

/// What a tank or room cost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlaceCost {
    /// Which.
    pub id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// Minor units.
    #[schema(minimum = -1e15, maximum = 1e15)]
    pub minor: f64,
}

/// What a product cost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProductCost {
    /// Which.
    pub product_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// What was poured, mL or g.
    #[schema(minimum = -1e15, maximum = 1e15)]
    pub amount: f64,
    /// Minor units; null where it has no price.
    #[schema(minimum = -1e15, maximum = 1e15)]
    pub minor: Option<f64>,
}
