//! The purchase forecast: what will be used, how long the stock lasts, what to order by when, and why.

mod baseline;
mod causes;
mod caution;
mod issued;
mod purchase;
mod spare;
mod what_if;

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_advice::supply as answers;
use fillmark_domain::places::{Site, SiteId, TankId};
use fillmark_domain::stock::{Product, ProductId, Supplier};
use fillmark_domain::{Base, Coded, Id, Kept};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use caution::caution;

pub use baseline::{Baseline, SimpleMethod};
pub use causes::{ForecastCause, ForecastCauses, UseCause};
pub use issued::{ForecastScore, IssuedForecast, IssuedLine, IssuedUse, TrackRecord};
pub use purchase::{
    NewDraftOrders, ProposedLine, ProposedOrder, ProposedPurchase, ProposedTransfer, PurchaseRow,
};
pub use spare::{Spare, Spares};
pub use what_if::{NewWhatIf, TriedChange, WhatIf, WhatIfProduct};

use crate::{Code, Instant, Quantity, Unit};

/// A site's purchase forecast.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SiteForecast {
    /// The first day forecast.
    pub today_on: NaiveDate,
    /// When it was made.
    pub made_at: Instant,
    /// Chance of not running out that it plans for, %.
    #[schema(minimum = 50, maximum = 100)]
    pub service_level_percent: f64,
    /// One for each product.
    #[schema(max_items = 5000)]
    pub products: Vec<ProductForecast>,
    /// What to order together, the most urgent first.
    #[schema(max_items = 1000)]
    pub orders: Vec<ProposedOrder>,
    /// Additions that look a thousand times off or entered twice, and what was reckoned with instead.
    #[schema(max_items = 100000)]
    pub suspected: Vec<SuspectedAddition>,
}

/// What one product will be used for, and what to buy of it. Amounts in its base unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProductForecast {
    /// The product.
    pub product_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// mL or g: what every figure here is counted in.
    pub unit: Unit,
    /// Expected use of the whole horizon, by cause.
    pub expected_use: UseByCause,
    /// What past use alone would forecast; null for what was never used, or not for a whole week yet.
    pub baseline: Option<Baseline>,
    /// Each day from today on.
    #[schema(max_items = 731)]
    pub days: Vec<ForecastDay>,
    /// What the figures were learnt from.
    pub learnt_from: LearntFrom,
    /// The first day on which the chance of running out exceeds what the service level allows, if nothing is ordered.
    pub may_run_out_on: Option<NaiveDate>,
    /// It may run out, and neither is it offered nor made on site, nor does what is under way cover its use in the end.
    #[serde(default)]
    pub without_offer: bool,
    /// By when more of it is to be made on site, where it is a preparation that may run out.
    #[serde(default)]
    pub make_before_on: Option<NaiveDate>,
    /// What to buy; null where the stock lasts, what is under way covers it in the end, it is made on site, or nobody offers it.
    pub purchase: Option<ProposedPurchase>,
    /// What is under way.
    #[schema(max_items = 1000)]
    pub deliveries: Vec<ForecastDelivery>,
    /// The tank changes that draw on it, each on the day by which it is as likely done as not.
    #[schema(max_items = 100000)]
    pub changes: Vec<ForecastChange>,
    /// Stock that will expire before it is used.
    #[schema(max_items = 1000)]
    pub spoils: Vec<ForecastSpoilage>,
    /// What to keep in mind; among it each order that is overdue.
    #[schema(max_items = 1020)]
    pub cautions: Vec<String>,
}

/// Expected use kept apart by cause, so that each litre can be explained.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct UseByCause {
    /// All causes together.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub total: f64,
    /// Filling after tank changes.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub tank_changes: f64,
    /// Topping up between changes.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub top_ups: f64,
    /// Moving the pH.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub ph: f64,
    /// Litres fed to waste or drawn from a stock tank.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub fed: f64,
    /// Spills, losses and what counts found missing.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub unplanned: f64,
    /// Taken out of the store for other uses than tanks, preparations among them.
    #[schema(minimum = 0, maximum = 1e12)]
    pub taken_out: f64,
}

