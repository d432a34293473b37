//! The checks that the feeding programme makes: a tank change that is due.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_domain::places::TankId;
use fillmark_domain::work::{Cause, CheckStanding};
use sea_orm::sea_query::ExprTrait;
use sea_orm::{ColumnTrait, QueryFilter, QueryOrder, QuerySelect, Select};
use uuid::Uuid;

use super::KeptCheck;
use super::find::{all, one};
use super::row::{Column, Entity, of_site};
use crate::columns::code;
use crate::{SiteScope, StoreError, Tx};

/// The day of the latest check of each of these tanks up to a day, of those that are no longer remade: due by an instant, or
/// something became of them. What a change settled is left out: the change itself tells its day.
/// # Errors
/// When the database fails.
pub async fn latest_of_programme(
    tx: &Tx,
    site: SiteScope,
    tanks: &[TankId],
    until: NaiveDate,
    at: DateTime<Utc>,
) -> Result<HashMap<TankId, NaiveDate>, StoreError> {
    let rows: Vec<(Uuid, NaiveDate)> = of_programme(site)
        .select_only()
        .column(Column::TankId)
        .column_as(Column::DueOn.max(), "latest_on")
        .filter(Column::TankId.is_in(tanks.iter().map(|tank| tank.uuid())))
        .filter(Column::DueOn.lte(until))
        .filter(Column::TankChangeId.is_null())
        .filter(Column::State.ne(code(CheckStanding::Planned)).or(Column::DueAt.lte(at)))
        .group_by(Column::TankId)
        .into_tuple()
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(|(tank, latest_on)| (TankId::new(tank), latest_on)).collect())
}

/// The checks due after an instant, whatever became of them.
/// # Errors
/// When the database fails or a row is broken.
pub async fn coming_of_programme(
    tx: &Tx,
    site: SiteScope,
    after: DateTime<Utc>,
) -> Result<Vec<KeptCheck>, StoreError> {
    all(tx, coming(site, after)).await
}

/// The same, locked.
/// # Errors
/// When the database fails or a row is broken.
pub async fn lock_coming_of_programme(
    tx: &Tx,
    site: SiteScope,
    after: DateTime<Utc>,
) -> Result<Vec<KeptCheck>, StoreError> {
    all(tx, coming(site, after).lock_exclusive()).await
}

fn coming(site: SiteScope, after: DateTime<Utc>) -> Select<Entity> {
    of_programme(site).filter(Column::DueAt.gt(after)).order_by_asc(Column::DueAt)
}

/// The first check of a tank that a change done at an instant settles, locked: due up to a day, and not past its
/// limit then. One that was found missed is among them: the change may be typed in long after it was done.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock_due_of_programme(
    tx: &Tx,
    site: SiteScope,
    tank: TankId,
    until: NaiveDate,
    at: DateTime<Utc>,
) -> Result<Option<KeptCheck>, StoreError> {
    let can_be_done = [CheckStanding::Planned, CheckStanding::Open, CheckStanding::Missed].map(code);
    let rows = of_programme(site)
        .filter(Column::State.is_in(can_be_done))
        .filter(Column::TankId.eq(tank.uuid()))
        .filter(Column::DueOn.lte(until))
        // A limit lies within a week of when a check is due: this is for the index.
        .filter(Column::DueOn.gte((at - TimeDelta::days(9)).date_naive()))
        .filter(Column::LimitAt.gte(at))
        .order_by_asc(Column::DueAt)
        .limit(1);
    one(tx, rows.lock_exclusive()).await
}

fn of_programme(site: SiteScope) -> Select<Entity> {
    of_site(site).filter(Column::PlanId.is_null()).filter(Column::Cause.eq(Cause::Programme.code()))
}
