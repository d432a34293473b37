//! Accounts: passwords, sessions and the keys that sign tokens.

use chrono::{DateTime, Utc};
use fillmark_domain::people::keys::KeyPurpose;
use fillmark_domain::people::{Membership, Person, PersonId, Role};
use fillmark_domain::{Id, Kept};
use sea_orm::sea_query::{Expr, ExprTrait, OnConflict};
use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter, QueryOrder, QuerySelect, Set};
use uuid::Uuid;

use crate::columns::code;
use crate::entries::to_a_step;
use crate::words::{memberships, people};
use crate::{Record, Stamp, StoreError, Tx};

/// A session: one sign-in on one device, kept alive by refreshing.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// Its id, in every token it gives.
    pub id: Uuid,
    /// Whose.
    pub person: PersonId,
    /// What the person calls the device.
    pub device: Option<String>,
    /// SHA-256 of the refresh token that is good now, in hex.
    pub refresh_hash: String,
    /// SHA-256 of the one before it.
    pub spent_hash: Option<String>,
    /// When the token that is good now was given.
    pub refreshed_at: DateTime<Utc>,
    /// When the session began.
    pub created_at: DateTime<Utc>,
    /// When it ends whatever happens.
    pub expires_at: DateTime<Utc>,
    /// When it was ended, if it was.
    pub ended_at: Option<DateTime<Utc>>,
}

/// A key that the server made for itself.
#[derive(Clone, PartialEq, Eq)]
pub struct SecretKey {
    /// Told to everybody.
    pub id: String,
    /// Told to nobody.
    pub secret: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
}

/// The person with this sign-in name and the hash of their password, where both are there.
/// # Errors
/// When the database fails.
pub async fn find_by_sign_in(tx: &Tx, sign_in: &str) -> Result<Option<(PersonId, String)>, StoreError> {
    let person = people::row::Entity::find()
        .filter(people::row::Column::SignIn.eq(sign_in))
        .filter(people::row::Column::ArchivedAt.is_null())
        .one(&tx.0)
        .await?;
    let Some(person) = person else { return Ok(None) };
    let password = password::Entity::find_by_id(person.id).one(&tx.0).await?;
    Ok(password.map(|password| (PersonId::new(person.id), password.hash)))
}

/// Sets a person's password.
/// # Errors
/// When the database fails.
pub async fn set_password(
    tx: &Tx,
    person: PersonId,
    hash: &str,
    stamp: &Stamp<'_>,
) -> Result<(), StoreError> {
    let row = password::ActiveModel {
        person_id: Set(person.uuid()),
        hash: Set(hash.to_owned()),
        changed_at: Set(stamp.at),
    };
    let replace = OnConflict::column(password::Column::PersonId)
        .update_columns([password::Column::Hash, password::Column::ChangedAt])
        .to_owned();
    password::Entity::insert(row).on_conflict(replace).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// The hash of a person's password, which nobody changes until the transaction ends.
/// # Errors
/// When the database fails.
pub async fn lock_password(tx: &Tx, person: PersonId) -> Result<Option<String>, StoreError> {
    let password = password::Entity::find_by_id(person.uuid()).lock_exclusive().one(&tx.0).await?;
    Ok(password.map(|password| password.hash))
}

/// Forgets a person's password: nobody signs in with it any more.
/// # Errors
/// When the database fails.
pub async fn forget_password(tx: &Tx, person: PersonId) -> Result<(), StoreError> {
    password::Entity::delete_by_id(person.uuid()).exec(&tx.0).await?;
    Ok(())
}

/// Puts a name that tells nothing in the place of a person's: of one who has left too, whose record changes no more.
/// # Errors
/// When the database fails.
pub async fn rename(
    tx: &Tx,
    person: PersonId,
    nameless: &Person,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let version = Expr::col(people::row::Column::Version);
    people::row::Entity::update_many()
        .set(nameless.columns())
        .col_expr(people::row::Column::Version, version.add(1))
        .col_expr(people::row::Column::UpdatedAt, Expr::val(at))
        .filter(people::row::Column::Id.eq(person.uuid()))
        .exec(&tx.0)
        .await?;
    Ok(())
}

/// Forgets what a person called their devices: often their own name.
/// # Errors
/// When the database fails.
pub async fn forget_device_names(tx: &Tx, person: PersonId) -> Result<(), StoreError> {
    session::Entity::update_many()
        .col_expr(session::Column::Device, Expr::val(None::<String>))
        .filter(session::Column::PersonId.eq(person.uuid()))
        .exec(&tx.0)
        .await?;
    Ok(())
}

/// The memberships of people, archived ones left out.
/// # Errors
/// When the database fails or a row is broken.
pub async fn memberships_of(tx: &Tx, people: &[PersonId]) -> Result<Vec<Kept<Membership>>, StoreError> {
    let rows = memberships::row::Entity::find()
        .filter(
            memberships::row::Column::PersonId.is_in(to_a_step(people.iter().map(|person| person.uuid()))),
        )
        .filter(memberships::row::Column::ArchivedAt.is_null())
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(Membership::read).collect::<Result<_, _>>()?)
}

