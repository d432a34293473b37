//! The purchase forecast, and draft orders from it.

use actix_web::web::{Json as Answer, Path};
use actix_web::{HttpRequest, HttpResponse, get, post};
use fillmark_actions::forecast;
use fillmark_advice::supply::whole_of;
use fillmark_api::{
    ForecastCauses, ForecastDay, ForecastMade, ForecastNames, ForecastScore, IssuedForecast, Listed,
    NewDraftOrders, NewWhatIf, Order, ProblemCode, ProductForecast, PurchaseRow, Quantity, SiteForecast,
    Spare, Spares, TrackRecord, WhatIf,
};
use fillmark_domain::Coded;
use fillmark_domain::Id;
use fillmark_domain::places::TankId;
use fillmark_pages::stock_chart::{Dated, StockChart, StockDay};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::stock::orders;
use crate::http::csv::FormatQuery;
use crate::http::list::{Asked, ListKind};
use crate::http::{
    AppData, AskProblems, Created, Json, ListQuery, Query, ReadProblems, Refused, SignedIn, WriteProblems,
    csv,
};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(read_forecast).service(draft_forecast_orders).service(ask_what_if);
    config.service(issue_forecast).service(list_issued_forecasts).service(read_issued_forecast);
    config.service(read_track_record).service(draw_stock_chart).service(read_spares);
    config.service(read_forecast_causes);
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

/// How far to look ahead, and in which form to answer.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct TableQuery {
    /// Days from today on; 90, if nothing is said.
    #[param(minimum = 1, maximum = 365)]
    horizon_days: Option<u16>,
    /// `csv` where no Accept header can be sent.
    #[param(max_length = 10)]
    format: Option<String>,
}

/// Read what will be used, how long the stock lasts, and what to order by when.
///
/// Made from the plan (tank changes, feeds, cycles) and what past records teach about it; each figure with its causes. As CSV it
/// is the table of what to buy, one row a product that is held, used, ordered or has been used there.
#[utoipa::path(tag = "stock", operation_id = "read_forecast", security(("bearer" = [])), params(TableQuery),
    responses((status = 200, description = "The forecast", content((SiteForecast = "application/json"), (String = "text/csv"))),
        ReadProblems))]
#[get("/sites/{site_id}/forecast")]
pub async fn read_forecast(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
    query: Query<TableQuery>,
) -> Result<HttpResponse, Refused> {
    let wants_csv = csv::is_wanted(&request, query.0.format.as_deref())?;
    let made = forecast::read(&app, &caller.0, Id::new(path.into_inner()), query.0.horizon_days).await?;
    let answer = answer(&made);
    let mut response = HttpResponse::Ok();
    Ok(match wants_csv {
        true => {
            let rows = PurchaseRow::each(&answer.products);
            response.content_type(csv::CONTENT_TYPE).body(csv::of_items(&rows))
        }
        false => response.json(answer),
    })
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
    Ok(HttpResponse::Created().json(drafts.iter().map(orders::told).collect::<Vec<Order>>()))
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

/// Read what other sites can spare of what this one is to buy, with their own risk counted: a transfer before an order.
#[utoipa::path(tag = "stock", operation_id = "read_spares", security(("bearer" = [])), params(FormatQuery),
    responses((status = 200, description = "By site and product",
        content((Spares = "application/json"), (String = "text/csv"))), ReadProblems))]
#[get("/sites/{site_id}/forecast/spares")]
pub async fn read_spares(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
    query: Query<FormatQuery>,
) -> Result<HttpResponse, Refused> {
    let wants_csv = csv::is_wanted(&request, query.0.format.as_deref())?;
    let read = forecast::read_spares(&app, &caller.0, Id::new(path.into_inner())).await?;
    let mut spares = Vec::new();
    for one in &read.sites {
        for spare in &one.spares {
            let Some(product) = read.products.get(&spare.product) else { continue };
            let quantity = |units| Quantity::new(units, product.content.base.unit());
            spares.push(Spare {
                from_site_id: one.site.id.uuid(),
                from_site: one.site.content.name.clone(),
                product_id: spare.product.uuid(),
                needed: quantity(spare.needed.ceil()),
                needed_by_on: spare.needed_by,
                spare: quantity(whole_of(spare.spare, spare.needed)),
            });
        }
    }
    let told = Spares { spares, unseen_sites: read.unseen_sites };
    Ok(csv::answer(wants_csv, || told.spares.clone(), &told))
}

