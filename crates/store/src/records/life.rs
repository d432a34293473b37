//! The common life itself.

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::{Id, Kept};
use sea_orm::sea_query::{Condition, Expr, ExprTrait, LockType, Query, SelectStatement};
use sea_orm::{ActiveModelTrait, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QuerySelect, Value};

use super::{Holder, Record, Reference};
use crate::{Scope, Stamp, StoreError, Tx, journal};

/// Keeps a new record as its first version.
/// # Errors
/// [`StoreError::Taken`] when its name is in use.
pub async fn create<R: Record>(
    tx: &Tx,
    scope: R::Scope,
    stamp: &Stamp<'_>,
    content: &R,
) -> Result<Kept<R>, StoreError> {
    let (id, at) = (stamp.fresh::<R>(), stamp.at);
    let mut row = content.columns();
    let detail = journal::told(&row, R::UNTOLD);
    if let Some(site) = scope.site() {
        row.set(column::<R>("site_id"), site.uuid().into());
    }
    row.set(column::<R>("id"), id.uuid().into());
    row.set(column::<R>("version"), 1i64.into());
    row.set(column::<R>("created_at"), at.into());
    row.set(column::<R>("updated_at"), at.into());
    row.set(column::<R>("archived_at"), Value::from(None::<DateTime<Utc>>));
    R::Entity::insert(row).exec_without_returning(&tx.0).await?;
    journal::append(tx, scope, stamp, "created", R::WORD, id.uuid(), detail).await?;
    if R::TELLS_WHO_MAY {
        tx.changes_standings();
    }
    Ok(Kept { id, version: 1, created_at: at, updated_at: at, archived_at: None, content: content.clone() })
}

/// The record with this id, archived or not.
/// # Errors
/// When the database fails or the row is broken.
pub async fn find<R: Record>(tx: &Tx, scope: R::Scope, id: Id<R>) -> Result<Option<Kept<R>>, StoreError> {
    let row = scoped::<R>(scope).filter(column::<R>("id").eq(id.uuid())).one(&tx.0).await?;
    Ok(row.map(R::read).transpose()?)
}

/// The record with this id, archived or not, locked: nobody else changes it or comes to name it meanwhile.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock<R: Record>(tx: &Tx, scope: R::Scope, id: Id<R>) -> Result<Option<Kept<R>>, StoreError> {
    let row = scoped::<R>(scope).filter(column::<R>("id").eq(id.uuid())).lock_exclusive().one(&tx.0).await?;
    Ok(row.map(R::read).transpose()?)
}

/// All records that a condition on one column's values picks, oldest first.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find_many<R: Record>(
    tx: &Tx,
    scope: R::Scope,
    name: &'static str,
    values: Vec<Value>,
) -> Result<Vec<Kept<R>>, StoreError> {
    if values.is_empty() {
        return Ok(Vec::new());
    }
    let rows = scoped::<R>(scope).filter(Expr::col(column::<R>(name)).is_in(values)).all(&tx.0).await?;
    let mut found = rows.into_iter().map(R::read).collect::<Result<Vec<_>, _>>()?;
    // Asked for this order, SQLite would walk all rows of the site by their ids instead of using the column's index.
    found.sort_unstable_by_key(|kept| kept.id);
    Ok(found)
}

/// Replaces the content of a record that is at this version and not archived. Nothing when it is not.
/// # Errors
/// [`StoreError::Taken`] when its new name is in use.
pub async fn change<R: Record>(
    tx: &Tx,
    scope: R::Scope,
    id: Id<R>,
    version: i64,
    stamp: &Stamp<'_>,
    content: &R,
) -> Result<Option<Kept<R>>, StoreError> {
    update(tx, scope, id, version, stamp, content.columns(), "changed").await
}

/// Archives a record that is at this version and not archived yet. Nothing when it is not.
/// # Errors
/// When the database fails.
pub async fn archive<R: Record>(
    tx: &Tx,
    scope: R::Scope,
    id: Id<R>,
    version: i64,
    stamp: &Stamp<'_>,
) -> Result<Option<Kept<R>>, StoreError> {
    let mut row = <R::Change as ActiveModelTrait>::default();
    row.set(column::<R>("archived_at"), stamp.at.into());
    update(tx, scope, id, version, stamp, row, "archived").await
}

/// Whether a record named by another is there and not archived.
/// # Errors
/// When the database fails.
pub async fn exists(tx: &Tx, scope: impl Scope, reference: Reference) -> Result<bool, StoreError> {
    Ok(tx.0.query_one(&named(scope, reference)).await?.is_some())
}

/// Whether a record named by another is there and not archived; it stays so until the transaction ends.
/// # Errors
/// When the database fails.
pub async fn hold(tx: &Tx, scope: impl Scope, reference: Reference) -> Result<bool, StoreError> {
    let held = named(scope, reference).lock(LockType::Share).to_owned();
    Ok(tx.0.query_one(&held).await?.is_some())
}

