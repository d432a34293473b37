//! The journal: who did what to which record when, written in the transaction of the change.

use chrono::{DateTime, Utc};
use fillmark_domain::people::PersonId;
use sea_orm::sea_query::sea_value_to_json_value;
use sea_orm::{
    ActiveModelTrait, ActiveValue, ColumnTrait, EntityTrait, IdenStatic, Iterable, JsonValue, QueryFilter,
    QueryOrder, Set,
};
use serde_json::json;
use sha2::{Digest, Sha256};
use uuid::Uuid;

pub mod chain;

pub use chain::{Head, Seal};

use crate::records::{Page, PageQuery, page_of};
use crate::{Scope, Stamp, StoreError, Tx, rows};

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
    /// The record's columns after it; of what is entered once, the hash of its row.
    pub detail: JsonValue,
    /// Its place in the chain; none for a moment after the commit.
    pub seal: Option<Seal>,
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
    let entry = entry(stamp, deed, word, record_id, detail);
    row::Entity::insert(columns(owner(scope), entry)).exec_without_returning(&tx.0).await?;
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

/// Appends an entry for each of several records, each signed for itself.
/// # Errors
/// When the database fails.
pub(crate) async fn append_many(
    tx: &Tx,
    scope: impl Scope,
    deed: &str,
    word: &str,
    records: impl Iterator<Item = (Stamp<'_>, Uuid, JsonValue)>,
) -> Result<(), StoreError> {
    let entry = |(stamp, id, detail)| columns(owner(scope), entry(&stamp, deed, word, id, detail));
    rows::insert(tx, &records.map(entry).collect::<Vec<_>>()).await
}

/// The rows of entries about what was entered once, each behind the one before where the chain stands if that is known.
pub(crate) fn entered<'a, M: ActiveModelTrait + 'a>(
    owner: Uuid,
    word: &str,
    records: impl Iterator<Item = (Stamp<'a>, Uuid, &'a M)>,
    head: Option<Head>,
) -> Vec<row::ActiveModel> {
    let entry = |(stamp, id, row): (Stamp<'a>, Uuid, &M)| entry(&stamp, "entered", word, id, hashed(row));
    let mut entries: Vec<Entry> = records.map(entry).collect();
    if let Some(head) = head {
        chain::link(owner, head, &mut entries);
    }
    entries.into_iter().map(|entry| columns(owner, entry)).collect()
}

/// The columns of a row that are set and may be told.
pub(crate) fn told<M: ActiveModelTrait>(row: &M, untold: &[&str]) -> JsonValue {
    let mut detail = serde_json::Map::new();
    for column in <M::Entity as EntityTrait>::Column::iter() {
        if let ActiveValue::Set(value) = row.get(column)
            && !untold.contains(&column.as_str())
        {
            detail.insert(column.as_str().to_owned(), sea_value_to_json_value(&value));
        }
    }
    JsonValue::Object(detail)
}

/// The detail of a record that is entered once: the hash of its row. What was entered stands in the record itself, and
/// the chain tells whether it still does.
pub(crate) fn hashed<M: ActiveModelTrait>(row: &M) -> JsonValue {
    json!({ "sha256": hash_of(row) })
}

/// SHA-256 of a row as JSON with its columns in the order of their names, in hex. Zeros have no sign.
pub(crate) fn hash_of<M: ActiveModelTrait>(row: &M) -> String {
    hash_by(row, signless)
}

/// The same with the signs of zeros, as rows were hashed at first.
pub(crate) fn hash_with_signs<M: ActiveModelTrait>(row: &M) -> String {
    hash_by(row, |value| value)
}

fn hash_by<M: ActiveModelTrait>(row: &M, written: fn(JsonValue) -> JsonValue) -> String {
    let mut columns: Vec<(&str, JsonValue)> = Vec::new();
    for column in <M::Entity as EntityTrait>::Column::iter() {
        if let ActiveValue::Set(value) | ActiveValue::Unchanged(value) = row.get(column) {
            columns.push((column.as_str(), written(sea_value_to_json_value(&value))));
        }
    }
    columns.retain(|(_, value)| !value.is_null());
    columns.sort_unstable_by_key(|(name, _)| *name);
    // Written out by hand, since a map of a dozen strings would take longer than their hash. Names of columns need no quoting.
    let parts: Vec<String> = columns.iter().map(|(name, value)| format!("\"{name}\":{value}")).collect();
    format!("{:x}", Sha256::digest(format!("{{{}}}", parts.join(","))))
}

/// A value whose zeros have no sign: SQLite's whole numbers and PostgreSQL's decimal ones lose it.
fn signless(value: JsonValue) -> JsonValue {
    match value {
        JsonValue::Number(number) if number.as_f64() == Some(0.0) && number.is_f64() => json!(0.0),
        JsonValue::Array(values) => JsonValue::Array(values.into_iter().map(signless).collect()),
        JsonValue::Object(fields) => {
            JsonValue::Object(fields.into_iter().map(|(name, value)| (name, signless(value))).collect())
        }
        other => other,
    }
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

fn entry(stamp: &Stamp<'_>, deed: &str, word: &str, record_id: Uuid, detail: JsonValue) -> Entry {
    Entry {
        id: stamp.fresh::<Entry>().uuid(),
        at: stamp.at,
        by: stamp.by,
        deed: deed.to_owned(),
        word: word.to_owned(),
        record_id,
        detail,
        seal: None,
    }
}

fn columns(owner: Uuid, entry: Entry) -> row::ActiveModel {
    let (seq, hash) = entry.seal.map(|seal| (seal.seq, seal.hash)).unzip();
    row::ActiveModel {
        site_id: Set(owner),
        id: Set(entry.id),
        at: Set(entry.at),
        person_id: Set(entry.by.map(PersonId::uuid)),
        deed: Set(entry.deed),
        word: Set(entry.word),
        record_id: Set(entry.record_id),
        detail: Set(entry.detail),
        seq: Set(seq),
        hash: Set(hash),
    }
}

/// The business's journal stands under the nil id, since a key holds no nulls.
pub fn owner(scope: impl Scope) -> Uuid {
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
        seal: row.seq.zip(row.hash).map(|(seq, hash)| Seal { seq, hash }),
    }
}

pub(crate) mod row {
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
        pub seq: Option<i64>,
        pub hash: Option<String>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
