//! A product's expected use taken apart.

use chrono::NaiveDate;
use fillmark_advice::supply as answers;
use fillmark_domain::Kept;
use fillmark_domain::places::Tank;
use fillmark_domain::stock::Product;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Code, Quantity};

/// What a product is used for.
pub type UseCause = Code<fillmark_domain::stock::UseCause>;

/// What a product will be used for, day by day and tank by tank; it adds up to the use that the forecast tells.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ForecastCauses {
    /// The product.
    pub product_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// The first day forecast.
    pub today_on: NaiveDate,
    /// In order of their days.
    #[schema(max_items = 1000000)]
    pub causes: Vec<ForecastCause>,
}

/// A cause of use on a day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ForecastCause {
    /// The day.
    pub on: NaiveDate,
    /// Why. A tank change that may slip is reckoned on each day on which it may be done, by its chance.
    pub cause: UseCause,
    /// The tank that takes it; null for what no tank takes.
    pub tank_id: Option<Uuid>,
    /// Its name.
    #[schema(max_length = 120)]
    pub tank: Option<String>,
    /// Expected.
    pub amount: Quantity,
}

impl ForecastCauses {
    /// Of a product's forecast, with the tanks in the order of its question.
    pub fn of(
        forecast: &answers::ProductForecast,
        today: NaiveDate,
        product: &Product,
        tanks: &[Kept<Tank>],
    ) -> Self {
        let cause = |one: answers::DatedCause| {
            let tank = one.tank.and_then(|place| tanks.get(place));
            ForecastCause {
                on: one.on,
                cause: Code(one.cause),
                tank_id: tank.map(|tank| tank.id.uuid()),
                tank: tank.map(|tank| tank.content.name.clone()),
                amount: Quantity::new(super::round(one.amount), product.base.unit()),
            }
        };
        Self {
            product_id: forecast.product.uuid(),
            name: product.name.clone(),
            today_on: today,
            causes: forecast.causes().into_iter().map(cause).collect(),
        }
    }
}