/// Whether somebody who can sign in is an owner of every site at an instant.
/// # Errors
/// When the database fails or a row is broken.
pub async fn has_owner(tx: &Tx, at: DateTime<Utc>) -> Result<bool, StoreError> {
    use memberships::row::Column;
    let owners = memberships::row::Entity::find()
        .filter(Column::SiteId.is_null())
        .filter(Column::Role.eq(code(Role::Owner)))
        .filter(Column::ArchivedAt.is_null())
        .filter(Column::FromAt.lte(at))
        .filter(Column::UntilAt.is_null().or(Column::UntilAt.gt(at)))
        .all(&tx.0)
        .await?;
    let owners: Vec<Uuid> = owners.into_iter().map(|row| row.person_id).collect();
    let able = password::Entity::find().filter(password::Column::PersonId.is_in(owners)).all(&tx.0).await?;
    let able = people::row::Entity::find()
        .filter(people::row::Column::Id.is_in(able.into_iter().map(|row| row.person_id)))
        .filter(people::row::Column::ArchivedAt.is_null())
        .filter(people::row::Column::SignIn.is_not_null());
    Ok(able.one(&tx.0).await?.is_some())
}

/// Whether nobody has a password yet: the first owner is still to come.
/// # Errors
/// When the database fails.
pub async fn is_unclaimed(tx: &Tx) -> Result<bool, StoreError> {
    Ok(password::Entity::find().one(&tx.0).await?.is_none())
}

/// Keeps a new session.
/// # Errors
/// When the database fails.
pub async fn keep_session(tx: &Tx, session: &Session) -> Result<(), StoreError> {
    let row = session::Model {
        id: session.id,
        person_id: session.person.uuid(),
        device: session.device.clone(),
        refresh_hash: session.refresh_hash.clone(),
        spent_hash: session.spent_hash.clone(),
        refreshed_at: session.refreshed_at,
        created_at: session.created_at,
        expires_at: session.expires_at,
        ended_at: session.ended_at,
    };
    session::Entity::insert(row.into_active_model()).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// The sessions with these ids.
/// # Errors
/// When the database fails.
pub async fn find_sessions(tx: &Tx, ids: &[Uuid]) -> Result<Vec<Session>, StoreError> {
    let rows = session::Entity::find()
        .filter(session::Column::Id.is_in(to_a_step(ids.iter().copied())))
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(read_session).collect())
}

/// The session whose good or spent refresh token has this hash, locked: of two who renew it at once, the second finds
/// the token spent.
/// # Errors
/// When the database fails.
pub async fn lock_session_by_token(tx: &Tx, hash: &str) -> Result<Option<Session>, StoreError> {
    let either = session::Column::RefreshHash.eq(hash).or(session::Column::SpentHash.eq(hash));
    Ok(session::Entity::find().filter(either).lock_exclusive().one(&tx.0).await?.map(read_session))
}

/// Gives a session its next refresh token. No when another request did so first.
/// # Errors
/// When the database fails.
pub async fn refresh_session(
    tx: &Tx,
    session: &Session,
    next: &str,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let update = session::Entity::update_many()
        .col_expr(session::Column::SpentHash, Expr::val(session.refresh_hash.as_str()))
        .col_expr(session::Column::RefreshHash, Expr::val(next))
        .col_expr(session::Column::RefreshedAt, Expr::val(at))
        .filter(session::Column::Id.eq(session.id))
        .filter(session::Column::RefreshHash.eq(session.refresh_hash.as_str()))
        .filter(session::Column::EndedAt.is_null());
    Ok(update.exec(&tx.0).await?.rows_affected == 1)
}

