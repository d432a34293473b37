//! What a tank's records show: what is learnt, what plants take, and where records and readings do not fit.

use actix_web::web::Path;
use actix_web::{HttpResponse, get};
use fillmark_actions::dosing::{self, Learning, Reconciliation};
use fillmark_advice::solution::turnover::{Moves, TURNOVER_LIMIT};
use fillmark_api::{
    BalanceCheck, BalanceMonth, LearntMixture, LearntPh, LearntRise, MetersApart, TankLearning,
    TankReconciliation, TankTurnover, TankUptake,
};
use fillmark_domain::Id;
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::http::{AppData, Query, ReadProblems, Refused, SignedIn};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(read_learning).service(read_uptake).service(read_reconciliation);
}

/// How far to look back.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DaysBack {
    /// Days up to now; 28, if nothing is said.
    #[param(minimum = 1, maximum = 365)]
    days: Option<u16>,
}

impl DaysBack {
    fn told(&self) -> Result<u16, Refused> {
        let days = self.days.unwrap_or(28);
        let fits = (1..=365).contains(&days).then_some(days);
        fits.ok_or_else(|| Refused::parameter("days", "expected 1 to 365"))
    }
}

/// Read what is learnt or expected of the products that go into a tank: what each adds to the EC, what the step in force adds,
/// and how the pH answers.
///
/// Learnt from additions with readings before and after; each figure with its interval, how much of it is what labels or
/// chemistry say, and the additions it rests on.
#[utoipa::path(tag = "dosing", operation_id = "read_learning", security(("bearer" = [])),
    responses((status = 200, description = "As it is known now", body = TankLearning), ReadProblems))]
#[get("/sites/{site_id}/tanks/{tank_id}/learning")]
pub async fn read_learning(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, tank) = path.into_inner();
    let made = dosing::read_learning(&app, &caller.0, Id::new(site), Id::new(tank)).await?;
    Ok(HttpResponse::Ok().json(learning(made)))
}

/// Read what plants take from a tank a day, how often its fill was drunk, and what left it that no plant took.
///
/// From the time in which as many plants drank in the same stage. A tank with few readings is drawn to the tanks of the same
/// room and stage, and those to what is published.
#[utoipa::path(tag = "dosing", operation_id = "read_uptake", security(("bearer" = [])), params(DaysBack),
    responses((status = 200, description = "As the readings show it", body = TankUptake), ReadProblems))]
#[get("/sites/{site_id}/tanks/{tank_id}/uptake")]
pub async fn read_uptake(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    query: Query<DaysBack>,
) -> Result<HttpResponse, Refused> {
    let (site, tank) = path.into_inner();
    let days = query.0.told()?;
    let made = dosing::read_uptake(&app, &caller.0, Id::new(site), Id::new(tank), days).await?;
    Ok(HttpResponse::Ok().json(uptake(made)))
}

/// Read where a tank's records and readings do not fit, with the likely cause and what to look at.
///
/// Each addition is held against the EC before and after it. A difference beyond its uncertainty also raises an alert,
/// `balance_open`, once.
#[utoipa::path(tag = "dosing", operation_id = "read_reconciliation", security(("bearer" = [])), params(DaysBack),
    responses((status = 200, description = "What the readings make of it", body = TankReconciliation), ReadProblems))]
#[get("/sites/{site_id}/tanks/{tank_id}/reconciliation")]
pub async fn read_reconciliation(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    query: Query<DaysBack>,
) -> Result<HttpResponse, Refused> {
    let (site, tank) = path.into_inner();
    let days = query.0.told()?;
    let made = dosing::read_reconciliation(&app, &caller.0, Id::new(site), Id::new(tank), days).await?;
    Ok(HttpResponse::Ok().json(reconciliation(made)))
}

fn learning(made: Learning) -> TankLearning {
    let mixture = made.mixture.map(|mixture| {
        let parts = mixture.parts.iter().map(|(product, per_litre)| (product.uuid(), *per_litre));
        LearntMixture::of(parts, mixture.rise.as_ref())
    });
    let ph = made.ph.iter().map(|one| {
        let by_label = one.moves.map(|moves| moves == Moves::Down);
        LearntPh::of(one.product.uuid(), by_label, one.response.as_ref())
    });
    TankLearning {
        tank_id: made.tank.uuid(),
        made_at: made.at.into(),
        rises: made.rises.iter().map(|(product, rise)| LearntRise::of(product.uuid(), rise)).collect(),
        mixture,
        ph: ph.collect(),
        reasons: made.reasons,
        cautions: made.cautions,
    }
}

fn uptake(made: dosing::TankUptake) -> TankUptake {
    TankUptake {
        tank_id: made.tank.uuid(),
        from_at: made.from.into(),
        until_at: made.until.into(),
        stage: made.stage.map(fillmark_api::Code),
        plant_count: made.plants.into(),
        peer_tank_ids: made.peers.iter().map(|peer| peer.uuid()).collect(),
        water_l: made.water_l.map(Into::into),
        nutrient_ms_cm_l: made.nutrient.map(Into::into),
        uptake_ec: made.ec_ms_cm.map(Into::into),
        feed_ec_ms_cm: made.feed_ec_ms_cm,
        turnover: made.turnover.map(|value| TankTurnover::of(value, TURNOVER_LIMIT)),
        early_change: made.early.iter().map(Into::into).collect(),
        losses: made.losses.iter().map(Into::into).collect(),
        reasons: made.reasons,
        cautions: made.cautions,
    }
}

fn reconciliation(made: Reconciliation) -> TankReconciliation {
    let check = |(check, told): &(_, String)| BalanceCheck::of(check, told, |product| made.base(product));
    let months = made.months.iter();
    TankReconciliation {
        meters_apart: made.meters_apart.iter().map(|(apart, told)| MetersApart::of(apart, told)).collect(),
        tank_id: made.tank.uuid(),
        from_at: made.from.into(),
        until_at: made.until.into(),
        checks: made.checks.iter().map(check).collect(),
        months: months.map(|(month, told)| BalanceMonth::of(month, told, made.base(month.product))).collect(),
        reasons: made.reasons.clone(),
        cautions: made.cautions.clone(),
    }
}
