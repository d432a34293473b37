//! Forecasts as they were issued, and how they came out.

use chrono::NaiveDate;
use fillmark_advice::supply as answers;
use fillmark_domain::Id;
use fillmark_domain::stock as words;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{UseByCause, percent, round};
use crate::{Instant, Quantity};

/// A forecast as it was issued. It is never changed, so that it can be held against what was used.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct IssuedForecast {
    /// Made by the server.
    pub id: Uuid,
    /// The first day forecast.
    pub today_on: NaiveDate,
    /// When it was issued.
    pub issued_at: Instant,
    /// Who asked for it; null for the one of each night.
    pub issued_by: Option<Uuid>,
    /// Chance of not running out that it plans for, %.
    #[schema(minimum = 50, maximum = 100)]
    pub service_level_percent: f64,
    /// One for each product.
    #[schema(max_items = 5000)]
    pub lines: Vec<IssuedLine>,
}

/// What was forecast of a product.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct IssuedLine {
    /// The product.
    pub product_id: Uuid,
    /// What was held as the day began.
    pub held: Quantity,
    /// Use over the first days.
    #[schema(max_items = 4)]
    pub uses: Vec<IssuedUse>,
    /// When it might run out, if nothing were ordered.
    pub may_run_out_on: Option<NaiveDate>,
    /// By when to order.
    pub order_by_on: Option<NaiveDate>,
    /// How many packs to order, of all sizes.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub pack_count: Option<i64>,
    /// What one pack holds, in the mean where they differ.
    pub pack: Option<Quantity>,
}

/// Use over the first days of a forecast, in mL or g.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct IssuedUse {
    /// How many days.
    #[schema(minimum = 1, maximum = 365)]
    pub days: u16,
    /// Expected.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub expected: f64,
    /// What nine times of ten is not exceeded.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub high_90: f64,
    /// What nineteen times of twenty is not exceeded.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub high_95: f64,
    /// What is expected for each cause; null of a forecast that was kept before causes were.
    #[serde(default)]
    pub by_cause: Option<UseByCause>,
}

impl From<(Id<words::IssuedForecast>, words::IssuedForecast)> for IssuedForecast {
    fn from((id, issued): (Id<words::IssuedForecast>, words::IssuedForecast)) -> Self {
        Self {
            id: id.uuid(),
            today_on: issued.today,
            issued_at: issued.issued_at.into(),
            issued_by: issued.issued_by.map(Id::uuid),
            service_level_percent: percent(issued.service_level),
            lines: issued.lines.iter().map(IssuedLine::from).collect(),
        }
    }
}

impl From<&words::IssuedLine> for IssuedLine {
    fn from(line: &words::IssuedLine) -> Self {
        let unit = line.base.unit();
        let told = |told: &words::IssuedUse| IssuedUse {
            days: told.days,
            expected: round(told.expected),
            high_90: round(told.high_90),
            high_95: round(told.high_95),
            by_cause: (!told.by_cause.is_empty()).then(|| by_cause(&told.by_cause)),
        };
        Self {
            product_id: line.product.uuid(),
            held: Quantity::new(line.held, unit),
            uses: line.uses.iter().map(told).collect(),
            may_run_out_on: line.may_run_out_on,
            order_by_on: line.order.map(|order| order.by),
            pack_count: line.order.map(|order| order.packs),
            pack: line.order.map(|order| Quantity::new(order.pack, unit)),
        }
    }
}

fn by_cause(told: &[(words::UseCause, f64)]) -> UseByCause {
    answers::UseByCause::of_each(told.iter().copied()).into()
}

/// How the forecasts of past nights came out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TrackRecord {
    /// Forecasts whose days are over before this day are scored.
    pub today_on: NaiveDate,
    /// Nights of the last 400 days that have a forecast.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub night_count: u64,
    /// By product and days ahead.
    #[schema(max_items = 20000)]
    pub scores: Vec<ForecastScore>,
}

/// How forecasts of a product came out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ForecastScore {
    /// The product.
    pub product_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// Days that each forecast looked ahead.
    #[schema(minimum = 1, maximum = 365)]
    pub days: u16,
    /// How many are scored. They overlap, so they tell less than so many would by themselves.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub forecast_count: u64,
    /// Mean absolute error over the mean use, %; null where nothing was used.
    #[schema(minimum = 0, maximum = 1e12)]
    pub error_percent: Option<f64>,
    /// Mean error over the mean use, %: above 0 where too much was forecast.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub bias_percent: Option<f64>,
    /// Share of forecasts whose 90 % quantile was not exceeded, %: 90 where the spread is told truly.
    #[schema(minimum = 0, maximum = 100)]
    pub within_90_percent: f64,
    /// Share of forecasts whose 95 % quantile was not exceeded, %.
    #[schema(minimum = 0, maximum = 100)]
    pub within_95_percent: f64,
}

impl ForecastScore {
    /// A score with the product's name.
    pub fn of(scored: &answers::Scored, name: String) -> Self {
        Self {
            product_id: scored.product.uuid(),
            name,
            days: scored.days,
            forecast_count: scored.forecasts as u64,
            error_percent: scored.error.map(percent),
            bias_percent: scored.bias.map(percent),
            within_90_percent: percent(scored.within_90),
            within_95_percent: percent(scored.within_95),
        }
    }
}
