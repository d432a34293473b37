//! The chain: entries of the journal are sealed in the order in which they are found committed, each with the hash
//! of the one before, so that none can be altered, left out or put in between without all later hashes telling.
//!
//! Writers do not wait for each other's hashes: sealing comes after the commit, one sealer at a time. Whoever writes many
//! entries and finds that nobody is at it seals them at once.

use chrono::{DateTime, SecondsFormat, Utc};
use fillmark_domain::people::PersonId;
use sea_orm::sea_query::{Expr, ExprTrait, IntoIden, Query, TableRef};
use sea_orm::{
    ColumnTrait, ConnectionTrait, DbBackend, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Statement,
    Value,
};
use serde_json::json;
use sha2::{Digest, Sha256};
use uuid::Uuid;

use super::{Entry, read, row};
use crate::{StoreError, Tx, rows};

/// So many entries are sealed in one transaction: few enough that writers of the embedded database hardly wait.
const AT_ONCE: u64 = 500;

/// Of so many entries, sealing them as they are written costs less than writing each twice. For fewer, asking whether the turn
/// is free and where the chain stands would cost more; our own judgement.
const WORTH_A_TURN: usize = 64;

/// The place of an entry in its chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seal {
    /// Counts from 1 in each journal.
    pub seq: i64,
    /// SHA-256 over the hash before and the entry, in hex.
    pub hash: String,
}

/// Where a journal's chain stands.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Head {
    /// The number of its last sealed entry; 0 before the first.
    pub seq: i64,
    /// That entry's hash; empty before the first.
    pub hash: String,
}

impl From<Option<Seal>> for Head {
    fn from(last: Option<Seal>) -> Self {
        last.map(|seal| Head { seq: seal.seq, hash: seal.hash }).unwrap_or_default()
    }
}

/// The hash of an entry behind another: SHA-256 (FIPS 180-4) over the hash before, a line feed, and the entry as JSON with
/// its names in order.
pub fn hash(owner: Uuid, seq: i64, entry: &Entry, before: &str) -> String {
    let text = json!({
        "site": owner, "seq": seq, "id": entry.id, "at": text_of(entry.at), "by": entry.by.map(PersonId::uuid),
        "deed": entry.deed, "word": entry.word, "record": entry.record_id, "detail": entry.detail,
    });
    let digest =
        Sha256::new().chain_update(before).chain_update("\n").chain_update(text.to_string()).finalize();
    format!("{digest:x}")
}

/// The journals that have entries which are not sealed yet: ids of sites, nil for the business.
/// # Errors
/// When the database fails.
pub async fn unsealed(tx: &Tx) -> Result<Vec<Uuid>, StoreError> {
    let owners =
        row::Entity::find().filter(row::Column::Seq.is_null()).select_only().column(row::Column::SiteId);
    Ok(owners.distinct().into_tuple().all(&tx.0).await?)
}

/// How many entries of all journals are not sealed yet.
/// # Errors
/// When the database fails.
pub async fn unsealed_count(tx: &Tx) -> Result<u64, StoreError> {
    use sea_orm::PaginatorTrait;
    Ok(row::Entity::find().filter(row::Column::Seq.is_null()).count(&tx.0).await?)
}

/// Seals entries of a journal, up to some hundreds; says whether there may be more.
/// # Errors
/// When the database fails.
pub async fn seal(tx: &Tx, owner: Uuid) -> Result<bool, StoreError> {
    tx.take_turn(&turn(owner)).await?;
    let head = head(tx, owner).await?;
    let unsealed = of(owner).filter(row::Column::Seq.is_null()).order_by_asc(row::Column::Id).limit(AT_ONCE);
    let unsealed = unsealed.all(&tx.0).await?;
    let mut entries: Vec<Entry> = unsealed.into_iter().map(read).collect();
    if entries.is_empty() {
        return Ok(false);
    }
    link(owner, head, &mut entries);
    let more = entries.len() as u64 == AT_ONCE;
    keep(tx, owner, entries.into_iter().filter_map(|entry| Some((entry.id, entry.seal?))).collect()).await?;
    Ok(more)
}

/// Where a journal's chain stands, for whoever is to write so many entries and has its turn from now on until the transaction
/// ends: no other number is given before these are committed. None where they are few, or another has the turn.
/// # Errors
/// When the database fails.
pub(crate) async fn place_for(tx: &Tx, owner: Uuid, count: usize) -> Result<Option<Head>, StoreError> {
    if count < WORTH_A_TURN || !tx.try_turn(&turn(owner)).await? {
        return Ok(None);
    }
    head(tx, owner).await.map(Some)
}

/// Seals entries, each behind the one before.
pub(crate) fn link(owner: Uuid, mut head: Head, entries: &mut [Entry]) {
    for entry in entries {
        let seq = head.seq + 1;
        head = Head { seq, hash: hash(owner, seq, entry, &head.hash) };
        entry.seal = Some(Seal { seq, hash: head.hash.clone() });
    }
}

