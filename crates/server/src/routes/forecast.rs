//! The purchase forecast, and draft orders from it.

use actix_web::web::Path;
use actix_web::{HttpResponse, get, post};
use fillmark_actions::forecast;
use fillmark_api::{ForecastMade, ForecastNames, NewDraftOrders, NewWhatIf, Order, SiteForecast, WhatIf};
use fillmark_domain::Id;
use fillmark_domain::places::TankId;
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::http::{AppData, AskProblems, Json, Query, ReadProblems, Refused, SignedIn, WriteProblems};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(read_forecast).service(draft_forecast_orders).service(ask_what_if);
}

/// How far to look ahead.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ForecastQuery {
    /// Days from today on; 90, if nothing is said.
    #[param(minimum = 1, maximum = 365)]
    horizon_days: Option<u16>,
}

/// Read what will be used, how long the stock lasts, and what to order by when.
///
/// Made from the plan (tank changes, feeds, cycles) and what past records teach about it; each figure with its causes.
#[utoipa::path(tag = "stock", operation_id = "read_forecast", security(("bearer" = [])), params(ForecastQuery),
    responses((status = 200, description = "The forecast", body = SiteForecast), ReadProblems))]
#[get("/sites/{site_id}/forecast")]
pub async fn read_forecast(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    query: Query<ForecastQuery>,
) -> Result<HttpResponse, Refused> {
    let made = forecast::read(&app, &caller.0, Id::new(path.into_inner()), query.0.horizon_days).await?;
    Ok(HttpResponse::Ok().json(answer(&made)))
}

/// Make draft orders of all that the forecast says to order by a day, one a supplier.
///
/// Products that stand in a draft already are left out: asked twice, nothing is drafted twice.
#[utoipa::path(tag = "stock", operation_id = "draft_forecast_orders", security(("bearer" = [])), request_body = NewDraftOrders,
    responses((status = 201, description = "The drafts; none when nothing has to be ordered", body = Vec<Order>), WriteProblems))]
#[post("/sites/{site_id}/forecast/orders")]
pub async fn draft_forecast_orders(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewDraftOrders>,
) -> Result<HttpResponse, Refused> {
    let drafts =
        forecast::draft_orders(&app, &caller.0, Id::new(path.into_inner()), body.0.order_by_on).await?;
    Ok(HttpResponse::Created().json(drafts.into_iter().map(Order::from).collect::<Vec<_>>()))
}

/// Forecast with changes of the plan, of which nothing is kept, beside the forecast as planned.
///
/// Another programme for a cycle, another interval or strength of a programme, a cycle more, a room closed; each from today on.
#[utoipa::path(tag = "stock", operation_id = "ask_what_if", security(("bearer" = [])), request_body = NewWhatIf,
    responses((status = 200, description = "Both forecasts, product by product", body = WhatIf), AskProblems))]
#[post("/sites/{site_id}/forecast/what-ifs")]
pub async fn ask_what_if(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewWhatIf>,
) -> Result<HttpResponse, Refused> {
    let changes = body.0.changes()?;
    let site = Id::new(path.into_inner());
    let made = forecast::what_if(&app, &caller.0, site, body.0.horizon_days, &changes).await?;
    Ok(HttpResponse::Ok().json(WhatIf::of(answer(&made.planned), answer(&made.changed))))
}

pub(crate) fn answer(made: &forecast::SiteForecast) -> SiteForecast {
    let names = ForecastNames { products: &made.products, suppliers: &made.suppliers };
    let tanks: Vec<TankId> = made.tanks.iter().map(|tank| tank.id).collect();
    let when = ForecastMade { today: made.today, at: made.made_at, service_level: made.service_level };
    SiteForecast::of(&made.forecast, when, names, &tanks)
}
