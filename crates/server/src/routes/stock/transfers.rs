//! Transfers between sites.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get, post};
use fillmark_actions::stock::{self, Sending};
use fillmark_api::{Listed, NewArrival, NewTransfer, Transfer};
use fillmark_domain::Id;
use uuid::Uuid;

use super::ledger::done;
use crate::http::list::{Asked, ListKind};
use crate::http::{AppData, Created, Json, ListQuery, ReadProblems, Refused, SignedIn, WriteProblems};

type TransferPage = Listed<Transfer>;

const TRANSFERS: ListKind = ListKind {
    ordered_by: &["sent_at"],
    narrowed_by: &["product_id", "from_site_id", "to_site_id"],
    archives: false,
    named: false,
    recorded: Some("sent_at"),
    coded_by: &[],
};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(list_transfers).service(send_transfer).service(read_transfer).service(take_in_transfer);
}

/// List the transfers from and to a site.
#[utoipa::path(tag = "stock", operation_id = "list_transfers", security(("bearer" = [])),
    params(ListQuery, ("product_id" = Option<Uuid>, Query, description = "Only of this product; repeated, of any of them"),
        ("from_site_id" = Option<Uuid>, Query, description = "Only from this site"),
        ("to_site_id" = Option<Uuid>, Query, description = "Only to this site"),
        ("recorded_from" = Option<String>, Query, description = "Sent at this instant or later"),
        ("recorded_before" = Option<String>, Query, description = "Sent before this instant")),
    responses((status = 200, description = "A page of them", body = TransferPage), ReadProblems))]
#[get("/sites/{site_id}/transfers")]
pub async fn list_transfers(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, TRANSFERS)?;
    let page = stock::list_transfers(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, Transfer::from))
}

/// Send product to another site.
///
/// It is in no site's stock until it arrives.
#[utoipa::path(tag = "stock", operation_id = "send_transfer", security(("bearer" = [])), request_body = NewTransfer,
    responses((status = 201, description = "It is on its way, from now or by an earlier try", body = Transfer), WriteProblems))]
#[post("/sites/{site_id}/transfers")]
pub async fn send_transfer(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewTransfer>,
) -> Result<Created<Transfer>, Refused> {
    let site = path.into_inner();
    let sending = Sending {
        done: done(body.0.client_id, body.0.done_at),
        product: Id::new(body.0.product_id),
        lot: body.0.lot_id.map(Id::new),
        amount: body.0.amount.word(),
        to: Id::new(body.0.to_site_id),
    };
    let sent = stock::send_transfer(&app, &caller.0, Id::new(site), sending).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/transfers/{}", sent.id), sent.into()))
}

/// Read a transfer from or to a site.
#[utoipa::path(tag = "stock", operation_id = "read_transfer", security(("bearer" = [])),
    responses((status = 200, description = "Where it is", body = Transfer), ReadProblems))]
#[get("/sites/{site_id}/transfers/{transfer_id}")]
pub async fn read_transfer(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let transfer = stock::read_transfer(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(HttpResponse::Ok().json(Transfer::from(transfer)))
}

/// Take a transfer in at the site it was sent to.
#[utoipa::path(tag = "stock", operation_id = "take_in_transfer", security(("bearer" = [])), request_body = NewArrival,
    responses((status = 201, description = "It has arrived, now or by an earlier try", body = Transfer), WriteProblems))]
#[post("/sites/{site_id}/transfers/{transfer_id}/arrivals")]
pub async fn take_in_transfer(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewArrival>,
) -> Result<Created<Transfer>, Refused> {
    let (site, id) = path.into_inner();
    let done = done(body.0.client_id, body.0.done_at);
    let arrived = stock::take_in_transfer(&app, &caller.0, Id::new(site), Id::new(id), done).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/transfers/{id}"), arrived.into()))
}
