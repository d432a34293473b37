//! Preparations: how strong a lot that was made on site is. What went in and what came out are the slip's movements.

use chrono::{DateTime, Utc};
use fillmark_domain::stock::{LotId, MovementKind, SlipId};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, Set};
use uuid::Uuid;

use crate::{BusinessScope, SiteScope, Stamp, StoreError, Tx, movements};

/// Enters the strength of what a slip made.
/// # Errors
/// When the database fails.
pub async fn record(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    slip: SlipId,
    lot: LotId,
    strength: f64,
) -> Result<(), StoreError> {
    let row = row::ActiveModel {
        site_id: Set(scope.uuid()),
        id: Set(stamp.fresh::<Uuid>().uuid()),
        slip_id: Set(slip.uuid()),
        lot_id: Set(lot.uuid()),
        strength: Set(strength),
    };
    row::Entity::insert(row).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// The strength of what a slip made.
/// # Errors
/// When the database fails.
pub async fn strength(tx: &Tx, scope: SiteScope, slip: SlipId) -> Result<Option<f64>, StoreError> {
    let row = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::SlipId.eq(slip.uuid()))
        .one(&tx.0)
        .await?;
    Ok(row.map(|row| row.strength))
}

/// A stock solution that was made: which lots went in, and which came out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    /// When.
    pub at: DateTime<Utc>,
    /// What went in.
    pub from: Vec<LotId>,
    /// What came out.
    pub into: LotId,
}

/// The stock solutions that were made anywhere and stand: what one site made another may pour.
/// # Errors
/// When the database fails or a row is broken.
pub async fn all_made(tx: &Tx, business: BusinessScope) -> Result<Vec<Made>, StoreError> {
    let rows = row::Entity::find().all(&tx.0).await?;
    let mut of_slips = movements::of_preparations(tx, business).await?;
    // What later counts had found of it is no part of it.
    of_slips.retain(|movement| movement.kind != MovementKind::CountAdjustment);
    let made = rows.into_iter().filter_map(|row| {
        let into = LotId::new(row.lot_id);
        let of_it = || of_slips.iter().filter(|movement| movement.slip.uuid() == row.slip_id);
        let at = of_it().find(|movement| movement.lot == into)?.done_at;
        let from = of_it().map(|movement| movement.lot).filter(|lot| *lot != into).collect();
        Some(Made { at, from, into })
    });
    Ok(made.collect())
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "preparations")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub slip_id: Uuid,
        pub lot_id: Uuid,
        pub strength: f64,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
