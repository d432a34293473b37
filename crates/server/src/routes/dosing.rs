//! Advice about what to add to a tank: asked for, kept as it was given, followed by people.

use actix_web::web::Path;
use actix_web::{HttpResponse, get, post};
use fillmark_actions::dosing::{self, CorrectionWanted, FillWanted};
use fillmark_api::{Advice, NewCorrectionAdvice, NewFillAdvice};
use fillmark_domain::Id;
use uuid::Uuid;

use crate::http::{AppData, Created, Json, ReadProblems, Refused, SignedIn, WriteProblems};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(advise_fill).service(advise_correction).service(read_advice);
}

/// Advise a fresh fill of a tank: water, doses in mixing order to the EC aim, acid in parts, and what to expect.
///
/// From the step of the programme in force today, the labels and the water's analysis. Amounts are those to be measured out;
/// `lacking` tells what the store cupboard does not hold. Whoever follows it names it in `advice_id` of what they enter.
#[utoipa::path(tag = "dosing", operation_id = "advise_fill", security(("bearer" = [])), request_body = NewFillAdvice,
    responses((status = 201, description = "The advice, kept as it was given", body = Advice), WriteProblems))]
#[post("/sites/{site_id}/advice/fills")]
pub async fn advise_fill(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewFillAdvice>,
) -> Result<Created<Advice>, Refused> {
    let site = Id::new(path.into_inner());
    let (litres, temperature_c) = body.0.told()?;
    let product = body.0.product_id.map(Id::new);
    let wanted = FillWanted { tank: Id::new(body.0.tank_id), litres, temperature_c, product };
    let kept = dosing::advise_fill(&app, &caller.0, site, &wanted).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/advice/{}", kept.0), kept.into()))
}

/// Advise how to bring a tank back into its bands, from its latest readings: leave it, strengthen, dilute, a step of pH, or a
/// fresh fill.
///
/// EC goes first; the pH is set, in steps, once it is right and mixed. What products do is learnt from what was poured and
/// read before; the reasons tell how much of it is still what labels or chemistry say.
#[utoipa::path(tag = "dosing", operation_id = "advise_correction", security(("bearer" = [])),
    request_body = NewCorrectionAdvice,
    responses((status = 201, description = "The advice, kept as it was given", body = Advice), WriteProblems))]
#[post("/sites/{site_id}/advice/corrections")]
pub async fn advise_correction(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewCorrectionAdvice>,
) -> Result<Created<Advice>, Refused> {
    let site = Id::new(path.into_inner());
    let wanted = CorrectionWanted { tank: Id::new(body.0.tank_id), topping_up: body.0.topping_up };
    let kept = dosing::advise_correction(&app, &caller.0, site, &wanted).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/advice/{}", kept.0), kept.into()))
}

/// Read advice as it was given.
#[utoipa::path(tag = "dosing", operation_id = "read_advice", security(("bearer" = [])),
    responses((status = 200, description = "As it was given", body = Advice), ReadProblems))]
#[get("/sites/{site_id}/advice/{advice_id}")]
pub async fn read_advice(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let kept = dosing::read_advice(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(HttpResponse::Ok().json(Advice::from(kept)))
}
