//! Tank changes: kept once, never changed; one that was wrong is taken back by a linked opposite.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::entries::TankChange;
use fillmark_domain::people::PersonId;
use fillmark_domain::places::TankId;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set};
use uuid::Uuid;

use crate::columns::{self, Row};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal};

/// One with its id.
pub type KeptChange = (Id<TankChange>, TankChange);

/// Keeps some.
/// # Errors
/// [`StoreError::Taken`] when one with the same client id came first, or takes back what was taken back before.
pub async fn keep(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    kept: &[KeptChange],
) -> Result<(), StoreError> {
    // Below the number of variables that either database takes in one statement.
    for chunk in kept.chunks(500) {
        let rows = chunk.iter().map(|(id, one)| write(scope, *id, one));
        row::Entity::insert_many(rows).exec_without_returning(&tx.0).await?;
    }
    let entered: Vec<Uuid> = kept.iter().map(|(id, _)| id.uuid()).collect();
    journal::note_many(tx, scope, stamp, "entered", "tank change", &entered).await
}

/// Those with these client ids.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find_by_client_ids(
    tx: &Tx,
    scope: SiteScope,
    ids: &[Uuid],
) -> Result<Vec<KeptChange>, StoreError> {
    let rows = scoped(scope).filter(row::Column::ClientId.is_in(ids.iter().copied())).all(&tx.0).await?;
    read_all(tx, scope, rows).await
}

/// The one with this id.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find(tx: &Tx, scope: SiteScope, id: Id<TankChange>) -> Result<Option<KeptChange>, StoreError> {
    let rows = scoped(scope).filter(row::Column::Id.eq(id.uuid())).all(&tx.0).await?;
    Ok(read_all(tx, scope, rows).await?.pop())
}

/// A page of a site's.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, scope: SiteScope, query: &PageQuery) -> Result<Page<KeptChange>, StoreError> {
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
) -> Result<Vec<KeptChange>, StoreError> {
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

/// The last full change of each tank that was done before an instant and stands.
/// # Errors
/// When the database fails or a row is broken.
pub async fn last_full(
    tx: &Tx,
    scope: SiteScope,
    before: DateTime<Utc>,
) -> Result<HashMap<TankId, DateTime<Utc>>, StoreError> {
    let kept = standing(tx, scope, first_instant(), before).await?;
    let full = kept.into_iter().filter(|(_, change)| change.is_full());
    Ok(full.map(|(_, change)| (change.tank, change.recorded_at)).collect())
}

/// No record is older than the year 2000.
fn first_instant() -> DateTime<Utc> {
    DateTime::from_timestamp(946_684_800, 0).unwrap_or_default()
}

fn write(scope: SiteScope, id: Id<TankChange>, one: &TankChange) -> row::ActiveModel {
    row::ActiveModel {
        site_id: Set(scope.uuid()),
        id: Set(id.uuid()),
        client_id: Set(one.client_id),
        tank_id: Set(one.tank.uuid()),
        fraction: Set(one.fraction),
        drained_l: Set(one.drained_l),
        drained_to: Set(one.drained_to.clone()),
        water_in_l: Set(one.water_in_l),
        due_on: Set(one.due_on),
        recorded_at: Set(one.recorded_at),
        received_at: Set(one.received_at),
        done_by: Set(one.done_by.map(PersonId::uuid)),
        entered_by: Set(one.entered_by.map(PersonId::uuid)),
        reverses_id: Set(one.reverses.as_ref().map(|(id, _)| id.uuid())),
        reason_corrected: Set(one.reverses.as_ref().map(|(_, reason)| reason.clone())),
    }
}

fn read(row: &row::Model, reversed: Option<Id<TankChange>>) -> Result<KeptChange, BrokenRow> {
    let content = TankChange {
        client_id: row.client_id,
        tank: Id::new(row.tank_id),
        fraction: row.fraction,
        drained_l: row.drained_l,
        drained_to: row.drained_to.clone(),
        water_in_l: row.water_in_l,
        due_on: row.due_on,
        recorded_at: row.recorded_at,
        received_at: row.received_at,
        done_by: row.done_by.map(Id::new),
        entered_by: row.entered_by.map(Id::new),
        reverses: row.reverses_id.map(|id| (Id::new(id), row.reason_corrected.clone().unwrap_or_default())),
        reversed,
    };
    Ok((Id::new(row.id), content))
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

async fn read_all(tx: &Tx, scope: SiteScope, rows: Vec<row::Model>) -> Result<Vec<KeptChange>, StoreError> {
    let reversals = reversals(tx, scope, &rows).await?;
    let reversed = |id: Uuid| reversals.get(&id).copied().map(Id::new);
    Ok(rows.into_iter().map(|row| read(&row, reversed(row.id))).collect::<Result<_, _>>()?)
}

fn scoped(scope: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(scope.uuid()))
}

impl Row for row::Model {
    fn reading(&self) -> columns::Reading {
        columns::Reading { table: "tank_changes", id: self.id }
    }
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "tank_changes")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub client_id: Uuid,
        pub tank_id: Uuid,
        pub fraction: f64,
        pub drained_l: f64,
        pub drained_to: Option<String>,
        pub water_in_l: f64,
        pub due_on: Option<ChronoDate>,
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
