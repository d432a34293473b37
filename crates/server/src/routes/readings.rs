//! Readings: entered one by one or by the hundred, listed, corrected.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get, post};
use fillmark_actions::readings::{self, Outcome, ReadingEntry};
use fillmark_api::{Batch, BatchAnswer, Listed, NewReading, Reading, ReadingBatch, ReadingCorrection};
use fillmark_domain::entries::{SamplePoint, Spot};
use fillmark_domain::{Faults, Id, Metric};
use serde_json::Value;
use uuid::Uuid;

use super::batch::{self, BatchQuery};
use crate::http::list::{Asked, ListKind, one_of};
use crate::http::outer::RequestId;
use crate::http::{AppData, Created, Json, ListQuery, Query, ReadProblems, Refused, SignedIn, WriteProblems};

type ReadingPage = Listed<Reading>;

const READINGS: ListKind = ListKind {
    ordered_by: &["recorded_at", "received_at"],
    narrowed_by: &["tank_id", "room_id", "meter_id", "done_by"],
    archives: false,
    named: false,
    recorded: Some("recorded_at"),
    coded_by: &[("metric", one_of::<Metric>), ("sample_point", one_of::<SamplePoint>)],
};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(list_readings).service(record_reading).service(record_readings).service(read_reading);
    config.service(correct_reading);
}

/// List the readings of a site.
///
/// Superseded ones stay in the list and name the reading in their place.
#[utoipa::path(tag = "entries", operation_id = "list_readings", security(("bearer" = [])),
    params(ListQuery, ("tank_id" = Option<Uuid>, Query, description = "Only of this tank; repeated, of any of them"),
        ("room_id" = Option<Uuid>, Query, description = "Only of this room"),
        ("meter_id" = Option<Uuid>, Query, description = "Only with this meter"),
        ("done_by" = Option<Uuid>, Query, description = "Only by this person"),
        ("metric" = Option<String>, Query, description = "Only of this metric"),
        ("sample_point" = Option<String>, Query, description = "Only from this sample point"),
        ("recorded_from" = Option<String>, Query, description = "Taken at this instant or later"),
        ("recorded_before" = Option<String>, Query, description = "Taken before this instant")),
    responses((status = 200, description = "A page of them", body = ReadingPage), ReadProblems))]
#[get("/sites/{site_id}/readings")]
pub async fn list_readings(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, READINGS)?;
    let page = readings::list(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, Reading::from))
}

/// Enter one reading.
///
/// What cannot be is refused; what looks mis-keyed is asked back (`confirmation_needed`) and taken with `confirmed`.
#[utoipa::path(tag = "entries", operation_id = "record_reading", security(("bearer" = [])), request_body = NewReading,
    responses((status = 201, description = "As it was kept, now or by an earlier try", body = Reading), WriteProblems))]
#[post("/sites/{site_id}/readings")]
pub async fn record_reading(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewReading>,
) -> Result<Created<Reading>, Refused> {
    let site = Id::new(path.into_inner());
    let kept = readings::enter_one(&app, &caller.0, site, &entry(&body.0)?).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/readings/{}", kept.0), kept.into()))
}

/// Enter up to 500 readings, each with its own outcome.
#[utoipa::path(tag = "entries", operation_id = "record_readings", security(("bearer" = [])), request_body = ReadingBatch,
    params(BatchQuery), responses((status = 200, description = "What became of each", body = BatchAnswer), WriteProblems))]
#[post("/sites/{site_id}/readings/batch")]
pub async fn record_readings(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    query: Query<BatchQuery>,
    request: RequestId,
    body: Json<Batch<Value>>,
) -> Result<HttpResponse, Refused> {
    let site = Id::new(path.into_inner());
    let taken = batch::taken(body.0, query.0.atomic, entry)?;
    let outcomes: Vec<Outcome<_>> = if query.0.atomic {
        readings::enter_together(&app, &caller.0, site, taken.entries()).await?
    } else {
        readings::enter(&app, &caller.0, site, taken.entries()).await?
    };
    Ok(HttpResponse::Ok().json(taken.answer(outcomes, request)))
}

/// Read one reading.
#[utoipa::path(tag = "entries", operation_id = "read_reading", security(("bearer" = [])),
    responses((status = 200, description = "As it is kept", body = Reading), ReadProblems))]
#[get("/sites/{site_id}/readings/{reading_id}")]
pub async fn read_reading(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let kept = readings::read(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(HttpResponse::Ok().json(Reading::from(kept)))
}

/// Correct a reading: another stands in its place, with a reason; the old one stays readable.
///
/// Managers may; staff may for 24 hours, what they entered themselves.
#[utoipa::path(tag = "entries", operation_id = "correct_reading", security(("bearer" = [])), request_body = ReadingCorrection,
    responses((status = 201, description = "The reading in its place", body = Reading), WriteProblems))]
#[post("/sites/{site_id}/readings/{reading_id}/corrections")]
pub async fn correct_reading(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<ReadingCorrection>,
) -> Result<Created<Reading>, Refused> {
    let (site, id) = path.into_inner();
    let mut faults = Faults::default();
    faults.text("/reason", &body.0.reason, 500);
    let entry = faults.part("/reading", entry(&body.0.reading));
    let entry = faults.or(entry)?;
    let kept = readings::correct(&app, &caller.0, Id::new(site), Id::new(id), &entry, &body.0.reason).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/readings/{}", kept.0), kept.into()))
}

fn entry(body: &NewReading) -> Result<ReadingEntry, Faults> {
    let spot = match (body.tank_id, body.room_id) {
        (Some(tank), None) => Some(Spot::Tank(Id::new(tank))),
        (None, Some(room)) => Some(Spot::Room(Id::new(room))),
        _ => None,
    };
    let mut faults = Faults::default();
    faults.unless(spot.is_some(), "/tank_id", "one_place", "expected a tank or a room, and not both");
    let compensation = body.compensation.map(|stated| stated.word("/compensation", &mut faults));
    faults.or(spot.map(|spot| ReadingEntry {
        client_id: body.client_id,
        spot,
        sample_point: body.sample_point.0,
        metric: body.metric.0,
        entered: body.value.word(),
        compensation,
        meter: body.meter_id.map(Id::new),
        change: None,
        recorded_at: body.recorded_at.0,
        sent_at: body.sent_at.map(|sent_at| sent_at.0),
        done_by: body.done_by.map(Id::new),
        confirmed: body.confirmed,
    }))
}
