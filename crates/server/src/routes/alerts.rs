//! Alerts.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get, post};
use fillmark_actions::alerts;
use fillmark_api::{Alert, AlertKind, AlertStanding, Listed};
use fillmark_domain::{Id, work as words};
use fillmark_store::alerts::KeptAlert;
use uuid::Uuid;

use crate::http::list::{Asked, ListKind, one_of};
use crate::http::{AppData, Created, ListQuery, ReadProblems, Refused, SignedIn, WriteProblems};

type Alerts = Listed<Alert>;

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(list_alerts).service(see_alert).service(close_alert);
}

const LIST: ListKind = ListKind {
    ordered_by: &["raised_at"],
    narrowed_by: &["about_id", "person_id"],
    archives: false,
    named: false,
    recorded: Some("raised_at"),
    coded_by: &[("kind", one_of::<words::AlertKind>), ("state", one_of::<words::AlertStanding>)],
};

/// List the alerts of a site.
///
/// Those that are not closed, unless `state` says otherwise.
#[utoipa::path(tag = "work", operation_id = "list_alerts", security(("bearer" = [])),
    params(ListQuery, ("state" = Option<AlertStanding>, Query, description = "Only these; repeated, any of them"),
        ("kind" = Option<AlertKind>, Query, description = "Only these; repeated, any of them"),
        ("about_id" = Option<Uuid>, Query, description = "Only those about this record"),
        ("person_id" = Option<Uuid>, Query, description = "Only those for this person"),
        ("recorded_from" = Option<fillmark_api::Instant>, Query, description = "Raised then or later"),
        ("recorded_before" = Option<fillmark_api::Instant>, Query, description = "Raised before then")),
    responses((status = 200, description = "A page of them", body = Alerts), ReadProblems))]
#[get("/sites/{site_id}/alerts")]
pub async fn list_alerts(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, LIST)?;
    let page = alerts::list(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, body))
}

/// Say that an alert was seen.
///
/// Who saw it first stays.
#[utoipa::path(tag = "work", operation_id = "see_alert", security(("bearer" = [])),
    responses((status = 201, description = "As it is now", body = Alert), WriteProblems))]
#[post("/sites/{site_id}/alerts/{alert_id}/sightings")]
pub async fn see_alert(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Created<Alert>, Refused> {
    let (site, id) = path.into_inner();
    let kept = alerts::see(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/alerts"), body(kept)))
}

/// Close an alert: nothing is to be done about it.
#[utoipa::path(tag = "work", operation_id = "close_alert", security(("bearer" = [])),
    responses((status = 201, description = "As it is now", body = Alert), WriteProblems))]
#[post("/sites/{site_id}/alerts/{alert_id}/closures")]
pub async fn close_alert(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Created<Alert>, Refused> {
    let (site, id) = path.into_inner();
    let kept = alerts::close(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/alerts"), body(kept)))
}

fn body(kept: KeptAlert) -> Alert {
    Alert::of(kept.id.uuid(), kept.alert, kept.seen.map(|(by, at)| (by, at.into())))
}