fn turn(owner: Uuid) -> String {
    format!("chain of {owner}")
}

async fn keep(tx: &Tx, owner: Uuid, seals: Vec<(Uuid, Seal)>) -> Result<(), StoreError> {
    if tx.is_postgres() {
        let update = "update journal set seq = sealed.seq, hash = sealed.hash
            from unnest($2, $3, $4) as sealed (id, seq, hash) where site_id = $1 and journal.id = sealed.id";
        let mut columns = vec![Vec::new(); 3];
        for (id, seal) in seals {
            let values = [Value::from(id), seal.seq.into(), seal.hash.into()];
            columns.iter_mut().zip(values).for_each(|(column, value)| column.push(value));
        }
        let values = std::iter::once(owner.into()).chain(rows::arrays(columns));
        tx.0.execute_raw(Statement::from_sql_and_values(DbBackend::Postgres, update, values)).await?;
        return Ok(());
    }
    let seals = seals.into_iter().map(|(id, seal)| (id, seal.seq, seal.hash).into()).collect();
    let update = Query::update()
        .table("journal")
        .value("seq", Expr::col(("sealed", "column2")))
        .value("hash", Expr::col(("sealed", "column3")))
        .from(TableRef::ValuesList(seals, "sealed".into_iden()))
        .and_where(Expr::col(("journal", "site_id")).eq(owner))
        .and_where(Expr::col(("journal", "id")).equals(("sealed", "column1")))
        .to_owned();
    tx.0.execute(&update).await?;
    Ok(())
}

/// Where a journal's chain stands.
/// # Errors
/// When the database fails.
pub async fn head(tx: &Tx, owner: Uuid) -> Result<Head, StoreError> {
    let last =
        of(owner).filter(row::Column::Seq.is_not_null()).order_by_desc(row::Column::Seq).one(&tx.0).await?;
    Ok(Head::from(last.map(read).and_then(|entry| entry.seal)))
}

/// The hash of the entry of a journal with this number.
/// # Errors
/// When the database fails.
pub async fn hash_at(tx: &Tx, owner: Uuid, seq: i64) -> Result<Option<String>, StoreError> {
    let entry = of(owner).filter(row::Column::Seq.eq(seq)).one(&tx.0).await?;
    Ok(entry.and_then(|entry| entry.hash))
}

/// Sealed entries of a journal behind a number, in their order: whoever asks again behind the last misses none.
/// # Errors
/// When the database fails.
pub async fn sealed_after(tx: &Tx, owner: Uuid, seq: i64, limit: u64) -> Result<Vec<Entry>, StoreError> {
    let behind = of(owner).filter(row::Column::Seq.gt(seq)).order_by_asc(row::Column::Seq).limit(limit);
    Ok(behind.all(&tx.0).await?.into_iter().map(read).collect())
}

/// Entries of a journal that are not sealed yet, behind an id, in their order.
/// # Errors
/// When the database fails.
pub async fn unsealed_after(tx: &Tx, owner: Uuid, id: Uuid, limit: u64) -> Result<Vec<Entry>, StoreError> {
    let unsealed = of(owner).filter(row::Column::Seq.is_null()).filter(row::Column::Id.gt(id));
    let unsealed = unsealed.order_by_asc(row::Column::Id).limit(limit);
    Ok(unsealed.all(&tx.0).await?.into_iter().map(read).collect())
}

fn of(owner: Uuid) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(owner))
}

fn text_of(at: DateTime<Utc>) -> String {
    at.to_rfc3339_opts(SecondsFormat::Millis, true)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry() -> Entry {
        Entry {
            id: Uuid::from_u128(1),
            at: "2026-11-24T06:00:00Z".parse().unwrap(),
            by: None,
            deed: "created".into(),
            word: "room".into(),
            record_id: Uuid::from_u128(2),
            detail: json!({"name": "North room"}),
            seal: None,
        }
    }

    /// Worked out apart from this code by `printf '\n%s' '{"at":…}' | sha256sum` (GNU coreutils) of the entry's JSON.
    #[test]
    fn a_hash_can_be_made_by_other_means() {
        let expected = "ce325c3c822ba30770ec1162e6bebd90ef61652658b350455a786206b15f827b";
        assert_eq!(hash(Uuid::nil(), 1, &entry(), ""), expected);
    }

    #[test]
    fn any_difference_makes_another_hash() {
        let plain = hash(Uuid::nil(), 1, &entry(), "");
        let other = Entry { detail: json!({"name": "South room"}), ..entry() };
        for hash in [
            hash(Uuid::nil(), 2, &entry(), ""),
            hash(Uuid::from_u128(3), 1, &entry(), ""),
            hash(Uuid::nil(), 1, &entry(), "0"),
            hash(Uuid::nil(), 1, &other, ""),
        ] {
            assert_ne!(hash, plain);
        }
    }
}
