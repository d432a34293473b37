//! What of the ledger stands: what was taken back, what counts had found, and what is left without either.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use fillmark_domain::stock::{LotId, Movement, MovementKind, ProductId, SlipId};
use fillmark_domain::{Amount, Coded};
use sea_orm::sea_query::{Expr, ExprTrait, Query, SelectStatement};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use super::{of_site, read, row};
use crate::{BusinessScope, SiteScope, StoreError, Tx, slips};

/// The movements of slips that have been taken back.
/// # Errors
/// When the database fails or a row is broken.
pub async fn reversed_of(tx: &Tx, scope: SiteScope, slips: &[SlipId]) -> Result<Vec<Movement>, StoreError> {
    let of_slips = of_site(scope).filter(row::Column::SlipId.is_in(slips.iter().map(|slip| slip.uuid())));
    let reversed = of_slips.filter(Expr::exists(taken_back())).all(&tx.0).await?;
    Ok(reversed.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// What preparations of any site took and made, without what was taken back.
/// # Errors
/// When the database fails or a row is broken.
pub(crate) async fn of_preparations(tx: &Tx, _business: BusinessScope) -> Result<Vec<Movement>, StoreError> {
    let of = |column: &'static str| Query::select().column(column).from("preparations").take();
    let rows = row::Entity::find()
        .filter(row::Column::SiteId.in_subquery(of("site_id")))
        .filter(row::Column::SlipId.in_subquery(of("slip_id")));
    standing(tx, rows).await
}

/// What a count of a product at an instant had found of what was done before it and is entered, or taken back, after it.
/// # Errors
/// When the database fails or a row is broken.
pub async fn found_at(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
    at: DateTime<Utc>,
) -> Result<Vec<Movement>, StoreError> {
    let others = row::Column::SlipId.in_subquery(slips::telling_of_before(scope, at));
    let rows = adjustments(scope, product, at).filter(others).all(&tx.0).await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// By how much the counts of a product at an instant changed each lot, in the light of all that is entered or taken back
/// since.
/// # Errors
/// When the database fails or a row is broken.
pub async fn counted_changes(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
    at: DateTime<Utc>,
) -> Result<Vec<(LotId, Amount)>, StoreError> {
    let mut changes: BTreeMap<LotId, Amount> = BTreeMap::new();
    for movement in standing(tx, adjustments(scope, product, at)).await? {
        let change = changes.entry(movement.lot).or_default();
        *change = *change + movement.change;
    }
    Ok(changes.into_iter().collect())
}

fn adjustments(scope: SiteScope, product: ProductId, at: DateTime<Utc>) -> sea_orm::Select<row::Entity> {
    of_site(scope)
        .filter(row::Column::ProductId.eq(product.uuid()))
        .filter(row::Column::DoneAt.eq(at))
        .filter(row::Column::Kind.eq(MovementKind::CountAdjustment.code()))
        .filter(row::Column::ReversesId.is_null())
}

/// What was taken out of a product for use after an instant and until another, without what was taken back.
/// # Errors
/// When the database fails or a row is broken.
pub async fn taken_between(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
    (after, until): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<Movement>, StoreError> {
    let rows = of_site(scope)
        .filter(row::Column::ProductId.eq(product.uuid()))
        .filter(row::Column::Kind.eq(MovementKind::Issue.code()))
        .filter(row::Column::DoneAt.gt(after))
        .filter(row::Column::DoneAt.lte(until));
    standing(tx, rows).await
}

/// What was taken out of the store since an instant other than into a tank, and what was made of it; what was taken back left out.
/// # Errors
/// When the database fails or a row is broken.
pub async fn taken_out_since(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
) -> Result<Vec<Movement>, StoreError> {
    let rows = of_site(scope)
        .filter(row::Column::SlipId.in_subquery(slips::taking_out(scope, from)))
        .order_by_asc(row::Column::DoneAt);
    standing(tx, rows).await
}

/// What was lost or found since an instant: write-offs and count adjustments, what was taken back left out.
/// # Errors
/// When the database fails or a row is broken.
pub async fn losses_since(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
) -> Result<Vec<Movement>, StoreError> {
    let kinds = [MovementKind::WriteOff, MovementKind::CountAdjustment].map(Coded::code);
    let rows = of_site(scope)
        .filter(row::Column::Kind.is_in(kinds))
        .filter(row::Column::DoneAt.gte(from))
        .order_by_asc(row::Column::DoneAt);
    standing(tx, rows).await
}

/// Movements of which none takes another back or was taken back, whenever that was.
async fn standing(tx: &Tx, rows: sea_orm::Select<row::Entity>) -> Result<Vec<Movement>, StoreError> {
    let rows = rows.filter(row::Column::ReversesId.is_null()).filter(Expr::exists(taken_back()).not());
    Ok(rows.all(&tx.0).await?.into_iter().map(read).collect::<Result<_, _>>()?)
}

fn taken_back() -> SelectStatement {
    let (back, taken) =
        (|name: &'static str| Expr::col(("back", name)), |name: &'static str| Expr::col(("movements", name)));
    Query::select()
        .expr(Expr::val(1))
        .from_as("movements", "back")
        .and_where(back("site_id").eq(taken("site_id")))
        .and_where(back("reverses_id").eq(taken("id")))
        .take()
}
