//! Additions: entered one by one or by the hundred, listed, taken back.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get, post};
use fillmark_actions::additions::{self, AdditionEntry};
use fillmark_api::{Addition, AdditionBatch, Batch, BatchAnswer, Listed, NewAddition, NewReversal};
use fillmark_domain::entries::AdditionReason as ReasonWord;
use fillmark_domain::{Faults, Id};
use serde_json::Value;
use uuid::Uuid;

use super::batch::{self, BatchQuery};
use crate::http::list::{Asked, ListKind, one_of};
use crate::http::outer::RequestId;
use crate::http::{AppData, Created, Json, ListQuery, Query, ReadProblems, Refused, SignedIn, WriteProblems};

type AdditionPage = Listed<Addition>;

const ADDITIONS: ListKind = ListKind {
    ordered_by: &["recorded_at", "received_at"],
    narrowed_by: &["tank_id", "product_id", "change_id", "done_by"],
    archives: false,
    named: false,
    recorded: Some("recorded_at"),
    coded_by: &[("reason", one_of::<ReasonWord>)],
};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(list_additions).service(record_addition).service(record_additions);
    config.service(read_addition).service(reverse_addition);
}

/// List the additions of a site.
///
/// One that was taken back stays in the list and names what took it back.
#[utoipa::path(tag = "entries", operation_id = "list_additions", security(("bearer" = [])),
    params(ListQuery, ("tank_id" = Option<Uuid>, Query, description = "Only into this tank; repeated, into any of them"),
        ("product_id" = Option<Uuid>, Query, description = "Only of this product"),
        ("change_id" = Option<Uuid>, Query, description = "Only of this tank change"),
        ("done_by" = Option<Uuid>, Query, description = "Only by this person"),
        ("reason" = Option<String>, Query, description = "Only for this reason"),
        ("recorded_from" = Option<String>, Query, description = "Poured at this instant or later"),
        ("recorded_before" = Option<String>, Query, description = "Poured before this instant")),
    responses((status = 200, description = "A page of them", body = AdditionPage), ReadProblems))]
#[get("/sites/{site_id}/additions")]
pub async fn list_additions(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, ADDITIONS)?;
    let page = additions::list(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, Addition::from))
}

/// Enter one addition; its product is drawn from lots in the same transaction.
///
/// Beyond what the record holds it is refused with the balance, or kept as a shortage with `poured_all_the_same`. What
/// somebody else entered minutes before is asked back (`confirmation_needed`) and taken with `confirmed`.
#[utoipa::path(tag = "entries", operation_id = "record_addition", security(("bearer" = [])), request_body = NewAddition,
    responses((status = 201, description = "As it was kept, now or by an earlier try", body = Addition), WriteProblems))]
#[post("/sites/{site_id}/additions")]
pub async fn record_addition(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewAddition>,
) -> Result<Created<Addition>, Refused> {
    let site = Id::new(path.into_inner());
    let id = batch::only(additions::enter(&app, &caller.0, site, &[entry(&body.0)]).await?)?;
    let kept = additions::read(&app, &caller.0, site, id).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/additions/{id}"), kept.into()))
}

/// Enter up to 500 additions, each with its own outcome.
#[utoipa::path(tag = "entries", operation_id = "record_additions", security(("bearer" = [])), request_body = AdditionBatch,
    params(BatchQuery), responses((status = 200, description = "What became of each", body = BatchAnswer), WriteProblems))]
#[post("/sites/{site_id}/additions/batch")]
pub async fn record_additions(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    query: Query<BatchQuery>,
    request: RequestId,
    body: Json<Batch<Value>>,
) -> Result<HttpResponse, Refused> {
    let site = Id::new(path.into_inner());
    let taken = batch::taken(body.0, query.0.atomic, |item: &NewAddition| Ok(entry(item)))?;
    let outcomes = if query.0.atomic {
        additions::enter_together(&app, &caller.0, site, taken.entries()).await?
    } else {
        additions::enter(&app, &caller.0, site, taken.entries()).await?
    };
    Ok(HttpResponse::Ok().json(taken.answer(outcomes, request)))
}

/// Read one addition.
#[utoipa::path(tag = "entries", operation_id = "read_addition", security(("bearer" = [])),
    responses((status = 200, description = "As it is kept", body = Addition), ReadProblems))]
#[get("/sites/{site_id}/additions/{addition_id}")]
pub async fn read_addition(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let kept = additions::read(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(HttpResponse::Ok().json(Addition::from(kept)))
}

/// Take an addition back by a linked opposite, its lots included.
///
/// Managers may; staff may for 24 hours, what they entered themselves.
#[utoipa::path(tag = "entries", operation_id = "reverse_addition", security(("bearer" = [])), request_body = NewReversal,
    responses((status = 201, description = "The opposite", body = Addition), WriteProblems))]
#[post("/sites/{site_id}/additions/{addition_id}/reversals")]
pub async fn reverse_addition(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewReversal>,
) -> Result<Created<Addition>, Refused> {
    let (site, id) = path.into_inner();
    let reason = reason(&body.0)?;
    let kept =
        additions::reverse(&app, &caller.0, Id::new(site), Id::new(id), body.0.client_id, reason).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/additions/{}", kept.0), kept.into()))
}

pub(crate) fn reason(body: &NewReversal) -> Result<&str, Faults> {
    let mut faults = Faults::default();
    faults.text("/reason", &body.reason, 500);
    faults.or(Some(body.reason.as_str()))
}

fn entry(body: &NewAddition) -> AdditionEntry {
    AdditionEntry {
        client_id: body.client_id,
        tank: Id::new(body.tank_id),
        product: body.product_id.map(Id::new),
        amount: body.amount.word(),
        lot: body.lot_id.map(Id::new),
        reason: body.reason.0,
        change: None,
        advice: body.advice_id.map(Id::new),
        recorded_at: body.recorded_at.0,
        done_by: body.done_by.map(Id::new),
        poured_all_the_same: body.poured_all_the_same,
        confirmed: body.confirmed,
    }
}
