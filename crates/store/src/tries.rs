//! Sign-ins that failed, by account and by address, in hashes: people type passwords where names belong.

use chrono::{DateTime, Utc};
use fillmark_domain::Coded;
use fillmark_domain::people::tries::{Counted, Tries};
use sea_orm::sea_query::OnConflict;
use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter};

use crate::{StoreError, Tx};

/// The failures of a key.
/// # Errors
/// When the database fails.
pub async fn find(tx: &Tx, counted: Counted, key_hash: &str) -> Result<Option<Tries>, StoreError> {
    let key = (counted.code().to_owned(), key_hash.to_owned());
    Ok(row::Entity::find_by_id(key).one(&tx.0).await?.map(read))
}

/// Keeps the failures of a key.
/// # Errors
/// When the database fails.
pub async fn keep(tx: &Tx, counted: Counted, key_hash: &str, tries: Tries) -> Result<(), StoreError> {
    let row = row::Model {
        counted: counted.code().to_owned(),
        key_hash: key_hash.to_owned(),
        failed: i64::from(tries.failed),
        first_at: tries.first_at,
        last_at: tries.last_at,
    };
    let replace = OnConflict::columns([row::Column::Counted, row::Column::KeyHash])
        .update_columns([row::Column::Failed, row::Column::FirstAt, row::Column::LastAt])
        .to_owned();
    row::Entity::insert(row.into_active_model()).on_conflict(replace).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// Forgets the failures of a key.
/// # Errors
/// When the database fails.
pub async fn forget(tx: &Tx, counted: Counted, key_hash: &str) -> Result<(), StoreError> {
    row::Entity::delete_by_id((counted.code().to_owned(), key_hash.to_owned())).exec(&tx.0).await?;
    Ok(())
}

/// Whether there are failures of which the last was before an instant.
/// # Errors
/// When the database fails.
pub async fn any_before(tx: &Tx, at: DateTime<Utc>) -> Result<bool, StoreError> {
    let old = row::Entity::find().filter(row::Column::LastAt.lt(at));
    Ok(old.one(&tx.0).await?.is_some())
}

/// Forgets the failures of which the last was before an instant.
/// # Errors
/// When the database fails.
pub async fn forget_before(tx: &Tx, at: DateTime<Utc>) -> Result<(), StoreError> {
    row::Entity::delete_many().filter(row::Column::LastAt.lt(at)).exec(&tx.0).await?;
    Ok(())
}

fn read(row: row::Model) -> Tries {
    let failed = u32::try_from(row.failed).unwrap_or(u32::MAX);
    Tries { failed, first_at: row.first_at, last_at: row.last_at }
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "failed_sign_ins")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub counted: String,
        #[sea_orm(primary_key, auto_increment = false)]
        pub key_hash: String,
        pub failed: i64,
        pub first_at: ChronoDateTimeUtc,
        pub last_at: ChronoDateTimeUtc,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
