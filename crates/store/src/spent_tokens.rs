//! Refresh tokens that were spent.

use chrono::{DateTime, Utc};
use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter};
use uuid::Uuid;

use crate::{StoreError, Tx};

/// Keeps the hash of a token that its session has spent.
/// # Errors
/// When the database fails.
pub async fn keep(tx: &Tx, hash: &str, session: Uuid, at: DateTime<Utc>) -> Result<(), StoreError> {
    let row = row::Model { token_hash: hash.to_owned(), session_id: session, spent_at: at };
    row::Entity::insert(row.into_active_model()).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// The session that spent a token with this hash.
/// # Errors
/// When the database fails.
pub async fn session_of(tx: &Tx, hash: &str) -> Result<Option<Uuid>, StoreError> {
    Ok(row::Entity::find_by_id(hash).one(&tx.0).await?.map(|row| row.session_id))
}

/// Whether there are some that were spent before an instant.
/// # Errors
/// When the database fails.
pub async fn any_before(tx: &Tx, at: DateTime<Utc>) -> Result<bool, StoreError> {
    Ok(row::Entity::find().filter(row::Column::SpentAt.lt(at)).one(&tx.0).await?.is_some())
}

/// Forgets those spent before an instant.
/// # Errors
/// When the database fails.
pub async fn forget_before(tx: &Tx, at: DateTime<Utc>) -> Result<(), StoreError> {
    row::Entity::delete_many().filter(row::Column::SpentAt.lt(at)).exec(&tx.0).await?;
    Ok(())
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "spent_tokens")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub token_hash: String,
        pub session_id: Uuid,
        pub spent_at: ChronoDateTimeUtc,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
