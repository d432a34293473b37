//! Calculators: asked with a body, answered at once, kept nowhere.

use actix_web::{HttpResponse, post};
use fillmark_actions::calculators;
use fillmark_api::{
    AcidAnswer, AcidQuestion, AirAnswer, AirQuestion, MeterAnswer, MeterQuestion, SolutionAnswer,
    SolutionQuestion, UnitAnswer, UnitQuestion,
};

use crate::http::{AskProblems, Json, Refused, SignedIn};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(calculate_solution).service(calculate_acid).service(convert_unit);
    config.service(calculate_air).service(check_meter);
}

/// Calculate EC, pH and elements of a recipe of salts and products in a water.
///
/// The example is a published recipe for lettuce (modified Sonneveld; Mattson and Peters), 100 US gallons: its authors print
/// N 150, P 31, K 210, Ca 90, Mg 24 ppm.
#[utoipa::path(tag = "calculators", operation_id = "calculate_solution", security(("bearer" = [])),
    request_body = SolutionQuestion,
    responses((status = 200, description = "What it comes to", body = SolutionAnswer), AskProblems))]
#[post("/calculators/solution")]
pub async fn calculate_solution(
    caller: SignedIn,
    body: Json<SolutionQuestion>,
) -> Result<HttpResponse, Refused> {
    let made = calculators::calculate_solution(&caller.0, &body.0.word()?)?;
    Ok(HttpResponse::Ok().json(SolutionAnswer::from(&made)))
}

/// Calculate how much acid or alkali takes a water to a pH, and what else that does.
///
/// The example is a water of 3 meq/L; for one acidified to pH 6.0 with nitric acid, PHREEQC finds 8.14 once it has come to rest
/// with air of 420 ppm carbon dioxide. Fluid ounces in 100 US gallons come out as in Table 1 of the fact sheet Adjusting
/// Alkalinity with Acids (University of Massachusetts Amherst Extension) within 6 %.
#[utoipa::path(tag = "calculators", operation_id = "calculate_acid", security(("bearer" = [])),
    request_body = AcidQuestion,
    responses((status = 200, description = "The dose and what it does", body = AcidAnswer), AskProblems))]
#[post("/calculators/acid")]
pub async fn calculate_acid(caller: SignedIn, body: Json<AcidQuestion>) -> Result<HttpResponse, Refused> {
    let dose = calculators::calculate_acid(&caller.0, &body.0.word()?)?;
    Ok(HttpResponse::Ok().json(AcidAnswer::from(&dose)))
}

/// Tell a quantity in another unit of the same dimension.
///
/// The example is of the scale of 500 ppm a mS/cm. Gallons, ounces and spoons are those of NIST Handbook 44, Appendix C.
#[utoipa::path(tag = "calculators", operation_id = "convert_unit", security(("bearer" = [])),
    request_body = UnitQuestion,
    responses((status = 200, description = "The same in that unit", body = UnitAnswer), AskProblems))]
#[post("/calculators/unit")]
pub async fn convert_unit(caller: SignedIn, body: Json<UnitQuestion>) -> Result<HttpResponse, Refused> {
    let (quantity, to) = body.0.word()?;
    let converted = calculators::convert_unit(&caller.0, quantity, to)?;
    Ok(HttpResponse::Ok().json(UnitAnswer::from(&converted)))
}

/// Calculate vapour pressure deficit and dew point of the air, and the light of a day.
///
/// The example's saturation vapour pressure is that of FAO Irrigation and Drainage Paper 56, Example 3: 3.075 kPa at 24.5 °C.
#[utoipa::path(tag = "calculators", operation_id = "calculate_air", security(("bearer" = [])),
    request_body = AirQuestion,
    responses((status = 200, description = "What follows", body = AirAnswer), AskProblems))]
#[post("/calculators/air")]
pub async fn calculate_air(caller: SignedIn, body: Json<AirQuestion>) -> Result<HttpResponse, Refused> {
    let air = calculators::calculate_air(&caller.0, &body.0.word()?)?;
    Ok(HttpResponse::Ok().json(AirAnswer::from(&air)))
}

/// Check a pH meter by its buffers, an EC meter by its standard.
///
/// The example's slope is (174 − 2) mV over 2.99 pH, held against the 59.16 mV of Nernst's law (CODATA 2018): 97.2 %. Buffers are
/// those of JIS Z 8802 at their temperature, standards those of the CRC Handbook (values of NIST).
#[utoipa::path(tag = "calculators", operation_id = "check_meter", security(("bearer" = [])),
    request_body = MeterQuestion,
    responses((status = 200, description = "Whether they may be used", body = MeterAnswer), AskProblems))]
#[post("/calculators/meter")]
pub async fn check_meter(caller: SignedIn, body: Json<MeterQuestion>) -> Result<HttpResponse, Refused> {
    let meters = calculators::check_meter(&caller.0, &body.0.word()?)?;
    Ok(HttpResponse::Ok().json(MeterAnswer::from(&meters)))
}
