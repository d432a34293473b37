//! Reports, as JSON and as CSV.

use actix_web::http::header;
use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get};
use chrono::NaiveDate;
use fillmark_actions::reports::{self, RoomReport as Made};
use fillmark_advice::review::{CycleYield, DayReviewed, DayStanding, share_reviewed};
use fillmark_api::{Problem, ReportCheck, ReportSeries, ReportYield, RoomReport};
use fillmark_domain::entries::Spot;
use fillmark_domain::{Coded, Days, Id};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::http::{AppData, Query, ReadProblems, Refused, SignedIn, csv};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(read_room_report);
}

/// The period of a report and its form.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ReportQuery {
    /// First local day.
    from_on: NaiveDate,
    /// Last local day.
    until_on: NaiveDate,
    /// `csv` where no Accept header can be sent.
    format: Option<String>,
}

/// Read a room's report over local days: compliance and yield, each figure with its n.
///
/// As JSON, or as CSV (`Accept: text/csv` or `format=csv`): one row a figure or list entry.
#[utoipa::path(tag = "reports", operation_id = "read_room_report", security(("bearer" = [])), params(ReportQuery),
    responses((status = 200, description = "The report", content((RoomReport = "application/json"), (String = "text/csv"))),
        (status = 406, description = "Neither JSON nor CSV is accepted", body = Problem), ReadProblems))]
#[get("/sites/{site_id}/rooms/{room_id}/report")]
pub async fn read_room_report(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    query: Query<ReportQuery>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let (site, room) = path.into_inner();
    let wants_csv = csv::is_wanted(&request, query.0.format.as_deref())?;
    let days = Days { from: query.0.from_on, until: query.0.until_on };
    let report = answer(reports::room(&app, &caller.0, Id::new(site), Id::new(room), days).await?);
    let mut response = HttpResponse::Ok();
    response
        .insert_header((header::VARY, "Accept, Authorization"))
        .insert_header((header::CACHE_CONTROL, "no-store"));
    Ok(match wants_csv {
        true => response.content_type(csv::CONTENT_TYPE).body(csv::of_report(&report)),
        false => response.json(report),
    })
}

fn is_open(day: &DayReviewed) -> bool {
    matches!(day.standing(), DayStanding::Open | DayStanding::Reopened)
}

fn answer(made: Made) -> RoomReport {
    let place = |spot: Spot| match spot {
        Spot::Tank(tank) => made.tank_names.get(&tank).cloned().unwrap_or_default(),
        Spot::Room(_) => made.room_name.clone(),
    };
    let check = |kept: &fillmark_store::checks::KeptCheck| ReportCheck {
        check_id: kept.id.uuid(),
        name: kept.check.name.clone(),
        due_at: kept.check.due_at.into(),
        state: kept.check.state.standing().code().to_owned(),
    };
    let of_cycle = |one: &CycleYield| {
        ReportYield::of(one.cycle.uuid(), one.name.clone(), &one.figures, &one.beside_earlier)
    };
    RoomReport {
        room_id: made.room.uuid(),
        from_on: made.days.from,
        until_on: made.days.until,
        made_at: made.made_at.into(),
        journal_id: made.journal_id,
        checks: made.compliance.checks.into(),
        in_band: made.compliance.in_band.into(),
        time: made.compliance.time.into(),
        changes_on_time: made.compliance.changes_on_time.into(),
        calibrated: made.compliance.calibrated.into(),
        complete: made.compliance.complete.into(),
        reviewed: share_reviewed(&made.reviewed).into(),
        unreviewed_on: made.reviewed.iter().filter(|day| is_open(day)).map(|day| day.day).collect(),
        series: made
            .compliance
            .series
            .iter()
            .map(|series| ReportSeries::of(series, place(series.spot)))
            .collect(),
        late_or_missed: made.troubled_checks.iter().map(check).collect(),
        yields: made.yields.iter().map(of_cycle).collect(),
        changes: made.changes.into_iter().map(Into::into).collect(),
        calibrations: made.calibrations.into_iter().map(Into::into).collect(),
        corrections: made.corrections.into_iter().map(Into::into).collect(),
        harvests: made.harvests.into_iter().map(Into::into).collect(),
        room_name: made.room_name,
    }
}
