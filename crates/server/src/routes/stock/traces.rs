//! Traces of lots.

use actix_web::get;
use actix_web::web::{Json as Answer, Path};
use fillmark_actions::stock;
use fillmark_api::{CycleReached, HarvestTrace, LotDrunk, LotTrace, TankReached};
use fillmark_domain::Id;
use uuid::Uuid;

use crate::http::{AppData, ReadProblems, Refused, SignedIn};

/// Follow a lot through a site: the tanks, cycles and harvests that it reached.
///
/// A tank has some of it from the first time it was poured in, or a solution made of it, until the tank is drained whole; partial
/// changes dilute it.
#[utoipa::path(tag = "stock", operation_id = "trace_lot", security(("bearer" = [])),
    responses((status = 200, description = "Where it went", body = LotTrace), ReadProblems))]
#[get("/sites/{site_id}/lots/{lot_id}/trace")]
pub async fn trace_lot(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Answer<LotTrace>, Refused> {
    let (site, lot) = path.into_inner();
    let reach = stock::trace(&app, &caller.0, Id::new(site), Id::new(lot)).await?;
    Ok(Answer(LotTrace {
        lot_ids: reach.trace.lots.iter().map(|lot| lot.uuid()).collect(),
        tanks: reach.trace.exposures.iter().map(TankReached::from).collect(),
        cycles: reach.drank.iter().map(CycleReached::from).collect(),
        harvest_ids: reach.harvests.iter().map(|id| id.uuid()).collect(),
        site_ids: reach.sites.iter().map(|site| site.uuid()).collect(),
    }))
}

/// Follow a harvest back: the lots that its cycle may have drunk before it was picked.
#[utoipa::path(tag = "stock", operation_id = "trace_harvest", security(("bearer" = [])),
    responses((status = 200, description = "The lots, each with where and when", body = HarvestTrace), ReadProblems))]
#[get("/sites/{site_id}/harvests/{harvest_id}/trace")]
pub async fn trace_harvest(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Answer<HarvestTrace>, Refused> {
    let (site, harvest) = path.into_inner();
    let origin = stock::trace_back(&app, &caller.0, Id::new(site), Id::new(harvest)).await?;
    let lots = origin.lots.iter().map(|(lot, drunk)| LotDrunk {
        lot_id: lot.uuid(),
        drunk: drunk.iter().map(CycleReached::from).collect(),
    });
    let cycle_id = origin.harvest.cycle.uuid();
    Ok(Answer(HarvestTrace { harvest_id: harvest, cycle_id, lots: lots.collect() }))
}
