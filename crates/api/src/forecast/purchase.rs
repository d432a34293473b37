//! What the forecast says to buy, and the draft orders made of it.

use chrono::NaiveDate;
use fillmark_advice::supply as answers;
use fillmark_domain::Id;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{ForecastNames, ProductForecast, caution, percent, round};
use crate::{Quantity, Unit};

/// What to buy of one product.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProposedPurchase {
    /// From whom.
    pub supplier_id: Uuid,
    /// The supplier's name.
    #[schema(max_length = 120)]
    pub supplier: String,
    /// The day to order on: the last order day that keeps the service level, or, when late, the next there is.
    pub order_by_on: NaiveDate,
    /// Whether even that day no longer keeps it.
    pub late: bool,
    /// Chance of running out before it arrives when ordered on that day, %.
    #[schema(minimum = 0, maximum = 100)]
    pub chance_of_running_out_percent: f64,
    /// Expected days from order to delivery.
    #[schema(minimum = 0, maximum = 1000)]
    pub lead_time_mean_days: f64,
    /// Their standard deviation, days.
    #[schema(minimum = 0, maximum = 1000)]
    pub lead_time_sd_days: f64,
    /// Past orders they were learnt from; 0 is the supplier's word alone.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub lead_time_order_count: u64,
    /// What keeps the service level until the order after it arrives, before rounding to packs.
    pub needed: Quantity,
    /// At most this is used before it expires.
    pub at_most: Option<Quantity>,
    /// What one pack holds.
    pub pack: Quantity,
    /// Whole packs.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub pack_count: i64,
    /// Price of the packs, minor units.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub cost_minor: i64,
    /// ISO 4217 code.
    #[schema(min_length = 3, max_length = 3)]
    pub currency: String,
    /// Ordered earlier than it needed, to be in step with this product.
    pub in_step_with_id: Option<Uuid>,
    /// Why so much of it on that day, in sentences.
    #[schema(max_length = 2000)]
    pub why: String,
}

/// A product in the table of what to buy: its forecast on one line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PurchaseRow {
    product_id: Uuid,
    product: String,
    unit: Unit,
    expected_use: f64,
    may_run_out_on: Option<NaiveDate>,
    order_by_on: Option<NaiveDate>,
    late: Option<bool>,
    supplier: Option<String>,
    pack: Option<f64>,
    pack_count: Option<i64>,
    cost_minor: Option<i64>,
    currency: Option<String>,
}

impl From<&ProductForecast> for PurchaseRow {
    fn from(told: &ProductForecast) -> Self {
        let purchase = told.purchase.as_ref();
        Self {
            product_id: told.product_id,
            product: told.name.clone(),
            unit: told.unit,
            expected_use: told.expected_use.total,
            may_run_out_on: told.may_run_out_on,
            order_by_on: purchase.map(|purchase| purchase.order_by_on),
            late: purchase.map(|purchase| purchase.late),
            supplier: purchase.map(|purchase| purchase.supplier.clone()),
            pack: purchase.map(|purchase| purchase.pack.value),
            pack_count: purchase.map(|purchase| purchase.pack_count),
            cost_minor: purchase.map(|purchase| purchase.cost_minor),
            currency: purchase.map(|purchase| purchase.currency.clone()),
        }
    }
}

/// Purchases from one supplier that go in one order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProposedOrder {
    /// From whom.
    pub supplier_id: Uuid,
    /// The supplier's name.
    #[schema(max_length = 120)]
    pub supplier: String,
    /// The earliest day that one of its products asks for.
    pub order_by_on: NaiveDate,
    /// What goes in it.
    #[schema(max_items = 1000)]
    pub product_ids: Vec<Uuid>,
    /// Price of all packs, minor units, without freight.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub value_minor: i64,
    /// ISO 4217 code.
    #[schema(min_length = 3, max_length = 3)]
    pub currency: String,
    /// Freight, minor units; null where the supplier's terms are in another currency.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub freight_minor: Option<i64>,
    /// What is missing to the supplier's least order, minor units; 0 when it is reached, null like the freight.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub below_minimum_minor: Option<i64>,
    /// What to keep in mind.
    #[schema(max_items = 20)]
    pub cautions: Vec<String>,
}

/// By when draft orders are wanted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"order_by_on": "2026-12-01"}))]
pub struct NewDraftOrders {
    /// Drafts are made of all that has to be ordered by this day.
    pub order_by_on: NaiveDate,
}

impl ProposedPurchase {
    pub(super) fn of(
        purchase: &answers::Purchase,
        base: fillmark_domain::Base,
        names: ForecastNames<'_>,
    ) -> Self {
        Self {
            supplier_id: purchase.supplier.uuid(),
            supplier: names.supplier(purchase.supplier),
            order_by_on: purchase.order_by.date(),
            late: matches!(purchase.order_by, answers::OrderBy::Late(_)),
            chance_of_running_out_percent: percent(purchase.chance_of_running_out),
            lead_time_mean_days: round(purchase.lead_time.mean_days),
            lead_time_sd_days: round(purchase.lead_time.sd_days),
            lead_time_order_count: purchase.lead_time.orders as u64,
            needed: purchase.needed.quantity(base).into(),
            at_most: purchase.at_most.map(|amount| amount.quantity(base).into()),
            pack: purchase.offer.pack.quantity(base).into(),
            pack_count: purchase.packs.count,
            cost_minor: purchase.cost.minor,
            currency: purchase.cost.currency.code(),
            why: purchase.told(),
            in_step_with_id: purchase.in_step_with.map(Id::uuid),
        }
    }
}

impl ProposedOrder {
    /// A proposed order.
    pub fn of(order: &answers::ProposedOrder, names: ForecastNames<'_>) -> Self {
        Self {
            supplier_id: order.supplier.uuid(),
            supplier: names.supplier(order.supplier),
            order_by_on: order.order_by.date(),
            product_ids: order.products.iter().map(|product| product.uuid()).collect(),
            value_minor: order.value.minor,
            currency: order.value.currency.code(),
            freight_minor: order.freight_minor,
            below_minimum_minor: order.below_minimum_minor,
            cautions: order.cautions.iter().map(caution).collect(),
        }
    }
}