const LIST: ListKind = ListKind {
    ordered_by: &["issued_at"],
    narrowed_by: &["issued_by"],
    archives: false,
    named: false,
    recorded: Some("issued_at"),
    coded_by: &[],
};

type IssuedForecasts = Listed<IssuedForecast>;

/// List the forecasts that were issued: one each night after 3 o'clock of the site, and those that somebody asked to keep.
#[utoipa::path(tag = "stock", operation_id = "list_issued_forecasts", security(("bearer" = [])),
    params(ListQuery, ("issued_by" = Option<Uuid>, Query, description = "Only those that this person asked for"),
        ("recorded_from" = Option<fillmark_api::Instant>, Query, description = "Issued then or later"),
        ("recorded_before" = Option<fillmark_api::Instant>, Query, description = "Issued before then")),
    responses((status = 200, description = "A page of them", body = IssuedForecasts), ReadProblems))]
#[get("/sites/{site_id}/forecasts")]
pub async fn list_issued_forecasts(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, LIST)?;
    let page = forecast::list(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, IssuedForecast::from))
}

/// Issue a forecast now, and keep it, to be held against what is used.
///
/// What it warns of raises alerts as the forecast of a night does, and closes those that are over.
#[utoipa::path(tag = "stock", operation_id = "issue_forecast", security(("bearer" = [])),
    responses((status = 201, description = "As it was issued", body = IssuedForecast), WriteProblems))]
#[post("/sites/{site_id}/forecasts")]
pub async fn issue_forecast(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
) -> Result<Created<IssuedForecast>, Refused> {
    let site = path.into_inner();
    let issued = forecast::issue(&app, &caller.0, Id::new(site)).await?;
    let place = format!("/api/v1/sites/{site}/forecasts/{}", issued.0.uuid());
    Ok(Created::at(place, IssuedForecast::from(issued)))
}

/// Read a forecast as it was issued.
#[utoipa::path(tag = "stock", operation_id = "read_issued_forecast", security(("bearer" = [])),
    responses((status = 200, description = "As it was issued", body = IssuedForecast), ReadProblems))]
#[get("/sites/{site_id}/forecasts/{forecast_id}")]
pub async fn read_issued_forecast(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Answer<IssuedForecast>, Refused> {
    let (site, id) = path.into_inner();
    let issued = forecast::read_issued(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(Answer(IssuedForecast::from(issued)))
}

/// Read how the forecasts of past nights came out: error, bias, and whether their quantiles were true.
#[utoipa::path(tag = "stock", operation_id = "read_track_record", security(("bearer" = [])), params(FormatQuery),
    responses((status = 200, description = "By product and days ahead",
        content((TrackRecord = "application/json"), (String = "text/csv"))), ReadProblems))]
#[get("/sites/{site_id}/forecast/track-record")]
pub async fn read_track_record(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
    query: Query<FormatQuery>,
) -> Result<HttpResponse, Refused> {
    let wants_csv = csv::is_wanted(&request, query.0.format.as_deref())?;
    let record = forecast::read_track_record(&app, &caller.0, Id::new(path.into_inner())).await?;
    let name =
        |product| record.products.get(&product).map(|kept| kept.content.name.clone()).unwrap_or_default();
    let scores = record.scored.iter().map(|scored| ForecastScore::of(scored, name(scored.product)));
    let told =
        TrackRecord { today_on: record.today, night_count: record.nights as u64, scores: scores.collect() };
    Ok(csv::answer(wants_csv, || told.scores.clone(), &told))
}

