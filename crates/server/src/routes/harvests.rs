//! Harvests: entered, listed, taken back.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get, post};
use fillmark_actions::harvests;
use fillmark_api::{Harvest, Listed, NewHarvest, NewReversal};
use fillmark_domain::{Faults, Id, growing};
use uuid::Uuid;

use super::additions::reason;
use crate::http::list::{Asked, ListKind};
use crate::http::{AppData, Created, Json, ListQuery, ReadProblems, Refused, SignedIn, WriteProblems};

type HarvestPage = Listed<Harvest>;

const HARVESTS: ListKind = ListKind {
    ordered_by: &["harvested_at", "received_at"],
    narrowed_by: &["cycle_id", "room_id", "done_by"],
    archives: false,
    named: false,
    recorded: Some("harvested_at"),
    coded_by: &[],
};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(list_harvests).service(record_harvest).service(read_harvest).service(reverse_harvest);
    config.service(super::stock::traces::trace_harvest);
}

/// List the harvests of a site.
#[utoipa::path(tag = "growing", operation_id = "list_harvests", security(("bearer" = [])),
    params(ListQuery, ("cycle_id" = Option<Uuid>, Query, description = "Only of this cycle; repeated, of any of them"),
        ("room_id" = Option<Uuid>, Query, description = "Only from this room"),
        ("done_by" = Option<Uuid>, Query, description = "Only by this person"),
        ("recorded_from" = Option<String>, Query, description = "Picked at this instant or later"),
        ("recorded_before" = Option<String>, Query, description = "Picked before this instant")),
    responses((status = 200, description = "A page of them", body = HarvestPage), ReadProblems))]
#[get("/sites/{site_id}/harvests")]
pub async fn list_harvests(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, HARVESTS)?;
    let page = harvests::list(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, Harvest::from))
}

/// Enter a harvest.
#[utoipa::path(tag = "growing", operation_id = "record_harvest", security(("bearer" = [])), request_body = NewHarvest,
    responses((status = 201, description = "As it was kept, now or by an earlier try", body = Harvest), WriteProblems))]
#[post("/sites/{site_id}/harvests")]
pub async fn record_harvest(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewHarvest>,
) -> Result<Created<Harvest>, Refused> {
    let site = Id::new(path.into_inner());
    let confirmed = body.0.confirmed;
    let kept = harvests::enter(&app, &caller.0, site, word(body.0)?, confirmed).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/harvests/{}", kept.0), kept.into()))
}

/// Read one harvest.
#[utoipa::path(tag = "growing", operation_id = "read_harvest", security(("bearer" = [])),
    responses((status = 200, description = "As it is kept", body = Harvest), ReadProblems))]
#[get("/sites/{site_id}/harvests/{harvest_id}")]
pub async fn read_harvest(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let kept = harvests::read(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(HttpResponse::Ok().json(Harvest::from(kept)))
}

/// Take a harvest back by a linked opposite.
///
/// Managers may; staff may for 24 hours, what they entered themselves.
#[utoipa::path(tag = "growing", operation_id = "reverse_harvest", security(("bearer" = [])), request_body = NewReversal,
    responses((status = 201, description = "The opposite", body = Harvest), WriteProblems))]
#[post("/sites/{site_id}/harvests/{harvest_id}/reversals")]
pub async fn reverse_harvest(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewReversal>,
) -> Result<Created<Harvest>, Refused> {
    let (site, id) = path.into_inner();
    let reason = reason(&body.0)?;
    let kept =
        harvests::reverse(&app, &caller.0, Id::new(site), Id::new(id), body.0.client_id, reason).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/harvests/{}", kept.0), kept.into()))
}

fn word(body: NewHarvest) -> Result<growing::Harvest, Faults> {
    let (saleable_kg, rejected_kg) = body.masses()?;
    Ok(growing::Harvest {
        client_id: body.client_id,
        cycle: Id::new(body.cycle_id),
        room: body.room_id.map(Id::new),
        harvested_at: body.harvested_at.0,
        received_at: body.harvested_at.0,
        saleable_kg,
        rejected_kg,
        pieces: body.pieces,
        grade: body.grade,
        brix: body.brix,
        done_by: body.done_by.map(Id::new),
        entered_by: None,
        reverses: None,
        reversed: None,
    })
}
