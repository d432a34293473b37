//! The check plans that a site usually begins with.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get, post};
use fillmark_actions::work::templates;
use fillmark_api::{CheckPlan, CheckPlanTemplate, CheckPlanTemplates, NewTemplatePlans, TemplatePlans};
use fillmark_domain::Id;
use uuid::Uuid;

use crate::http::csv::{self, FormatQuery};
use crate::http::{AppData, Created, Json, Query, ReadProblems, Refused, SignedIn, WriteProblems};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(read_check_plan_templates).service(make_template_plans);
}

/// Read the check plans that a site usually begins with, for the tanks, meters and rooms it has.
///
/// EC and pH of each tank each day, each meter calibrated and each room looked through and cleaned each week: common practice.
/// What comes each week is spread over the working days, the emptier ones first. Tank changes come from the feeding programme: told are the tanks that
/// have them, and those that have none as things stand, with what to do. Each plan with how often in words, whether plans do the same already, and which
/// plans may be for the same.
#[utoipa::path(tag = "work", operation_id = "read_check_plan_templates", security(("bearer" = [])), params(FormatQuery),
    responses((status = 200, description = "The templates", content((CheckPlanTemplates = "application/json"), (String = "text/csv"))),
        ReadProblems))]
#[get("/sites/{site_id}/check-plan-templates")]
pub async fn read_check_plan_templates(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
    query: Query<FormatQuery>,
) -> Result<HttpResponse, Refused> {
    let wants_csv = csv::is_wanted(&request, query.0.format.as_deref())?;
    let usual = templates::read(&app, &caller.0, Id::new(path.into_inner())).await?;
    let templates: Vec<CheckPlanTemplate> = usual
        .templates
        .into_iter()
        .map(|one| CheckPlanTemplate::of(&one.template, one.is_there, one.beside, usual.zone))
        .collect();
    let told = CheckPlanTemplates::of(templates, &usual.changes);
    Ok(csv::answer(wants_csv, || told.templates.clone(), &told))
}

/// Make check plans of templates: of some kinds, or of all.
///
/// What is there already is left as it is, so that asking twice makes nothing twice. The plans are changed like any.
#[utoipa::path(tag = "work", operation_id = "make_template_plans", security(("bearer" = [])), request_body = NewTemplatePlans,
    responses((status = 201, description = "The plans that are new", body = TemplatePlans), WriteProblems))]
#[post("/sites/{site_id}/check-plan-templates")]
pub async fn make_template_plans(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewTemplatePlans>,
) -> Result<Created<TemplatePlans>, Refused> {
    let site = path.into_inner();
    let kinds: Vec<_> = body.0.kinds.iter().map(|kind| kind.0).collect();
    let (made, zone) = templates::make(&app, &caller.0, Id::new(site), &kinds).await?;
    let made = TemplatePlans { made: made.into_iter().map(|kept| CheckPlan::by(kept, zone)).collect() };
    Ok(Created::at(format!("/api/v1/sites/{site}/check-plans"), made))
}