/// One day of a forecast.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ForecastDay {
    /// The day.
    pub on: NaiveDate,
    /// Expected use by cause.
    #[serde(rename = "use")]
    pub used: UseByCause,
    /// Standard deviation of the use from today until the end of the day.
    #[schema(minimum = 0, maximum = 1e12)]
    pub spread_until: f64,
    /// Expected stock at the end of the day, deliveries under way included; below 0 is what would be missing.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub balance: f64,
    /// Stock that is left or exceeded with the chance of the service level.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub balance_low: f64,
}

/// How many records a forecast was learnt from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LearntFrom {
    /// Fills in which this product was poured.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub fill_count: u64,
    /// Top-ups in which this product was poured.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub top_up_count: u64,
    /// Amount poured over amount planned at fills; null where no dose is planned.
    #[schema(minimum = 0, maximum = 1e6)]
    pub fill_ratio: Option<f64>,
    /// Changes whose planned day was known.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub change_on_plan_count: u64,
    /// Spans between two visits that taught the plants' uptake.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub uptake_span_count: u64,
    /// Losses recorded.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub loss_count: u64,
    /// How often something was taken out of the store for another use than a tank.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub taken_out_count: u64,
}

/// Something that is under way and counted on. What is overdue is expected on the day by which it is as likely there as not, by what
/// is believed of the supplier; once it is later than his lead times allow it is not counted on, and a caution says so.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ForecastDelivery {
    /// When it should come.
    pub expected_on: NaiveDate,
    /// How much.
    pub amount: Quantity,
    /// The order it belongs to; null where another site has sent it.
    #[serde(default)]
    pub order_id: Option<Uuid>,
}

fn delivery(coming: &answers::Expected, base: Base) -> ForecastDelivery {
    ForecastDelivery {
        expected_on: coming.on,
        amount: coming.amount.quantity(base).into(),
        order_id: coming.order().map(|order| order.uuid()),
    }
}

/// A tank change that draws on a product.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ForecastChange {
    /// The day by which it is as likely done as not.
    pub on: NaiveDate,
    /// What it takes, in the product's base unit.
    #[schema(minimum = 0, maximum = 1e12)]
    pub amount: f64,
}

/// Stock that will expire before it is used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ForecastSpoilage {
    /// The lot.
    pub lot_id: Uuid,
    /// How much of it.
    pub amount: Quantity,
    /// The first day on which it may not be used any more.
    pub expired_on: NaiveDate,
}

/// An addition that looks a thousand times off or entered twice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SuspectedAddition {
    /// The tank.
    pub tank_id: Option<Uuid>,
    /// The product.
    pub product_id: Uuid,
    /// The day.
    pub on: NaiveDate,
    /// As recorded, in the product's base unit.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub recorded: f64,
    /// As reckoned with: 0 where an equal one of the day counts already.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub reckoned: f64,
    /// What is usual for the tank and reason.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub usual: f64,
}

impl From<answers::UseByCause> for UseByCause {
    fn from(cause: answers::UseByCause) -> Self {
        Self {
            total: round(cause.total()),
            tank_changes: round(cause.changes),
            top_ups: round(cause.top_ups),
            ph: round(cause.ph),
            fed: round(cause.fed),
            unplanned: round(cause.unplanned),
            taken_out: round(cause.taken),
        }
    }
}

/// Estimates are told to the thousandth of mL or g.
fn round(value: f64) -> f64 {
    // A sum of nothing is -0.
    (value * 1000.0).round() / 1000.0 + 0.0
}

/// The names that a forecast speaks of.
#[derive(Debug, Clone, Copy)]
pub struct ForecastNames<'a> {
    /// Products.
    pub products: &'a HashMap<ProductId, Kept<Product>>,
    /// Suppliers.
    pub suppliers: &'a HashMap<Id<Supplier>, Kept<Supplier>>,
    /// Sites that can give something.
    pub sites: &'a HashMap<SiteId, Kept<Site>>,
}

impl ForecastNames<'_> {
    fn supplier(&self, id: Id<Supplier>) -> String {
        self.suppliers.get(&id).map(|supplier| supplier.content.name.clone()).unwrap_or_default()
    }

    fn site(&self, id: SiteId) -> String {
        self.sites.get(&id).map(|site| site.content.name.clone()).unwrap_or_default()
    }
}

