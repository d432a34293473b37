//! The journal: who did what to which record when, written in the transaction of the change.

use chrono::{DateTime, Utc};
use fillmark_domain::people::PersonId;
use sea_orm::{ColumnTrait, EntityTrait, JsonValue, QueryFilter, QueryOrder, Set};
use uuid::Uuid;

use crate::records::{Page, PageQuery, page_of};
use crate::{Scope, Stamp, StoreError, Tx};

/// One entry.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Sorts by time.
    pub id: Uuid,
    /// When.
    pub at: DateTime<Utc>,
    /// Who; nobody for a job.
    pub by: Option<PersonId>,
    /// What was done: created, changed, archived, …
    pub deed: String,
    /// To what kind of record.
    pub word: String,
    /// To which record.
    pub record_id: Uuid,
    /// The record's columns after it.
    pub detail: JsonValue,
}

/// Appends an entry.
/// # Errors
/// When the database fails.
pub async fn append(
    tx: &Tx,
    scope: impl Scope,
    stamp: &Stamp<'_>,
    deed: &str,
    word: &str,
    record_id: Uuid,
    detail: JsonValue,
) -> Result<(), StoreError> {
    let entry = entry(scope, stamp, deed, word, record_id, detail);
    row::Entity::insert(entry).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// Appends an entry that needs no detail.
/// # Errors
/// When the database fails.
pub async fn note(
    tx: &Tx,
    scope: impl Scope,
    stamp: &Stamp<'_>,
    deed: &str,
    word: &str,
    record_id: Uuid,
) -> Result<(), StoreError> {
    append(tx, scope, stamp, deed, word, record_id, JsonValue::Object(Default::default())).await
}

/// Appends an entry for each of several records; what was entered stands in the records themselves.
/// # Errors
/// When the database fails.
pub async fn note_many(
    tx: &Tx,
    scope: impl Scope,
    stamp: &Stamp<'_>,
    deed: &str,
    word: &str,
    record_ids: &[Uuid],
) -> Result<(), StoreError> {
    for chunk in record_ids.chunks(1000) {
        let entries = chunk
            .iter()
            .map(|id| entry(scope, stamp, deed, word, *id, JsonValue::Object(Default::default())));
        row::Entity::insert_many(entries).exec_without_returning(&tx.0).await?;
    }
    Ok(())
}

/// The id of the last entry of a scope's journal: the position a report was made at.
/// # Errors
/// When the database fails.
pub async fn last(tx: &Tx, scope: impl Scope) -> Result<Option<Uuid>, StoreError> {
    let entries = row::Entity::find().filter(row::Column::SiteId.eq(owner(scope)));
    Ok(entries.order_by_desc(row::Column::Id).one(&tx.0).await?.map(|row| row.id))
}

/// A page of a scope's journal.
/// # Errors
/// When the database fails.
pub async fn page(tx: &Tx, scope: impl Scope, query: &PageQuery) -> Result<Page<Entry>, StoreError> {
    let rows = row::Entity::find().filter(row::Column::SiteId.eq(owner(scope)));
    let page = page_of(tx, rows, query).await?;
    Ok(Page { items: page.items.into_iter().map(read).collect(), next: page.next })
}

fn entry(
    scope: impl Scope,
    stamp: &Stamp<'_>,
    deed: &str,
    word: &str,
    record_id: Uuid,
    detail: JsonValue,
) -> row::ActiveModel {
    row::ActiveModel {
        site_id: Set(owner(scope)),
        id: Set(stamp.fresh::<Entry>().uuid()),
        at: Set(stamp.at),
        person_id: Set(stamp.by.map(PersonId::uuid)),
        deed: Set(deed.to_owned()),
        word: Set(word.to_owned()),
        record_id: Set(record_id),
        detail: Set(detail),
    }
}

/// The business's journal stands under the nil id, since a key holds no nulls.
fn owner(scope: impl Scope) -> Uuid {
    scope.site().map_or(Uuid::nil(), |site| site.uuid())
}

fn read(row: row::Model) -> Entry {
    Entry {
        id: row.id,
        at: row.at,
        by: row.person_id.map(PersonId::new),
        deed: row.deed,
        word: row.word,
        record_id: row.record_id,
        detail: row.detail,
    }
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "journal")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub at: ChronoDateTimeUtc,
        pub person_id: Option<Uuid>,
        pub deed: String,
        pub word: String,
        pub record_id: Uuid,
        pub detail: Json,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
