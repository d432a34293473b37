//! A site's plan, loaded as a whole: a few small tables that answers about any day need together.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_domain::entries::ChangePlan;
use fillmark_domain::growing::{Cycle, Feed, Placement, ProgrammeId, ProgrammeRevision};
use fillmark_domain::places::{Closure, OutOfUse, Site, SiteId, Tank, TankRoom, WaterSource};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::{Kept, OpenDays};
use sea_orm::sea_query::{Expr, ExprTrait, JoinType};
use sea_orm::{
    ColumnTrait, DbErr, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, QueryResult, QuerySelect,
    QueryTrait,
};
use uuid::Uuid;

use crate::records::{all, all_since};
use crate::words::{programme_revisions, sites};
use crate::{BusinessScope, Record, SiteScope, StoreError, Tx};

/// A remembered plan serves those who ask about later days for so long; then it is read again, without what is over.
const REACH: TimeDelta = TimeDelta::days(31);

/// The site itself. Every scope names a site that is there, so nothing is found only when it was removed by hand.
/// # Errors
/// When the database fails or the row is broken.
pub async fn site(tx: &Tx, scope: SiteScope) -> Result<Option<Kept<Site>>, StoreError> {
    let row = sites::row::Entity::find_by_id(scope.id().uuid()).one(&tx.0).await?;
    Ok(row.map(Site::read).transpose()?)
}

/// The plan of a site; nothing when there is no such site.
/// # Errors
/// When the database fails or a row is broken.
pub async fn site_plan(tx: &Tx, scope: SiteScope) -> Result<Option<SitePlan>, StoreError> {
    match site(tx, scope).await? {
        Some(site) => load(tx, scope, site.content, None).await.map(Some),
        None => Ok(None),
    }
}

/// The plan of a site without what was over before the local day of an instant, or some days before it: enough for
/// whoever asks about no earlier day, and as small after years as after weeks. Nothing when there is no such site.
/// Once read it is remembered for as long as nothing in it changes.
/// # Errors
/// When the database fails or a row is broken.
pub async fn site_plan_since(
    tx: &Tx,
    scope: SiteScope,
    at: DateTime<Utc>,
) -> Result<Option<Arc<SitePlan>>, StoreError> {
    let Some((site, marks)) = marked(tx, scope).await? else { return Ok(None) };
    let since = at.with_timezone(&site.time_zone).date_naive();
    if let Some(plan) = tx.plans().find(scope.id(), marks, since) {
        return Ok(Some(plan));
    }
    let plan = Arc::new(load(tx, scope, site, Some(since)).await?);
    // Where somebody changed it meanwhile, this is neither the plan of before nor that of after.
    if marked(tx, scope).await?.is_some_and(|(_, after)| after == marks) {
        tx.plans().keep(scope.id(), Remembered { marks, since, plan: plan.clone() });
    }
    Ok(Some(plan))
}

/// The marks of a site's plan, and of what the business gives to every plan: the databases change them with each change.
type Marks = [Option<Uuid>; 2];

async fn marked(tx: &Tx, scope: SiteScope) -> Result<Option<(Site, Marks)>, StoreError> {
    let mut rows = sites::row::Entity::find_by_id(scope.uuid());
    for (alias, owner) in OWNERS.into_iter().zip([scope.uuid(), Uuid::nil()]) {
        rows = rows.column_as(Expr::col((alias, "mark")), alias);
        QueryTrait::query(&mut rows).join_as(
            JoinType::LeftJoin,
            "plan_marks",
            alias,
            Expr::col((alias, "site_id")).eq(owner),
        );
    }
    let Some(Marked { row, marks }) = rows.into_model().one(&tx.0).await? else { return Ok(None) };
    Ok(Some((Site::read(row)?.content, marks)))
}

/// What the marks of a site and of the business are called beside it.
const OWNERS: [&str; 2] = ["mark_of_site", "mark_of_business"];

struct Marked {
    row: sites::row::Model,
    marks: Marks,
}

impl FromQueryResult for Marked {
    fn from_query_result(row: &QueryResult, before: &str) -> Result<Self, DbErr> {
        let [of_site, of_business] = OWNERS;
        let marks = [row.try_get(before, of_site)?, row.try_get(before, of_business)?];
        Ok(Self { row: sites::row::Model::from_query_result(row, before)?, marks })
    }
}

/// Plans as they were read, each site's latest.
#[derive(Debug, Clone, Default)]
pub(crate) struct Plans(Arc<Mutex<HashMap<SiteId, Remembered>>>);

#[derive(Debug)]
struct Remembered {
    marks: Marks,
    /// What was over before this day is left out.
    since: NaiveDate,
    plan: Arc<SitePlan>,
}

impl Plans {
    fn find(&self, site: SiteId, marks: Marks, since: NaiveDate) -> Option<Arc<SitePlan>> {
        let plans = self.lock();
        let kept = plans.get(&site)?;
        let reaches = kept.since <= since && since - kept.since <= REACH;
        (kept.marks == marks && reaches).then(|| kept.plan.clone())
    }

    fn keep(&self, site: SiteId, read: Remembered) {
        self.lock().insert(site, read);
    }

    fn lock(&self) -> MutexGuard<'_, HashMap<SiteId, Remembered>> {
        // Nothing is done under the lock that could leave a plan half way.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Reads the plan. Each table that is read here has triggers that set its mark (m0016).
async fn load(
    tx: &Tx,
    scope: SiteScope,
    site: Site,
    since: Option<NaiveDate>,
) -> Result<SitePlan, StoreError> {
    let closures = contents(all::<Closure>(tx, scope).await?);
    let cycles: HashMap<_, _> = all_since::<Cycle>(tx, scope, "ends_on", since)
        .await?
        .into_iter()
        .map(|cycle| (cycle.id, cycle))
        .collect();
    let programmes: Vec<ProgrammeId> = cycles.values().map(|cycle| cycle.content.programme).collect();
    Ok(SitePlan {
        zone: site.time_zone,
        open: OpenDays {
            week: site.working_week,
            closures: closures.into_iter().map(|closure| closure.days).collect(),
        },
        rooms: all(tx, scope).await?,
        tanks: all::<Tank>(tx, scope).await?,
        tank_rooms: contents(all_since::<TankRoom>(tx, scope, "until_on", since).await?),
        outages: contents(all_since::<OutOfUse>(tx, scope, "until_on", since).await?),
        sources: all::<WaterSource>(tx, scope).await?,
        revisions: revisions(tx, scope.in_business(), &programmes).await?,
        cycles,
        placements: contents(all_since::<Placement>(tx, scope, "until_on", since).await?),
        feeds: contents(all_since::<Feed>(tx, scope, "until_on", since).await?),
        change_plans: contents(all::<ChangePlan>(tx, scope).await?),
    })
}

/// The revisions of programmes, the earliest first; nothing of those that have none.
/// # Errors
/// When the database fails or a row is broken.
pub async fn revisions(
    tx: &Tx,
    _scope: BusinessScope,
    programmes: &[ProgrammeId],
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
