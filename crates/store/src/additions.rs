//! Additions: kept once, never changed; one that was wrong is taken back by a linked opposite.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use fillmark_domain::entries::{Addition, Poured, TankChange};
use fillmark_domain::people::PersonId;
use fillmark_domain::{Amount, Id};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set};
use uuid::Uuid;

use crate::columns::{self, Row};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal};

/// One with its id.
pub type KeptAddition = (Id<Addition>, Addition);

/// Keeps some.
/// # Errors
/// [`StoreError::Taken`] when one with the same client id came first, or takes back what was taken back before.
pub async fn keep(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    kept: &[KeptAddition],
) -> Result<(), StoreError> {
    // Below the number of variables that either database takes in one statement.
    for chunk in kept.chunks(500) {
        let rows = chunk.iter().map(|(id, one)| write(scope, *id, one));
        row::Entity::insert_many(rows).exec_without_returning(&tx.0).await?;
    }
    let entered: Vec<Uuid> = kept.iter().map(|(id, _)| id.uuid()).collect();
    journal::note_many(tx, scope, stamp, "entered", "addition", &entered).await
}

/// Those with these client ids.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find_by_client_ids(
    tx: &Tx,
    scope: SiteScope,
    ids: &[Uuid],
) -> Result<Vec<KeptAddition>, StoreError> {
    let rows = scoped(scope).filter(row::Column::ClientId.is_in(ids.iter().copied())).all(&tx.0).await?;
    read_all(tx, scope, rows).await
}

/// The one with this id.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find(tx: &Tx, scope: SiteScope, id: Id<Addition>) -> Result<Option<KeptAddition>, StoreError> {
    let rows = scoped(scope).filter(row::Column::Id.eq(id.uuid())).all(&tx.0).await?;
    Ok(read_all(tx, scope, rows).await?.pop())
}

/// A page of a site's.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, scope: SiteScope, query: &PageQuery) -> Result<Page<KeptAddition>, StoreError> {
    let page = page_of(tx, scoped(scope), query).await?;
    Ok(Page { items: read_all(tx, scope, page.items).await?, next: page.next })
}

/// Those of a span of time that stand, in order: what was taken back is left out, with what took it back.
/// # Errors
/// When the database fails or a row is broken.
pub async fn standing(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
    before: DateTime<Utc>,
) -> Result<Vec<KeptAddition>, StoreError> {
    let rows = scoped(scope)
        .filter(row::Column::RecordedAt.gte(from))
        .filter(row::Column::RecordedAt.lt(before))
        .order_by_asc(row::Column::RecordedAt)
        .order_by_asc(row::Column::Id)
        .all(&tx.0)
        .await?;
    let mut kept = read_all(tx, scope, rows).await?;
    kept.retain(|(_, one)| one.reversed.is_none() && one.reverses.is_none());
    Ok(kept)
}

/// Those of a tank change.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_change(
    tx: &Tx,
    scope: SiteScope,
    change: Id<TankChange>,
) -> Result<Vec<KeptAddition>, StoreError> {
    let rows = scoped(scope)
        .filter(row::Column::ChangeId.eq(change.uuid()))
        .order_by_asc(row::Column::Id)
        .all(&tx.0);
    read_all(tx, scope, rows.await?).await
}

fn write(scope: SiteScope, id: Id<Addition>, one: &Addition) -> row::ActiveModel {
    let (product_id, amount, base, slip, lots, shortage, water_l) = match &one.poured {
        Poured::Product { product, amount, base, slip, lots, shortage } => {
            let lots = lots.iter().map(|(lot, amount)| (lot.uuid(), amount.thousandths()));
            let (product, slip) = (Some(product.uuid()), Some(slip.uuid()));
            (
                product,
                Some(amount.thousandths()),
                Some(columns::code(*base)),
                slip,
                columns::list(lots),
                *shortage,
                None,
            )
        }
        Poured::Water { litres } => {
            (None, None, None, None, columns::list([0u8; 0].into_iter()), Amount::ZERO, Some(*litres))
        }
    };
    row::ActiveModel {
        site_id: Set(scope.uuid()),
        id: Set(id.uuid()),
        client_id: Set(one.client_id),
        tank_id: Set(one.tank.uuid()),
        change_id: Set(one.change.map(Id::uuid)),
        reason: Set(columns::code(one.reason)),
        product_id: Set(product_id),
        amount_thousandths: Set(amount),
        base: Set(base),
        slip_id: Set(slip),
        lots: Set(lots),
        shortage_thousandths: Set(shortage.thousandths()),
        water_l: Set(water_l),
        recorded_at: Set(one.recorded_at),
        received_at: Set(one.received_at),
        done_by: Set(one.done_by.map(PersonId::uuid)),
        entered_by: Set(one.entered_by.map(PersonId::uuid)),
        reverses_id: Set(one.reverses.as_ref().map(|(id, _)| id.uuid())),
        reason_corrected: Set(one.reverses.as_ref().map(|(_, reason)| reason.clone())),
    }
}