fn named(scope: impl Scope, reference: Reference) -> SelectStatement {
    let mut query = Query::select();
    query
        .expr(Expr::val(1))
        .from(reference.table)
        .and_where(Expr::col("id").eq(reference.id))
        .and_where(Expr::col("archived_at").is_null());
    if let (true, Some(site)) = (reference.of_site, scope.site()) {
        query.and_where(Expr::col("site_id").eq(site.uuid()));
    }
    query
}

async fn update<R: Record>(
    tx: &Tx,
    scope: R::Scope,
    id: Id<R>,
    version: i64,
    stamp: &Stamp<'_>,
    mut row: R::Change,
    deed: &str,
) -> Result<Option<Kept<R>>, StoreError> {
    let detail = journal::told(&row, R::UNTOLD);
    row.set(column::<R>("version"), (version + 1).into());
    row.set(column::<R>("updated_at"), stamp.at.into());
    let mut update = R::Entity::update_many()
        .set(row)
        .filter(column::<R>("id").eq(id.uuid()))
        .filter(column::<R>("version").eq(version))
        .filter(column::<R>("archived_at").is_null());
    if let Some(site) = scope.site() {
        update = update.filter(column::<R>("site_id").eq(site.uuid()));
    }
    if update.exec(&tx.0).await?.rows_affected == 0 {
        return Ok(None);
    }
    journal::append(tx, scope, stamp, deed, R::WORD, id.uuid(), detail).await?;
    if R::TELLS_WHO_MAY {
        tx.changes_standings();
    }
    find(tx, scope, id).await
}

/// The rows of a scope.
pub(super) fn scoped<R: Record>(scope: R::Scope) -> sea_orm::Select<R::Entity> {
    let rows = R::Entity::find();
    match scope.site() {
        Some(site) => rows.filter(column::<R>("site_id").eq(site.uuid())),
        None => rows,
    }
}

/// A column by its name in the table.
pub(super) fn column<R: Record>(name: &'static str) -> <R::Entity as EntityTrait>::Column {
    use std::str::FromStr;
    match <R::Entity as EntityTrait>::Column::from_str(name) {
        Ok(column) => column,
        // The name is a literal of this crate, and each table is read in the tests.
        Err(_) => unreachable!("table of {} has no column {name}", R::WORD),
    }
}

/// Whether a row of a holder that is not archived names this record.
/// # Errors
/// When the database fails.
pub async fn is_held(tx: &Tx, scope: impl Scope, holder: Holder, id: uuid::Uuid) -> Result<bool, StoreError> {
    let mut query = Query::select();
    query
        .expr(Expr::val(1))
        .from(holder.table)
        .and_where(Expr::col(holder.column).eq(id))
        .and_where(Expr::col("archived_at").is_null())
        .limit(1);
    if let Some(site) = scope.site() {
        query.and_where(Expr::col("site_id").eq(site.uuid()));
    }
    Ok(tx.0.query_one(&query).await?.is_some())
}

/// All records of a scope that are not archived, oldest first: for tables that stay small.
/// # Errors
/// When the database fails or a row is broken.
pub async fn all<R: Record>(tx: &Tx, scope: R::Scope) -> Result<Vec<Kept<R>>, StoreError> {
    all_where(tx, scope, Condition::all()).await
}

/// All records of a scope, archived or not, oldest first: for tables that stay small.
/// # Errors
/// When the database fails or a row is broken.
pub async fn all_ever<R: Record>(tx: &Tx, scope: R::Scope) -> Result<Vec<Kept<R>>, StoreError> {
    use sea_orm::QueryOrder;
    let rows = scoped::<R>(scope).order_by_asc(column::<R>("id")).all(&tx.0).await?;
    Ok(rows.into_iter().map(R::read).collect::<Result<_, _>>()?)
}

/// All records of a scope that are not archived and, when a day is given, were not over before it, oldest first.
/// # Errors
/// When the database fails or a row is broken.
pub async fn all_since<R: Record>(
    tx: &Tx,
    scope: R::Scope,
    last_day: &'static str,
    since: Option<NaiveDate>,
) -> Result<Vec<Kept<R>>, StoreError> {
    let last_day = column::<R>(last_day);
    let lasts = |since| Condition::any().add(last_day.is_null()).add(last_day.gte(since));
    all_where(tx, scope, since.map_or(Condition::all(), lasts)).await
}

async fn all_where<R: Record>(
    tx: &Tx,
    scope: R::Scope,
    condition: Condition,
) -> Result<Vec<Kept<R>>, StoreError> {
    use sea_orm::QueryOrder;
    let open = scoped::<R>(scope).filter(column::<R>("archived_at").is_null()).filter(condition);
    let rows = open.order_by_asc(column::<R>("id")).all(&tx.0).await?;
    Ok(rows.into_iter().map(R::read).collect::<Result<_, _>>()?)
}
