//! Preparations: how strong a lot that was made on site is. What went in and what came out are the slip's movements.

use fillmark_domain::stock::{LotId, SlipId};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, Set};
use uuid::Uuid;

use crate::{SiteScope, Stamp, StoreError, Tx};

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