fn read(row: &row::Model, reversed: Option<Id<Addition>>) -> Result<KeptAddition, BrokenRow> {
    let content = Addition {
        client_id: row.client_id,
        tank: Id::new(row.tank_id),
        poured: poured(row)?,
        reason: row.reading().code(&row.reason)?,
        change: row.change_id.map(Id::new),
        recorded_at: row.recorded_at,
        received_at: row.received_at,
        done_by: row.done_by.map(Id::new),
        entered_by: row.entered_by.map(Id::new),
        reverses: row.reverses_id.map(|id| (Id::new(id), row.reason_corrected.clone().unwrap_or_default())),
        reversed,
    };
    Ok((Id::new(row.id), content))
}

fn poured(row: &row::Model) -> Result<Poured, BrokenRow> {
    let read = row.reading();
    if let Some(litres) = row.water_l {
        return Ok(Poured::Water { litres });
    }
    let (Some(product), Some(amount), Some(base), Some(slip)) =
        (row.product_id, row.amount_thousandths, &row.base, row.slip_id)
    else {
        return Err(read.broken("expected a product with its amount, or water"));
    };
    let lots: Vec<(Uuid, i64)> = read.list(row.lots.clone())?;
    Ok(Poured::Product {
        product: Id::new(product),
        amount: Amount::from_thousandths(amount),
        base: read.code(base)?,
        slip: Id::new(slip),
        lots: lots
            .into_iter()
            .map(|(lot, amount)| (Id::new(lot), Amount::from_thousandths(amount)))
            .collect(),
        shortage: Amount::from_thousandths(row.shortage_thousandths),
    })
}

/// Which of some rows were taken back, and by which.
async fn reversals(
    tx: &Tx,
    scope: SiteScope,
    rows: &[row::Model],
) -> Result<HashMap<Uuid, Uuid>, StoreError> {
    let mut found = HashMap::new();
    for chunk in rows.chunks(5_000) {
        let pairs = scoped(scope)
            .filter(row::Column::ReversesId.is_in(chunk.iter().map(|row| row.id)))
            .select_only()
            .columns([row::Column::ReversesId, row::Column::Id])
            .into_tuple::<(Uuid, Uuid)>()
            .all(&tx.0)
            .await?;
        found.extend(pairs);
    }
    Ok(found)
}

async fn read_all(tx: &Tx, scope: SiteScope, rows: Vec<row::Model>) -> Result<Vec<KeptAddition>, StoreError> {
    let reversals = reversals(tx, scope, &rows).await?;
    let reversed = |id: Uuid| reversals.get(&id).copied().map(Id::new);
    Ok(rows.into_iter().map(|row| read(&row, reversed(row.id))).collect::<Result<_, _>>()?)
}

fn scoped(scope: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(scope.uuid()))
}

impl Row for row::Model {
    fn reading(&self) -> columns::Reading {
        columns::Reading { table: "additions", id: self.id }
    }
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "additions")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub client_id: Uuid,
        pub tank_id: Uuid,
        pub change_id: Option<Uuid>,
        pub reason: String,
        pub product_id: Option<Uuid>,
        pub amount_thousandths: Option<i64>,
        pub base: Option<String>,
        pub slip_id: Option<Uuid>,
        pub lots: Json,
        pub shortage_thousandths: i64,
        pub water_l: Option<f64>,
        pub recorded_at: ChronoDateTimeUtc,
        pub received_at: ChronoDateTimeUtc,
        pub done_by: Option<Uuid>,
        pub entered_by: Option<Uuid>,
        pub reverses_id: Option<Uuid>,
        pub reason_corrected: Option<String>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