/// What a site's forecast was made of: when, and for which chance of not running out.
#[derive(Debug, Clone, Copy)]
pub struct ForecastMade {
    /// The first day forecast.
    pub today: NaiveDate,
    /// When it was made.
    pub at: DateTime<Utc>,
    /// The chance, 0 to 1.
    pub service_level: f64,
}

impl SiteForecast {
    /// A site's forecast, with the ids of its tanks in the order they were asked about.
    pub fn of(
        forecast: &answers::Forecast,
        made: ForecastMade,
        names: ForecastNames<'_>,
        tanks: &[TankId],
    ) -> Self {
        let products = forecast.products.iter().filter_map(|product| ProductForecast::of(product, names));
        let suspected = forecast.suspected.iter();
        Self {
            today_on: made.today,
            made_at: made.at.into(),
            service_level_percent: percent(made.service_level),
            products: products.collect(),
            orders: forecast.orders.iter().map(|order| ProposedOrder::of(order, names)).collect(),
            suspected: suspected
                .map(|one| SuspectedAddition::of(one, tanks.get(one.tank).map(|tank| tank.uuid())))
                .collect(),
        }
    }
}

/// Chances are told to the hundredth of a percent.
fn percent(chance: f64) -> f64 {
    (chance * 10_000.0).round() / 100.0
}

impl ProductForecast {
    /// A product's forecast; nothing when the product is not among the names.
    pub fn of(forecast: &answers::ProductForecast, names: ForecastNames<'_>) -> Option<Self> {
        let product = &names.products.get(&forecast.product)?.content;
        let base = product.base;
        let days = forecast.days.iter().map(|day| ForecastDay {
            on: day.date,
            used: day.by_cause.into(),
            spread_until: round(day.spread_until),
            balance: round(day.balance),
            balance_low: round(day.balance_low),
        });
        let spoils = forecast.spoils.iter();
        let of = format!("{} of {}", base.unit().code(), product.name);
        Some(Self {
            product_id: forecast.product.uuid(),
            name: product.name.clone(),
            unit: Code(base.unit()),
            expected_use: sum(&forecast.days).into(),
            baseline: forecast.baseline.map(|simple| Baseline::of(&simple, forecast.days.len())),
            days: days.collect(),
            learnt_from: forecast.learnt_from.into(),
            may_run_out_on: forecast.may_run_out_on,
            without_offer: forecast.cautions.contains(&answers::Caution::NoOffer),
            make_before_on: forecast.make_before(),
            purchase: forecast.purchase.as_ref().map(|purchase| ProposedPurchase::of(purchase, base, names)),
            deliveries: forecast.deliveries.iter().map(|coming| delivery(coming, base)).collect(),
            changes: forecast
                .changes
                .iter()
                .map(|(on, amount)| ForecastChange { on: *on, amount: round(*amount) })
                .collect(),
            spoils: spoils
                .map(|lot| ForecastSpoilage {
                    lot_id: lot.lot.uuid(),
                    amount: lot.amount.quantity(base).into(),
                    expired_on: lot.on,
                })
                .collect(),
            cautions: forecast.cautions.iter().map(|one| caution(one, &of)).collect(),
        })
    }
}

fn sum(days: &[answers::DayForecast]) -> answers::UseByCause {
    let mut sum = answers::UseByCause::default();
    days.iter().for_each(|day| sum += day.by_cause);
    sum
}

impl From<answers::LearntFrom> for LearntFrom {
    fn from(learnt: answers::LearntFrom) -> Self {
        Self {
            fill_count: learnt.fills as u64,
            top_up_count: learnt.top_ups as u64,
            fill_ratio: learnt.fill_ratio.map(round),
            change_on_plan_count: learnt.changes_on_plan as u64,
            uptake_span_count: learnt.uptake_spans as u64,
            loss_count: learnt.losses as u64,
            taken_out_count: learnt.taken as u64,
        }
    }
}

impl SuspectedAddition {
    /// A suspected addition, in the tank with this id.
    pub fn of(suspected: &answers::SuspectedAddition, tank_id: Option<Uuid>) -> Self {
        Self {
            tank_id,
            product_id: suspected.product.uuid(),
            on: suspected.on,
            recorded: suspected.recorded.base_units(),
            reckoned: suspected.reckoned.base_units(),
            usual: suspected.usual.base_units(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chance_is_told_in_percent() {
        assert_eq!([0.95, 0.999, 0.07].map(percent), [95.0, 99.9, 7.0]);
    }
}
