//! Harvests: kept once, never changed; one that was wrong is taken back by a linked opposite.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::growing::Harvest;
use fillmark_domain::people::PersonId;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set};
use uuid::Uuid;

use crate::columns::{self, Row};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal};

/// One with its id.
pub type KeptHarvest = (Id<Harvest>, Harvest);

/// Keeps some.
/// # Errors
/// [`StoreError::Taken`] when one with the same client id came first, or takes back what was taken back before.
pub async fn keep(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    kept: &[KeptHarvest],
) -> Result<(), StoreError> {
    // Below the number of variables that either database takes in one statement.
    for chunk in kept.chunks(500) {
        let rows = chunk.iter().map(|(id, one)| write(scope, *id, one));
        row::Entity::insert_many(rows).exec_without_returning(&tx.0).await?;
    }
    let entered: Vec<Uuid> = kept.iter().map(|(id, _)| id.uuid()).collect();
    journal::note_many(tx, scope, stamp, "entered", "harvest", &entered).await
}

/// Those with these client ids.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find_by_client_ids(
    tx: &Tx,
    scope: SiteScope,
    ids: &[Uuid],
) -> Result<Vec<KeptHarvest>, StoreError> {
    let rows = scoped(scope).filter(row::Column::ClientId.is_in(ids.iter().copied())).all(&tx.0).await?;
    read_all(tx, scope, rows).await
}

/// The one with this id.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find(tx: &Tx, scope: SiteScope, id: Id<Harvest>) -> Result<Option<KeptHarvest>, StoreError> {
    let rows = scoped(scope).filter(row::Column::Id.eq(id.uuid())).all(&tx.0).await?;
    Ok(read_all(tx, scope, rows).await?.pop())
}

/// A page of a site's.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, scope: SiteScope, query: &PageQuery) -> Result<Page<KeptHarvest>, StoreError> {
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
) -> Result<Vec<KeptHarvest>, StoreError> {
    let rows = scoped(scope)
        .filter(row::Column::HarvestedAt.gte(from))
        .filter(row::Column::HarvestedAt.lt(before))
        .order_by_asc(row::Column::HarvestedAt)
        .order_by_asc(row::Column::Id)
        .all(&tx.0)
        .await?;
    let mut kept = read_all(tx, scope, rows).await?;
    kept.retain(|(_, one)| one.reversed.is_none() && one.reverses.is_none());
    Ok(kept)
}

fn write(scope: SiteScope, id: Id<Harvest>, one: &Harvest) -> row::ActiveModel {
    row::ActiveModel {
        site_id: Set(scope.uuid()),
        id: Set(id.uuid()),
        client_id: Set(one.client_id),
        cycle_id: Set(one.cycle.uuid()),
        room_id: Set(one.room.map(Id::uuid)),
        harvested_at: Set(one.harvested_at),
        saleable_kg: Set(one.saleable_kg),
        rejected_kg: Set(one.rejected_kg),
        pieces: Set(one.pieces.map(i64::from)),
        grade: Set(one.grade.clone()),
        brix: Set(one.brix),
        received_at: Set(one.received_at),
        done_by: Set(one.done_by.map(PersonId::uuid)),
        entered_by: Set(one.entered_by.map(PersonId::uuid)),
        reverses_id: Set(one.reverses.as_ref().map(|(id, _)| id.uuid())),
        reason_corrected: Set(one.reverses.as_ref().map(|(_, reason)| reason.clone())),
    }
}

fn read(row: &row::Model, reversed: Option<Id<Harvest>>) -> Result<KeptHarvest, BrokenRow> {
    let content = Harvest {
        client_id: row.client_id,
        cycle: Id::new(row.cycle_id),
        room: row.room_id.map(Id::new),
        harvested_at: row.harvested_at,
        saleable_kg: row.saleable_kg,
        rejected_kg: row.rejected_kg,
        pieces: row.pieces.map(|pieces| row.reading().whole(pieces)).transpose()?,
        grade: row.grade.clone(),
        brix: row.brix,
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

async fn read_all(tx: &Tx, scope: SiteScope, rows: Vec<row::Model>) -> Result<Vec<KeptHarvest>, StoreError> {
    let reversals = reversals(tx, scope, &rows).await?;
    let reversed = |id: Uuid| reversals.get(&id).copied().map(Id::new);
    Ok(rows.into_iter().map(|row| read(&row, reversed(row.id))).collect::<Result<_, _>>()?)
}

fn scoped(scope: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(scope.uuid()))
}

impl Row for row::Model {
    fn reading(&self) -> columns::Reading {
        columns::Reading { table: "harvests", id: self.id }
    }
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "harvests")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub client_id: Uuid,
        pub cycle_id: Uuid,
        pub room_id: Option<Uuid>,
        pub harvested_at: ChronoDateTimeUtc,
        pub saleable_kg: f64,
        pub rejected_kg: f64,
        pub pieces: Option<i64>,
        pub grade: Option<String>,
        pub brix: Option<f64>,
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
