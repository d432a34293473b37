//! How plans make checks: each claimed once, remade while nobody has opened it, and how far each plan has been
//! followed.

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::work::{Check, CheckPlan, CheckStanding};
use fillmark_domain::{Id, Kept};
use sea_orm::ActiveValue::{NotSet, Unchanged};
use sea_orm::sea_query::{Expr, ExprTrait, LockBehavior, LockType, OnConflict, Query};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set};

use crate::checks::{self, Column, Entity, KeptCheck};
use crate::columns::code;
use crate::words::check_plans;
use crate::{Record, SiteScope, Stamp, StoreError, Tx, journal};

/// Claims checks; of each that is there already nothing happens. Answers how many are new.
/// # Errors
/// When the database fails.
pub async fn claim(tx: &Tx, site: SiteScope, stamp: &Stamp<'_>, wanted: &[Check]) -> Result<u64, StoreError> {
    let mut claimed = 0;
    for some in wanted.chunks(200) {
        let rows = some.iter().map(|check| checks::columns(site, stamp, check));
        claimed += Entity::insert_many(rows)
            .on_conflict(OnConflict::new().do_nothing().to_owned())
            .exec_without_returning(&tx.0)
            .await?;
    }
    Ok(claimed)
}

/// The checks of a plan that nobody opened and that are due after an instant, locked.
/// # Errors
/// When the database fails or a row is broken.
pub async fn lock_coming(
    tx: &Tx,
    site: SiteScope,
    plan: Id<CheckPlan>,
    after: DateTime<Utc>,
) -> Result<Vec<KeptCheck>, StoreError> {
    let rows = checks::of_site(site)
        .filter(Column::PlanId.eq(plan.uuid()))
        .filter(Column::State.eq(code(CheckStanding::Planned)))
        .filter(Column::DueAt.gt(after))
        .order_by_asc(Column::DueAt)
        .lock_exclusive();
    let rows = rows.all(&tx.0).await?;
    Ok(rows.into_iter().map(checks::read).collect::<Result<_, _>>()?)
}

/// Remakes a check that nobody opened: its id and so its place in rounds stay.
/// # Errors
/// When the database fails.
pub async fn remake(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    id: Id<Check>,
    check: &Check,
) -> Result<(), StoreError> {
    let mut row = checks::columns(site, stamp, check);
    (row.site_id, row.id) = (Unchanged(site.uuid()), Unchanged(id.uuid()));
    row.created_at = NotSet;
    Entity::update(row).exec(&tx.0).await?;
    Ok(())
}

/// Withdraws checks that nobody opened.
/// # Errors
/// When the database fails.
pub async fn withdraw(tx: &Tx, site: SiteScope, ids: &[Id<Check>]) -> Result<(), StoreError> {
    Entity::delete_many()
        .filter(Column::SiteId.eq(site.uuid()))
        .filter(Column::Id.is_in(ids.iter().map(|id| id.uuid())))
        .filter(Column::State.eq(code(CheckStanding::Planned)))
        .exec(&tx.0)
        .await?;
    Ok(())
}

/// The plan with this id, locked, so that it is followed by one at a time; nothing when another holds it.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock_plan(
    tx: &Tx,
    site: SiteScope,
    plan: Id<CheckPlan>,
) -> Result<Option<Kept<CheckPlan>>, StoreError> {
    let row = check_plans::row::Entity::find()
        .filter(check_plans::row::Column::SiteId.eq(site.uuid()))
        .filter(check_plans::row::Column::Id.eq(plan.uuid()))
        .lock_with_behavior(LockType::Update, LockBehavior::SkipLocked)
        .one(&tx.0)
        .await?;
    Ok(row.map(CheckPlan::read).transpose()?)
}

/// The plans that are not archived.
/// # Errors
/// When the database fails or a row is broken.
pub async fn plans(tx: &Tx, site: SiteScope) -> Result<Vec<Id<CheckPlan>>, StoreError> {
    let rows: Vec<uuid::Uuid> = live_plans(site).into_tuple().all(&tx.0).await?;
    Ok(rows.into_iter().map(Id::new).collect())
}

/// The plans that are not archived and have not been followed up to this day.
/// # Errors
/// When the database fails.
pub async fn plans_behind(
    tx: &Tx,
    site: SiteScope,
    day: NaiveDate,
) -> Result<Vec<Id<CheckPlan>>, StoreError> {
    let followed = Query::select()
        .expr(Expr::val(1))
        .from("planned_days")
        .and_where(Expr::col(("planned_days", "site_id")).eq(Expr::col(("check_plans", "site_id"))))
        .and_where(Expr::col(("planned_days", "plan_id")).eq(Expr::col(("check_plans", "id"))))
        .and_where(Expr::col(("planned_days", "until_on")).gte(day))
        .take();
    let rows: Vec<uuid::Uuid> =
        live_plans(site).filter(Expr::exists(followed).not()).into_tuple().all(&tx.0).await?;
    Ok(rows.into_iter().map(Id::new).collect())
}

fn live_plans(site: SiteScope) -> sea_orm::Select<check_plans::row::Entity> {
    use check_plans::row::Column;
    check_plans::row::Entity::find()
        .select_only()
        .column(Column::Id)
        .filter(Column::SiteId.eq(site.uuid()))
        .filter(Column::ArchivedAt.is_null())
        .order_by_asc(Column::Id)
}

/// The day up to which a plan has been followed, if it ever was.
/// # Errors
/// When the database fails.
pub async fn planned_until(
    tx: &Tx,
    site: SiteScope,
    plan: Id<CheckPlan>,
) -> Result<Option<NaiveDate>, StoreError> {
    let row = days::Entity::find_by_id((site.uuid(), plan.uuid())).one(&tx.0).await?;
    Ok(row.map(|row| row.until_on))
}

/// Notes that a plan has been followed up to a day, and how many checks that made.
/// # Errors
/// When the database fails.
pub async fn note_planned(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    plan: Id<CheckPlan>,
    until: NaiveDate,
    made: u64,
) -> Result<(), StoreError> {
    let row =
        days::ActiveModel { site_id: Set(site.uuid()), plan_id: Set(plan.uuid()), until_on: Set(until) };
    let replace = OnConflict::columns([days::Column::SiteId, days::Column::PlanId])
        .update_column(days::Column::UntilOn)
        .to_owned();
    days::Entity::insert(row).on_conflict(replace).exec_without_returning(&tx.0).await?;
    let detail = serde_json::json!({ "until_on": until, "checks": made });
    journal::append(tx, site, stamp, "followed", CheckPlan::WORD, plan.uuid(), detail).await
}

mod days {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "planned_days")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub plan_id: Uuid,
        pub until_on: ChronoDate,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
