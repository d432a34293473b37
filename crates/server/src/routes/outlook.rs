//! Looking over many days of rounds: coverage and fairness.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get};
use chrono::NaiveDate;
use fillmark_actions::work::outlook;
use fillmark_api::{CoveredDay, RoundsCoverage, RoundsFairness, WeekOfWork};
use fillmark_domain::Id;
use serde::{Deserialize, Serialize};
use utoipa::IntoParams;
use uuid::Uuid;

use super::rounds::Called;
use crate::http::{AppData, AskProblems, Query, Refused, SignedIn, csv};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(read_coverage).service(read_fairness);
}

/// Which days.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct SpanQuery {
    /// The first local day.
    from_on: Option<NaiveDate>,
    /// The last local day, at most 91 days later.
    until_on: Option<NaiveDate>,
    /// `csv` where no Accept header can be sent.
    #[param(max_length = 10)]
    format: Option<String>,
}

/// Read which days lack people or a qualification.
///
/// From check plans, tank changes of the programme, shifts and absences; four weeks from today where no days are named.
#[utoipa::path(tag = "work", operation_id = "read_coverage", security(("bearer" = [])), params(SpanQuery),
    responses((status = 200, description = "Day by day", content((RoundsCoverage = "application/json"), (String = "text/csv"))),
        AskProblems))]
#[get("/sites/{site_id}/rounds/coverage")]
pub async fn read_coverage(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
    query: Query<SpanQuery>,
) -> Result<HttpResponse, Refused> {
    let SpanQuery { from_on, until_on, format } = query.0;
    let wants_csv = csv::is_wanted(&request, format.as_deref())?;
    let made = outlook::read_coverage(&app, &caller.0, Id::new(path.into_inner()), from_on, until_on).await?;
    let days: Vec<CoveredDay> =
        made.days.iter().map(|day| CoveredDay::of(day, &Called(&made.names))).collect();
    Ok(if wants_csv { table(&days) } else { HttpResponse::Ok().json(RoundsCoverage { days }) })
}

/// Read the minutes of checks, and of those that nobody likes, per person and week, beside what would be fair.
///
/// Fair over the four weeks that end with each week. Whoever does not manage the site is shown their own alone. The last four weeks where no days are named.
#[utoipa::path(tag = "work", operation_id = "read_fairness", security(("bearer" = [])), params(SpanQuery),
    responses((status = 200, description = "Week by week", content((RoundsFairness = "application/json"), (String = "text/csv"))),
        AskProblems))]
#[get("/sites/{site_id}/rounds/fairness")]
pub async fn read_fairness(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
    query: Query<SpanQuery>,
) -> Result<HttpResponse, Refused> {
    let SpanQuery { from_on, until_on, format } = query.0;
    let wants_csv = csv::is_wanted(&request, format.as_deref())?;
    let made = outlook::read_fairness(&app, &caller.0, Id::new(path.into_inner()), from_on, until_on).await?;
    let weeks: Vec<WeekOfWork> =
        made.weeks.iter().map(|week| WeekOfWork::of(week, &Called(&made.names))).collect();
    Ok(if wants_csv { table(&weeks) } else { HttpResponse::Ok().json(RoundsFairness { weeks }) })
}

fn table<T: Serialize>(rows: &[T]) -> HttpResponse {
    HttpResponse::Ok().content_type(csv::CONTENT_TYPE).body(csv::of_items(rows))
}
