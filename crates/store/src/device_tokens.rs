//! The tokens of devices, in hashes; a device has one at a time.

use chrono::{DateTime, Utc};
use fillmark_domain::people::Device;
use fillmark_domain::{Id, Kept};
use sea_orm::sea_query::{Expr, OnConflict};
use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter};

use crate::words::devices;
use crate::{Record, SiteScope, StoreError, Tx};

/// When a device's token was given, and when it was used last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Given {
    /// When it was given.
    pub given_at: DateTime<Utc>,
    /// When it was used last, to the minute; never yet when nothing.
    pub used_at: Option<DateTime<Utc>>,
}

/// Keeps a device's token in the place of the one before.
/// # Errors
/// When the database fails.
pub async fn keep(
    tx: &Tx,
    site: SiteScope,
    device: Id<Device>,
    token_hash: &str,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let row = row::Model {
        site_id: site.uuid(),
        device_id: device.uuid(),
        token_hash: token_hash.to_owned(),
        given_at: at,
        used_at: None,
    };
    let replace = OnConflict::columns([row::Column::SiteId, row::Column::DeviceId])
        .update_columns([row::Column::TokenHash, row::Column::GivenAt, row::Column::UsedAt])
        .to_owned();
    row::Entity::insert(row.into_active_model()).on_conflict(replace).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// What is known of a device's token.
/// # Errors
/// When the database fails.
pub async fn find(tx: &Tx, site: SiteScope, device: Id<Device>) -> Result<Option<Given>, StoreError> {
    let row = row::Entity::find_by_id((site.uuid(), device.uuid())).one(&tx.0).await?;
    Ok(row.map(read))
}

/// The device with a token, and what is known of the token.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find_by_hash(
    tx: &Tx,
    site: SiteScope,
    token_hash: &str,
) -> Result<Option<(Kept<Device>, Given)>, StoreError> {
    let token = row::Entity::find()
        .filter(row::Column::SiteId.eq(site.uuid()))
        .filter(row::Column::TokenHash.eq(token_hash))
        .one(&tx.0)
        .await?;
    let Some(token) = token else { return Ok(None) };
    let device = devices::row::Entity::find_by_id((token.site_id, token.device_id)).one(&tx.0).await?;
    let device = device.map(Device::read).transpose()?;
    Ok(device.map(|device| (device, read(token))))
}

/// Keeps when a device's token was used last.
/// # Errors
/// When the database fails.
pub async fn used(tx: &Tx, site: SiteScope, device: Id<Device>, at: DateTime<Utc>) -> Result<(), StoreError> {
    row::Entity::update_many()
        .col_expr(row::Column::UsedAt, Expr::val(at))
        .filter(row::Column::SiteId.eq(site.uuid()))
        .filter(row::Column::DeviceId.eq(device.uuid()))
        .exec(&tx.0)
        .await?;
    Ok(())
}

fn read(row: row::Model) -> Given {
    Given { given_at: row.given_at, used_at: row.used_at }
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "device_tokens")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub device_id: Uuid,
        pub token_hash: String,
        pub given_at: ChronoDateTimeUtc,
        pub used_at: Option<ChronoDateTimeUtc>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
