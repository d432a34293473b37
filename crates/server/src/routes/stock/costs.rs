//! What products were bought for, and what was poured cost.

use std::collections::{BTreeMap, HashMap};

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get};
use chrono::NaiveDate;
use fillmark_actions::stock;
use fillmark_api::{MonthCost, PlaceCost, PriceHistory, ProductCost, ProductPrice, SiteCosts};
use fillmark_domain::{Days, Id};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::http::csv::{self, FormatQuery};
use crate::http::{AppData, Query, ReadProblems, Refused, SignedIn};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(read_prices).service(read_costs);
}

/// Which days.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct CostQuery {
    /// First local day.
    from_on: NaiveDate,
    /// Last local day; at most two years are summed up.
    until_on: NaiveDate,
    /// `csv` where no Accept header can be sent.
    #[param(max_length = 10)]
    format: Option<String>,
}

/// Read what a product was bought for at a site, and what offers ask for it now.
#[utoipa::path(tag = "stock", operation_id = "read_prices", security(("bearer" = [])), params(FormatQuery),
    responses((status = 200, description = "The prices, the earliest first",
        content((PriceHistory = "application/json"), (String = "text/csv"))), ReadProblems))]
#[get("/sites/{site_id}/products/{product_id}/prices")]
pub async fn read_prices(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    request: HttpRequest,
    query: Query<FormatQuery>,
) -> Result<HttpResponse, Refused> {
    let wants_csv = csv::is_wanted(&request, query.0.format.as_deref())?;
    let (site, product) = path.into_inner();
    let (currency, prices) = stock::price_history(&app, &caller.0, Id::new(site), Id::new(product)).await?;
    let price = |paid: &fillmark_advice::supply::costs::PricePaid| ProductPrice {
        ordered_on: paid.on,
        offer_id: paid.offer.uuid(),
        minor_per_thousand: hundredth(paid.minor_per_unit * 1000.0),
    };
    let told = PriceHistory { currency: currency.code(), prices: prices.iter().map(price).collect() };
    Ok(csv::answer(wants_csv, || told.prices.clone(), &told))
}

/// Read what was poured on some days cost: by month, tank, room and product.
///
/// A unit counts at what was paid for it last before the day it was poured; where nothing was paid before, at the next price,
/// and where nothing was paid at all, at the cheapest offer. As CSV a row for each month, tank, room and product.
#[utoipa::path(tag = "stock", operation_id = "read_costs", security(("bearer" = [])), params(CostQuery),
    responses((status = 200, description = "The sums",
        content((SiteCosts = "application/json"), (String = "text/csv"))), ReadProblems))]
#[get("/sites/{site_id}/costs")]
pub async fn read_costs(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
    query: Query<CostQuery>,
) -> Result<HttpResponse, Refused> {
    let CostQuery { from_on: from, until_on: until, format } = query.0;
    let wants_csv = csv::is_wanted(&request, format.as_deref())?;
    let made = stock::read_costs(&app, &caller.0, Id::new(path.into_inner()), Days { from, until }).await?;
    let costs = &made.costs;
    let months =
        costs.months.iter().map(|(month, minor)| MonthCost { month_on: *month, minor: hundredth(*minor) });
    let products = costs.products.iter().map(|(product, (amount, minor))| ProductCost {
        product_id: product.uuid(),
        name: made.products.get(product).cloned().unwrap_or_default(),
        amount: *amount,
        minor: minor.map(hundredth),
    });
    let told = SiteCosts {
        from_on: from,
        until_on: until,
        currency: made.currency.code(),
        total_minor: hundredth(costs.total()),
        months: months.collect(),
        tanks: places(&costs.tanks, &made.tanks),
        rooms: places(&costs.rooms, &made.rooms),
        products: products.collect(),
        unpriced_product_ids: costs.unpriced.iter().map(|product| product.uuid()).collect(),
    };
    Ok(csv::answer(wants_csv, || told.rows(), &told))
}

fn places<W>(costs: &BTreeMap<Id<W>, f64>, names: &HashMap<Id<W>, String>) -> Vec<PlaceCost> {
    let place = |(id, minor): (&Id<W>, &f64)| PlaceCost {
        id: id.uuid(),
        name: names.get(id).cloned().unwrap_or_default(),
        minor: hundredth(*minor),
    };
    costs.iter().map(place).collect()
}

/// Sums are told to the hundredth of a minor unit.
fn hundredth(minor: f64) -> f64 {
    (minor * 100.0).round() / 100.0
}
