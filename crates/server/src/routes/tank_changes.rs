//! Tank changes: done in one request, listed, taken back; and the days they are due.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get, post};
use chrono::NaiveDate;
use fillmark_actions::tank_changes::{self, ChangeDone, ChangeEntry, PouredIn, ReadAfter};
use fillmark_api::{DueChange, DueChanges, Listed, NewReversal, NewTankChange, TankChange, TankChangeDone};
use fillmark_domain::entries::{CHANGE_CAUTIONS, SamplePoint};
use fillmark_domain::{Faults, Id};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::additions::reason;
use crate::http::list::{Asked, ListKind};
use crate::http::{AppData, Created, Json, ListQuery, Query, ReadProblems, Refused, SignedIn, WriteProblems};

type TankChangePage = Listed<TankChange>;

const CHANGES: ListKind = ListKind {
    ordered_by: &["recorded_at", "received_at"],
    narrowed_by: &["tank_id", "done_by"],
    archives: false,
    named: false,
    recorded: Some("recorded_at"),
    coded_by: &[],
};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(list_tank_changes).service(record_tank_change).service(list_due_changes);
    config.service(read_tank_change).service(reverse_tank_change);
}

/// Until when due changes are wanted.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DueQuery {
    /// The last day, at most 366 days ahead; two weeks from today, if nothing is said.
    until_on: Option<NaiveDate>,
}

/// List the tank changes of a site.
#[utoipa::path(tag = "entries", operation_id = "list_tank_changes", security(("bearer" = [])),
    params(ListQuery, ("tank_id" = Option<Uuid>, Query, description = "Only of this tank; repeated, of any of them"),
        ("done_by" = Option<Uuid>, Query, description = "Only by this person"),
        ("recorded_from" = Option<String>, Query, description = "Done at this instant or later"),
        ("recorded_before" = Option<String>, Query, description = "Done before this instant")),
    responses((status = 200, description = "A page of them", body = TankChangePage), ReadProblems))]
#[get("/sites/{site_id}/tank-changes")]
pub async fn list_tank_changes(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, CHANGES)?;
    let page = tank_changes::list(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, TankChange::from))
}

/// Enter a tank change with all that went in and was read: one request, one transaction.
///
/// A full change of a tank that was fully changed within hours is asked back (`confirmation_needed`) and taken with `confirmed`.
#[utoipa::path(tag = "entries", operation_id = "record_tank_change", security(("bearer" = [])), request_body = NewTankChange,
    responses((status = 201, description = "As it was kept, now or by an earlier try", body = TankChangeDone), WriteProblems))]
#[post("/sites/{site_id}/tank-changes")]
pub async fn record_tank_change(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewTankChange>,
) -> Result<Created<TankChangeDone>, Refused> {
    let site = Id::new(path.into_inner());
    let done = tank_changes::enter(&app, &caller.0, site, &entry(&body.0)?).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/tank-changes/{}", done.change.0), answer(done)))
}

/// List the changes that are due: by the programme from the last change done, as people moved or skipped them.
#[utoipa::path(tag = "entries", operation_id = "list_due_changes", security(("bearer" = [])), params(DueQuery),
    responses((status = 200, description = "In the order of their days", body = DueChanges), ReadProblems))]
#[get("/sites/{site_id}/tank-changes/due")]
pub async fn list_due_changes(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    query: Query<DueQuery>,
) -> Result<HttpResponse, Refused> {
    let due = tank_changes::due(&app, &caller.0, Id::new(path.into_inner()), query.0.until_on).await?;
    let items = due.into_iter().map(|due| DueChange {
        tank_id: due.tank.id.uuid(),
        due_on: due.due_on,
        days_late: due.days_late,
        volume_l: due.tank.content.fill_mark_l,
        last_done_on: due.last_done_on,
    });
    Ok(HttpResponse::Ok().json(DueChanges { items: items.collect() }))
}

/// Read one tank change with all that was entered with it.
#[utoipa::path(tag = "entries", operation_id = "read_tank_change", security(("bearer" = [])),
    responses((status = 200, description = "As it is kept", body = TankChangeDone), ReadProblems))]
#[get("/sites/{site_id}/tank-changes/{change_id}")]
pub async fn read_tank_change(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let done = tank_changes::read(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(HttpResponse::Ok().json(answer(done)))
}

/// Take a tank change back with all that went in; its readings stay, since they were taken.
///
/// Managers may; staff may for 24 hours, what they entered themselves.
#[utoipa::path(tag = "entries", operation_id = "reverse_tank_change", security(("bearer" = [])), request_body = NewReversal,
    responses((status = 201, description = "The opposite", body = TankChangeDone), WriteProblems))]
#[post("/sites/{site_id}/tank-changes/{change_id}/reversals")]
pub async fn reverse_tank_change(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewReversal>,
) -> Result<Created<TankChangeDone>, Refused> {
    let (site, id) = path.into_inner();
    let reason = reason(&body.0)?;
    let done =
        tank_changes::reverse(&app, &caller.0, Id::new(site), Id::new(id), body.0.client_id, reason).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/tank-changes/{}", done.change.0), answer(done)))
}

fn entry(body: &NewTankChange) -> Result<ChangeEntry, Faults> {
    let mut faults = Faults::default();
    if let Some(text) = &body.drained_to {
        faults.text("/drained_to", text, 200);
    }
    faults.unless(body.products.len() <= 30, "/products", "count", "expected at most 30 products");
    faults.unless(body.readings.len() <= 12, "/readings", "count", "expected at most 12 readings");
    let products = body.products.iter().map(|poured| PouredIn {
        product: Id::new(poured.product_id),
        amount: poured.amount.word(),
        lot: poured.lot_id.map(Id::new),
        poured_all_the_same: poured.poured_all_the_same,
    });
    let readings = body.readings.iter().map(|read| ReadAfter {
        metric: read.metric.0,
        entered: read.value.word(),
        sample_point: read.sample_point.map_or(SamplePoint::Tank, |point| point.0),
        meter: read.meter_id.map(Id::new),
        confirmed: read.confirmed,
    });
    faults.or(Some(ChangeEntry {
        client_id: body.client_id,
        tank: Id::new(body.tank_id),
        fraction: body.fraction,
        drained: body.drained.word(),
        drained_to: body.drained_to.clone(),
        water_in: body.water_in.word(),
        products: products.collect(),
        readings: readings.collect(),
        advice: body.advice_id.map(Id::new),
        recorded_at: body.recorded_at.0,
        done_by: body.done_by.map(Id::new),
        confirmed: body.confirmed,
    }))
}

fn answer(done: ChangeDone) -> TankChangeDone {
    TankChangeDone {
        change: done.change.into(),
        additions: done.additions.into_iter().map(Into::into).collect(),
        readings: done.readings.into_iter().map(Into::into).collect(),
        cautions: CHANGE_CAUTIONS.iter().map(|caution| (*caution).to_owned()).collect(),
    }
}
