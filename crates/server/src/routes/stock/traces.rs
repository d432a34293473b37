//! Traces of lots.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get};
use fillmark_actions::stock;
use fillmark_api::{CycleReached, DrunkFrom, HarvestReached, HarvestTrace, LotDrunk, LotTrace, TankReached};
use fillmark_domain::Id;
use uuid::Uuid;

use crate::http::csv::{self, FormatQuery};
use crate::http::{AppData, Query, ReadProblems, Refused, SignedIn};

/// Follow a lot through a site: the tanks, cycles and harvests that it reached.
///
/// A tank has some of it from the first time it was poured in, or a solution made of it, until the tank is drained whole; partial
/// changes dilute it. As CSV a row for each of what it reached.
#[utoipa::path(tag = "stock", operation_id = "trace_lot", security(("bearer" = [])), params(FormatQuery),
    responses((status = 200, description = "Where it went", content((LotTrace = "application/json"), (String = "text/csv"))),
        ReadProblems))]
#[get("/sites/{site_id}/lots/{lot_id}/trace")]
pub async fn trace_lot(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    request: HttpRequest,
    query: Query<FormatQuery>,
) -> Result<HttpResponse, Refused> {
    let wants_csv = csv::is_wanted(&request, query.0.format.as_deref())?;
    let (site, lot) = path.into_inner();
    let reach = stock::trace(&app, &caller.0, Id::new(site), Id::new(lot)).await?;
    let trace = LotTrace {
        lot_ids: reach.trace.lots.iter().map(|lot| lot.uuid()).collect(),
        tanks: reach.trace.exposures.iter().map(TankReached::from).collect(),
        cycles: reach.drank.iter().map(CycleReached::from).collect(),
        harvests: reach.harvests.iter().map(HarvestReached::from).collect(),
        site_ids: reach.sites.iter().map(|site| site.uuid()).collect(),
        unseen_sites: reach.unseen_sites,
        names: reach.names,
    };
    Ok(csv::answer(wants_csv, || trace.rows(lot), &trace))
}

/// Follow a harvest back: the lots that its cycle may have drunk before it was picked.
///
/// Each with the tanks and days, and with what partial changes had left of it at most by then. As CSV a row for each tank of a lot.
#[utoipa::path(tag = "stock", operation_id = "trace_harvest", security(("bearer" = [])), params(FormatQuery),
    responses((status = 200, description = "The lots, each with where and when",
        content((HarvestTrace = "application/json"), (String = "text/csv"))), ReadProblems))]
#[get("/sites/{site_id}/harvests/{harvest_id}/trace")]
pub async fn trace_harvest(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    request: HttpRequest,
    query: Query<FormatQuery>,
) -> Result<HttpResponse, Refused> {
    let wants_csv = csv::is_wanted(&request, query.0.format.as_deref())?;
    let (site, harvest) = path.into_inner();
    let origin = stock::trace_back(&app, &caller.0, Id::new(site), Id::new(harvest)).await?;
    let lots = origin.lots.iter().map(|(lot, drunk)| LotDrunk {
        lot_id: lot.uuid(),
        drunk: drunk.iter().map(DrunkFrom::from).collect(),
    });
    let cycle_id = origin.harvest.cycle.uuid();
    let trace = HarvestTrace { harvest_id: harvest, cycle_id, lots: lots.collect(), names: origin.names };
    Ok(csv::answer(wants_csv, || trace.rows(), &trace))
}