/// Read what a product will be used for, day by day and tank by tank: what the forecast's line of it is made of.
#[utoipa::path(tag = "stock", operation_id = "read_forecast_causes", security(("bearer" = [])), params(TableQuery),
    responses((status = 200, description = "The causes, the earliest first",
        content((ForecastCauses = "application/json"), (String = "text/csv"))), ReadProblems))]
#[get("/sites/{site_id}/forecast/products/{product_id}/causes")]
pub async fn read_forecast_causes(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    request: HttpRequest,
    query: Query<TableQuery>,
) -> Result<HttpResponse, Refused> {
    let wants_csv = csv::is_wanted(&request, query.0.format.as_deref())?;
    let (site, product) = path.into_inner();
    let made = forecast::read(&app, &caller.0, Id::new(site), query.0.horizon_days).await?;
    let of_it = made.forecast.products.iter().find(|told| told.product.uuid() == product);
    let known = of_it.and_then(|told| Some((told, made.products.get(&told.product)?)));
    let (told, kept) = known.ok_or_else(no_product)?;
    let causes = ForecastCauses::of(told, made.today, &kept.content, &made.tanks);
    Ok(csv::answer(wants_csv, || causes.causes.clone(), &causes))
}

fn no_product() -> Refused {
    Refused::new(ProblemCode::NotFound, "there is no such product")
}

/// Draw the stock of a product as it is expected to go on: its band, deliveries, tank changes and the day to order by.
///
/// An SVG picture that is readable in grey, with what it shows in words as its description.
#[utoipa::path(tag = "stock", operation_id = "draw_stock_chart", security(("bearer" = [])), params(ForecastQuery),
    responses((status = 200, description = "The picture", body = String, content_type = "image/svg+xml"), ReadProblems))]
#[get("/sites/{site_id}/forecast/products/{product_id}/chart")]
pub async fn draw_stock_chart(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    query: Query<ForecastQuery>,
) -> Result<HttpResponse, Refused> {
    let (site, product) = path.into_inner();
    let made = forecast::read(&app, &caller.0, Id::new(site), query.0.horizon_days).await?;
    let told = answer(&made).products.into_iter().find(|told| told.product_id == product);
    let told = told.ok_or_else(no_product)?;
    let svg = chart(&told, made.service_level).svg().map_err(|error| {
        tracing::error!(error = &error as &dyn std::error::Error, "a chart could not be drawn");
        Refused::new(ProblemCode::Failed, "the server's log has it under this instance")
    })?;
    Ok(HttpResponse::Ok().content_type("image/svg+xml").body(svg))
}

fn chart(told: &ProductForecast, service_level: f64) -> StockChart {
    let day = |day: &ForecastDay| StockDay {
        on: day.on,
        expected: day.balance,
        low: day.balance_low,
        high: 2.0 * day.balance - day.balance_low,
    };
    StockChart {
        product: told.name.clone(),
        unit: told.unit.0.code(),
        days: told.days.iter().map(day).collect(),
        band: 2.0 * service_level - 1.0,
        order_by: told.purchase.as_ref().map(|purchase| purchase.order_by_on),
        deliveries: told
            .deliveries
            .iter()
            .map(|coming| Dated { on: coming.expected_on, amount: coming.amount.value })
            .collect(),
        expires: told
            .spoils
            .iter()
            .map(|lot| Dated { on: lot.expired_on, amount: lot.amount.value })
            .collect(),
        changes: told.changes.iter().map(|change| Dated { on: change.on, amount: change.amount }).collect(),
    }
}

pub(crate) fn answer(made: &forecast::SiteForecast) -> SiteForecast {
    let names = ForecastNames { products: &made.products, suppliers: &made.suppliers, sites: &made.sites };
    let tanks: Vec<TankId> = made.tanks.iter().map(|tank| tank.id).collect();
    let when = ForecastMade { today: made.today, at: made.made_at, service_level: made.service_level };
    SiteForecast::of(&made.forecast, when, names, &tanks)
}
