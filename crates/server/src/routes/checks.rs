//! Checks: listed, opened, settled, excused.

use actix_web::web::{Json as Answer, Path};
use actix_web::{HttpRequest, HttpResponse, get, post};
use chrono::NaiveDate;
use chrono_tz::Tz;
use fillmark_actions::work::checks;
use fillmark_actions::work::settle::{Completion, settle};
use fillmark_api::{Check, CheckStanding, Listed, NewCompletion, NewExcusal, TypedIn};
use fillmark_domain::Id;
use fillmark_domain::growing::is_keepable;
use fillmark_domain::work::CheckStanding as CheckStandingWord;
use fillmark_store::Filter;
use fillmark_store::checks::KeptCheck;
use uuid::Uuid;

use crate::http::list::{Asked, ListKind, a_day, one_of};
use crate::http::{AppData, Created, Json, ListQuery, ReadProblems, Refused, SignedIn, WriteProblems};

type Checks = Listed<Check>;

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(list_checks).service(read_check);
    config.service(open_check).service(settle_check).service(excuse_check);
}

const LIST: ListKind = ListKind {
    ordered_by: &["due_at", "limit_at"],
    narrowed_by: &["room_id", "tank_id", "plan_id", "person_id"],
    archives: false,
    named: false,
    recorded: None,
    coded_by: &[("state", one_of::<CheckStandingWord>), ("due_on", a_day)],
};

/// List the checks of a site.
///
/// Made a fortnight ahead. Ordered by when they are due unless `sort` says otherwise.
#[utoipa::path(tag = "work", operation_id = "list_checks", security(("bearer" = [])),
    params(ListQuery, ("due_on" = Option<NaiveDate>, Query, description = "Only of this local day; repeated, of any of them"),
        ("state" = Option<CheckStanding>, Query, description = "Only these; repeated, any of them"),
        ("room_id" = Option<Uuid>, Query, description = "Only in this room or at a tank that feeds it"),
        ("tank_id" = Option<Uuid>, Query, description = "Only at this tank"),
        ("plan_id" = Option<Uuid>, Query, description = "Only of this plan"),
        ("person_id" = Option<Uuid>, Query, description = "Only in the rounds of this person as published")),
    responses((status = 200, description = "A page of them", body = Checks), ReadProblems))]
#[get("/sites/{site_id}/checks")]
pub async fn list_checks(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let mut asked = Asked::read(&request, LIST)?;
    dated(&mut asked.page.filters, "due_on")?;
    let (page, zone) = checks::list(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, |kept| body(&kept, zone)))
}

/// Read a check.
#[utoipa::path(tag = "work", operation_id = "read_check", security(("bearer" = [])),
    responses((status = 200, description = "As it stands", body = Check), ReadProblems))]
#[get("/sites/{site_id}/checks/{check_id}")]
pub async fn read_check(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Answer<Check>, Refused> {
    let (site, id) = path.into_inner();
    let (kept, zone) = checks::read(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(Answer(body(&kept, zone)))
}

/// Begin a check.
///
/// From ten minutes before it is due. A change of its plan leaves it alone from then on. Opening an open check hands it over, and
/// so does opening one of a colleague's round. Refused to who is not qualified for it, or has been in a dirtier room on the day.
#[utoipa::path(tag = "work", operation_id = "open_check", security(("bearer" = [])),
    responses((status = 201, description = "As it stands now", body = Check), WriteProblems))]
#[post("/sites/{site_id}/checks/{check_id}/openings")]
pub async fn open_check(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Created<Check>, Refused> {
    let (site, id) = path.into_inner();
    let (kept, zone) = checks::open(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(made(site, &kept, zone))
}

/// Settle a check as done.
///
/// What counts is when it was done, not when it is typed in: from ten minutes before it is due; done after its window it is
/// late, done after its limit it stays missed. Done by somebody who is not qualified for it, it is asked back once.
#[utoipa::path(tag = "work", operation_id = "settle_check", security(("bearer" = [])), request_body = NewCompletion,
    responses((status = 201, description = "As it stands, by this try or an earlier one", body = Check), WriteProblems))]
#[post("/sites/{site_id}/checks/{check_id}/completions")]
pub async fn settle_check(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewCompletion>,
) -> Result<Created<Check>, Refused> {
    let (site, id) = path.into_inner();
    let completion = Completion {
        client_id: body.0.client_id,
        done_at: body.0.done_at.0,
        done_by: body.0.done_by.map(Id::new),
        with: body.0.done_with.map(Id::new),
        evidence: body.0.evidence()?,
        confirmed: body.0.confirmed,
    };
    let (kept, zone) = settle(&app, &caller.0, Id::new(site), Id::new(id), completion).await?;
    Ok(made(site, &kept, zone))
}

/// Excuse a check: it need not be done.
#[utoipa::path(tag = "work", operation_id = "excuse_check", security(("bearer" = [])), request_body = NewExcusal,
    responses((status = 201, description = "As it stands now", body = Check), WriteProblems))]
#[post("/sites/{site_id}/checks/{check_id}/excusals")]
pub async fn excuse_check(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewExcusal>,
) -> Result<Created<Check>, Refused> {
    let (site, id) = path.into_inner();
    let reason = body.0.reason()?;
    let (kept, zone) = checks::excuse(&app, &caller.0, Id::new(site), Id::new(id), reason).await?;
    Ok(made(site, &kept, zone))
}

fn made(site: Uuid, kept: &KeptCheck, zone: Tz) -> Created<Check> {
    Created::at(format!("/api/v1/sites/{site}/checks/{}", kept.id), body(kept, zone))
}

/// The body of a check on the clock of a zone.
pub(super) fn body(kept: &KeptCheck, zone: Tz) -> Check {
    let typed = kept.typed.map(|typed| TypedIn {
        client_id: typed.client_id,
        by: typed.by.map(Id::uuid),
        received_at: typed.received_at.into(),
    });
    Check::of(kept.id.uuid(), &kept.check, typed, zone)
}

/// Reads the values of a filter as dates.
fn dated(filters: &mut [Filter], column: &str) -> Result<(), Refused> {
    for filter in filters {
        let Filter::OneOf(name, values) = filter else { continue };
        if *name != column {
            continue;
        }
        for value in values {
            let text = value.to_string();
            let day: Option<NaiveDate> = text.trim_matches('\'').parse().ok();
            let day = day.filter(|day| is_keepable(*day));
            *value = day.ok_or_else(|| Refused::parameter(column, "expected a date like 2026-11-24"))?.into();
        }
    }
    Ok(())
}