/// Ends a session.
/// # Errors
/// When the database fails.
pub async fn end_session(tx: &Tx, id: Uuid, at: DateTime<Utc>) -> Result<(), StoreError> {
    tx.changes_standings();
    session::Entity::update_many()
        .col_expr(session::Column::EndedAt, Expr::val(at))
        .filter(session::Column::Id.eq(id))
        .filter(session::Column::EndedAt.is_null())
        .exec(&tx.0)
        .await?;
    Ok(())
}

/// The sessions of a person that nobody has ended and that are not over, the newest first.
/// # Errors
/// When the database fails.
pub async fn sessions_of(tx: &Tx, person: PersonId, at: DateTime<Utc>) -> Result<Vec<Session>, StoreError> {
    let rows = session::Entity::find()
        .filter(session::Column::PersonId.eq(person.uuid()))
        .filter(session::Column::EndedAt.is_null())
        .filter(session::Column::ExpiresAt.gt(at))
        .order_by_desc(session::Column::CreatedAt)
        .order_by_desc(session::Column::Id)
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(read_session).collect())
}

/// Ends all sessions of a person but one.
/// # Errors
/// When the database fails.
pub async fn end_sessions_of(
    tx: &Tx,
    person: PersonId,
    but: Option<Uuid>,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    tx.changes_standings();
    session::Entity::update_many()
        .col_expr(session::Column::EndedAt, Expr::val(at))
        .filter(session::Column::PersonId.eq(person.uuid()))
        .filter(session::Column::Id.ne(but.unwrap_or_default()))
        .filter(session::Column::EndedAt.is_null())
        .exec(&tx.0)
        .await?;
    Ok(())
}

/// The keys for a purpose, newest first.
/// # Errors
/// When the database fails.
pub async fn keys(tx: &Tx, purpose: KeyPurpose) -> Result<Vec<SecretKey>, StoreError> {
    let rows = key::Entity::find()
        .filter(key::Column::Purpose.eq(code(purpose)))
        .order_by_desc(key::Column::CreatedAt)
        .all(&tx.0)
        .await?;
    let read = |row: key::Model| SecretKey { id: row.id, secret: row.secret, created_at: row.created_at };
    Ok(rows.into_iter().map(read).collect())
}

/// Keeps a new key.
/// # Errors
/// When the database fails.
pub async fn keep_key(tx: &Tx, purpose: KeyPurpose, key: &SecretKey) -> Result<(), StoreError> {
    let row = key::Model {
        id: key.id.clone(),
        secret: key.secret.clone(),
        created_at: key.created_at,
        purpose: code(purpose),
    };
    key::Entity::insert(row.into_active_model()).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// Forgets the keys for a purpose that were made before an instant.
/// # Errors
/// When the database fails.
pub async fn forget_keys(tx: &Tx, purpose: KeyPurpose, before: DateTime<Utc>) -> Result<(), StoreError> {
    key::Entity::delete_many()
        .filter(key::Column::Purpose.eq(code(purpose)))
        .filter(key::Column::CreatedAt.lt(before))
        .exec(&tx.0)
        .await?;
    Ok(())
}

pub(crate) fn read_session(row: session::Model) -> Session {
    Session {
        id: row.id,
        person: Id::new(row.person_id),
        device: row.device,
        refresh_hash: row.refresh_hash,
        spent_hash: row.spent_hash,
        refreshed_at: row.refreshed_at,
        created_at: row.created_at,
        expires_at: row.expires_at,
        ended_at: row.ended_at,
    }
}

mod password {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "passwords")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub person_id: Uuid,
        pub hash: String,
        pub changed_at: ChronoDateTimeUtc,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}

pub(crate) mod session {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "sessions")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub person_id: Uuid,
        pub device: Option<String>,
        pub refresh_hash: String,
        pub spent_hash: Option<String>,
        pub refreshed_at: ChronoDateTimeUtc,
        pub created_at: ChronoDateTimeUtc,
        pub expires_at: ChronoDateTimeUtc,
        pub ended_at: Option<ChronoDateTimeUtc>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}

mod key {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "signing_keys")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: String,
        pub secret: String,
        pub created_at: ChronoDateTimeUtc,
        pub purpose: String,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
