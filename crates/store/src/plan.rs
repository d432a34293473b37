//! A site's plan, loaded as a whole: a few small tables that answers about any day need together.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use fillmark_domain::entries::ChangePlan;
use fillmark_domain::growing::{Cycle, Feed, Placement, ProgrammeId, ProgrammeRevision};
use fillmark_domain::places::{Closure, OutOfUse, Site, SiteId, Tank, TankRoom, WaterSource};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::{Kept, OpenDays};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};
use uuid::Uuid;

use crate::records::{all, all_since};
use crate::words::{programme_revisions, sites};
use crate::{Record, SiteScope, StoreError, Tx};

/// The site itself. Every scope names a site that is there, so nothing is found only when it was removed by hand.
/// # Errors
/// When the database fails or the row is broken.
pub async fn site(tx: &Tx, scope: SiteScope) -> Result<Option<Kept<Site>>, StoreError> {
    let row = sites::row::Entity::find_by_id(scope.id().uuid()).one(&tx.0).await?;
    Ok(row.map(Site::read).transpose()?)
}

/// The sites there are, archived ones too: who has a role at every site has it at these.
/// # Errors
/// When the database fails.
pub async fn site_ids(tx: &Tx) -> Result<Vec<SiteId>, StoreError> {
    let rows: Vec<Uuid> = sites::row::Entity::find()
        .select_only()
        .column(sites::row::Column::Id)
        .into_tuple()
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(SiteId::new).collect())
}

/// The plan of a site; nothing when there is no such site.
/// # Errors
/// When the database fails or a row is broken.
pub async fn site_plan(tx: &Tx, scope: SiteScope) -> Result<Option<SitePlan>, StoreError> {
    plan_since(tx, scope, None).await
}

/// The plan of a site without what was over before the local day of an instant: enough for whoever asks about no day
/// before it, and as small after years as after weeks. Nothing when there is no such site.
/// # Errors
/// When the database fails or a row is broken.
pub async fn site_plan_since(
    tx: &Tx,
    scope: SiteScope,
    at: DateTime<Utc>,
) -> Result<Option<SitePlan>, StoreError> {
    plan_since(tx, scope, Some(at)).await
}

async fn plan_since(
    tx: &Tx,
    scope: SiteScope,
    at: Option<DateTime<Utc>>,
) -> Result<Option<SitePlan>, StoreError> {
    let Some(site) = site(tx, scope).await? else { return Ok(None) };
    let since = at.map(|at| at.with_timezone(&site.content.time_zone).date_naive());
    let closures = contents(all::<Closure>(tx, scope).await?);
    let cycles: HashMap<_, _> = all_since::<Cycle>(tx, scope, "ends_on", since)
        .await?
        .into_iter()
        .map(|cycle| (cycle.id, cycle))
        .collect();
    let programmes = cycles.values().map(|cycle| cycle.content.programme).collect();
    Ok(Some(SitePlan {
        zone: site.content.time_zone,
        open: OpenDays {
            week: site.content.working_week,
            closures: closures.into_iter().map(|closure| closure.days).collect(),
        },
        rooms: all(tx, scope).await?,
        tanks: all::<Tank>(tx, scope).await?,
        tank_rooms: contents(all_since::<TankRoom>(tx, scope, "until_on", since).await?),
        outages: contents(all_since::<OutOfUse>(tx, scope, "until_on", since).await?),
        sources: all::<WaterSource>(tx, scope).await?,
        revisions: revisions(tx, programmes).await?,
        cycles,
        placements: contents(all_since::<Placement>(tx, scope, "until_on", since).await?),
        feeds: contents(all_since::<Feed>(tx, scope, "until_on", since).await?),
        change_plans: contents(all::<ChangePlan>(tx, scope).await?),
    }))
}

async fn revisions(
    tx: &Tx,
    programmes: Vec<ProgrammeId>,
) -> Result<HashMap<ProgrammeId, Vec<ProgrammeRevision>>, StoreError> {
    use programme_revisions::row::{Column, Entity};
    let rows = Entity::find()
        .filter(Column::ProgrammeId.is_in(programmes.iter().map(|programme| programme.uuid())))
        .filter(Column::ArchivedAt.is_null())
        .order_by_asc(Column::EffectiveAt)
        .all(&tx.0)
        .await?;
    let mut revisions: HashMap<ProgrammeId, Vec<ProgrammeRevision>> = HashMap::new();
    for row in rows {
        let revision = ProgrammeRevision::read(row)?.content;
        revisions.entry(revision.programme).or_default().push(revision);
    }
    Ok(revisions)
}

fn contents<W>(kept: Vec<Kept<W>>) -> Vec<W> {
    kept.into_iter().map(|kept| kept.content).collect()
}
