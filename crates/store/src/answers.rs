//! Answers that were given to requests with a key of their own, kept in the commit of what they told of.

use chrono::{DateTime, Utc};
use sea_orm::sea_query::{Func, FunctionCall, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel, QueryFilter};
use uuid::Uuid;

use crate::connection::turn;
use crate::{StoreError, Tx};

/// How long another request under the same key is waited for.
const PATIENCE_MS: &str = "5000";

/// Which request: whose, under which key, to what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// Who asks.
    pub caller: Uuid,
    /// The key that the client made.
    pub key: String,
    /// Method and path.
    pub route: String,
    /// SHA-256 of the body as it came, in hex.
    pub body_hash: String,
}

/// An answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// The HTTP status.
    pub status: u16,
    /// `Content-Type`, where it has a body.
    pub content_type: Option<String>,
    /// `ETag`, where it has one.
    pub etag: Option<String>,
    /// `Location`, where it made something.
    pub location: Option<String>,
    /// The body.
    pub body: String,
}

/// Waits until no other request under the same key is under way.
/// # Errors
/// [`StoreError::Held`] when one is for longer than five seconds, or the database fails.
pub async fn take_turn(tx: &Tx, asked: &Asked) -> Result<(), StoreError> {
    // The embedded database has one writer: whoever has begun has the turn.
    if tx.is_postgres() {
        let patience =
            |ms: &str| -> FunctionCall { Func::cust("set_config").arg("lock_timeout").arg(ms).arg(true) };
        let turn = turn(&format!("{} {}", asked.caller, asked.key));
        let statement = Query::select().expr(patience(PATIENCE_MS)).expr(turn).expr(patience("0")).to_owned();
        tx.0.execute(&statement).await?;
    }
    Ok(())
}

/// The answer that was given before, with the hash of the body it was given to.
/// # Errors
/// When the database fails.
pub async fn find(tx: &Tx, asked: &Asked) -> Result<Option<(String, Answer)>, StoreError> {
    let key = (asked.caller, asked.key.clone(), asked.route.clone());
    Ok(row::Entity::find_by_id(key).one(&tx.0).await?.map(read))
}

/// Keeps an answer.
/// # Errors
/// When the database fails.
pub async fn keep(tx: &Tx, asked: &Asked, answer: &Answer, at: DateTime<Utc>) -> Result<(), StoreError> {
    let row = row::Model {
        caller_id: asked.caller,
        request_key: asked.key.clone(),
        route: asked.route.clone(),
        body_hash: asked.body_hash.clone(),
        status: i64::from(answer.status),
        content_type: answer.content_type.clone(),
        etag: answer.etag.clone(),
        location: answer.location.clone(),
        body: answer.body.clone(),
        answered_at: at,
    };
    row::Entity::insert(row.into_active_model()).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// Whether there are answers given before an instant.
/// # Errors
/// When the database fails.
pub async fn any_before(tx: &Tx, at: DateTime<Utc>) -> Result<bool, StoreError> {
    let old = row::Entity::find().filter(row::Column::AnsweredAt.lt(at));
    Ok(old.one(&tx.0).await?.is_some())
}

/// Forgets the answers given before an instant.
/// # Errors
/// When the database fails.
pub async fn forget_before(tx: &Tx, at: DateTime<Utc>) -> Result<(), StoreError> {
    row::Entity::delete_many().filter(row::Column::AnsweredAt.lt(at)).exec(&tx.0).await?;
    Ok(())
}

/// Forgets the answers below a path that tell of a record by its id.
/// # Errors
/// When the database fails.
pub async fn forget_about(tx: &Tx, path: &str, id: Uuid) -> Result<(), StoreError> {
    row::Entity::delete_many()
        .filter(row::Column::Route.starts_with(format!("POST {path}")))
        .filter(row::Column::Body.contains(id.to_string()))
        .exec(&tx.0)
        .await?;
    Ok(())
}

/// Forgets the answers that somebody was given.
/// # Errors
/// When the database fails.
pub async fn forget_of(tx: &Tx, caller: Uuid) -> Result<(), StoreError> {
    row::Entity::delete_many().filter(row::Column::CallerId.eq(caller)).exec(&tx.0).await?;
    Ok(())
}

fn read(row: row::Model) -> (String, Answer) {
    let answer = Answer {
        status: u16::try_from(row.status).unwrap_or(u16::MAX),
        content_type: row.content_type,
        etag: row.etag,
        location: row.location,
        body: row.body,
    };
    (row.body_hash, answer)
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "kept_answers")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub caller_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub request_key: String,
        #[sea_orm(primary_key, auto_increment = false)]
        pub route: String,
        pub body_hash: String,
        pub status: i64,
        pub content_type: Option<String>,
        pub etag: Option<String>,
        pub location: Option<String>,
        pub body: String,
        pub answered_at: ChronoDateTimeUtc,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
