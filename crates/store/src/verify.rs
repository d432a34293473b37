//! A look at all records, whether they are what was written: each journal against its chain, what is entered once against
//! the hash that its journal took, records, checks and slips against what it was told of them, and each balance against its
//! movements.

mod records;
mod slips;

use std::collections::{BTreeMap, HashMap};
use std::str::FromStr;
use std::sync::Arc;

use fillmark_domain::entries::{Addition, Reading, TankChange};
use fillmark_domain::growing::Harvest;
use sea_orm::sea_query::{Alias, Asterisk, Expr, ExprTrait, Query, ValueType};
use sea_orm::{
    ActiveModelTrait, ColumnTrait, ConnectionTrait, DbErr, EntityName, EntityTrait, IntoActiveModel,
    QueryFilter, QuerySelect, Select,
};
use uuid::Uuid;

use crate::entries::Entry;
use crate::journal::chain::{self, Head};
use crate::journal::{self, row};
use crate::{StoreError, Tx, advice, forecasts, holdings, movements, reviews};
use records::Records;

/// So many entries of a journal are looked at at once.
const AT_ONCE: u64 = 5_000;

/// What a look at all records found.
#[derive(Debug, Default, PartialEq)]
pub struct Found {
    /// How many journals there are: one a site and that of the business.
    pub journals: u64,
    /// How many of their entries are sealed; all of them were looked at.
    pub sealed: u64,
    /// How many are not sealed yet.
    pub unsealed: u64,
    /// How many entries about readings, records and whatever else is kept were held against it.
    pub entries: u64,
    /// How many balances were added up.
    pub balances: u64,
    /// What is not as it was written, the first of each journal.
    pub broken: Vec<Broken>,
}

/// Something that is not as it was written.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Broken {
    /// An entry of a journal that its hash does not fit.
    #[error("journal of {owner}: entry {seq} ({id}) does not fit the chain")]
    Altered {
        /// The site; nil for the business.
        owner: Uuid,
        /// Its number.
        seq: i64,
        /// Its id.
        id: Uuid,
    },
    /// A number of a journal that no entry has.
    #[error("journal of {owner}: entry {seq} is missing")]
    Missing {
        /// The site; nil for the business.
        owner: Uuid,
        /// The number.
        seq: i64,
    },
    /// A journal that ends before the number at which it was seen to stand.
    #[error("journal of {owner}: entries {from} to {seq} were there and are missing")]
    CutOff {
        /// The site; nil for the business.
        owner: Uuid,
        /// The first that is missing.
        from: i64,
        /// Where the journal was seen to stand.
        seq: i64,
    },
    /// An entry of a journal that has another hash than it was seen with.
    #[error("journal of {owner}: entry {seq} is another than was there")]
    Another {
        /// The site; nil for the business.
        owner: Uuid,
        /// Its number.
        seq: i64,
    },
    /// Something entered once whose row is another now, or gone.
    #[error("{word} {id} of {owner} is not what was entered")]
    Entry {
        /// The site.
        owner: Uuid,
        /// What it is called.
        word: &'static str,
        /// Its id.
        id: Uuid,
    },
    /// Rows of a kind that were not entered through the journal.
    #[error("{owner} has {rows} of {word}, of which its journal knows {told}")]
    Untold {
        /// The site.
        owner: Uuid,
        /// What they are called.
        word: &'static str,
        /// How many there are.
        rows: u64,
        /// How many its journal knows.
        told: u64,
    },
    /// A slip whose movements do not make what it says, in thousandths of mL or g.
    #[error("slip {id} of {owner} says {says} where its movements make {moved}")]
    Slip {
        /// The site.
        owner: Uuid,
        /// Its id.
        id: Uuid,
        /// What it says.
        says: i64,
        /// What its movements make.
        moved: i64,
    },
    /// A movement that takes another back and is not its opposite: the first of a site.
    #[error("movement {id} of {owner} is not the opposite of the one it takes back")]
    Reversal {
        /// The site.
        owner: Uuid,
        /// Its id.
        id: Uuid,
    },
    /// A balance that is not the sum of its movements, in thousandths of mL or g.
    #[error("lot {lot} at {owner} holds {balance} where its movements make {sum}")]
    Balance {
        /// The site.
        owner: Uuid,
        /// The lot.
        lot: Uuid,
        /// What the record holds.
        balance: i64,
        /// What its movements make.
        sum: i64,
    },
}

/// Looks at all records.
/// # Errors
/// When the database fails.
pub async fn all(tx: &Tx) -> Result<Found, StoreError> {
    let owners = row::Entity::find().select_only().column(row::Column::SiteId).distinct();
    let owners: Vec<Uuid> = owners.into_tuple().all(&tx.0).await?;
    let mut found = Found { journals: owners.len() as u64, ..Found::default() };
    for owner in owners {
        look_at_journal(tx, owner, &mut found).await?;
    }
    look_at_balances(tx, &mut found).await?;
    Ok(found)
}

/// Whether each journal still holds the entry at which it was seen to stand: those that do not. A chain tells by itself that
/// something within it is gone, but not that its end is.
/// # Errors
/// When the database fails.
pub async fn against(tx: &Tx, seen: &[(Uuid, Head)]) -> Result<Vec<Broken>, StoreError> {
    let mut broken = Vec::new();
    for (owner, Head { seq, hash }) in seen.iter().filter(|(_, head)| head.seq > 0) {
        let (owner, seq) = (*owner, *seq);
        match chain::hash_at(tx, owner, seq).await? {
            Some(now) if now == *hash => {}
            Some(_) => broken.push(Broken::Another { owner, seq }),
            None => {
                let last = chain::head(tx, owner).await?.seq;
                // One that goes on behind it misses but this number.
                let from = if last < seq { last + 1 } else { seq };
                broken.push(Broken::CutOff { owner, from, seq });
            }
        }
    }
    Ok(broken)
}

async fn look_at_journal(tx: &Tx, owner: Uuid, found: &mut Found) -> Result<(), StoreError> {
    let mut head = Head::default();
    let mut told = Told::default();
    loop {
        let entries = chain::sealed_after(tx, owner, head.seq, AT_ONCE).await?;
        if entries.is_empty() {
            break;
        }
        // Hashes are work for one core, reading what they tell of for the database and another.
        let entries = Arc::new(entries);
        let linked = entries.clone();
        let chain = tokio::task::spawn_blocking(move || follow(owner, head, &linked));
        let before = (found.broken.len(), found.entries);
        look_at_told(tx, owner, &entries, &mut told, found).await?;
        match chain.await.map_err(|cut_off| DbErr::Custom(cut_off.to_string()))? {
            Ok(last) => head = last,
            Err(broken) => {
                // What such a journal tells of is not to be believed.
                found.broken.truncate(before.0);
                found.entries = before.1;
                found.broken.push(broken);
                return Ok(());
            }
        }
        found.sealed += entries.len() as u64;
    }
    // What is not sealed yet has no place in the chain, and its rows can be looked at all the same.
    let mut last = Uuid::nil();
    loop {
        let entries = chain::unsealed_after(tx, owner, last, AT_ONCE).await?;
        let Some(entry) = entries.last() else { break };
        last = entry.id;
        found.unsealed += entries.len() as u64;
        look_at_told(tx, owner, &entries, &mut told, found).await?;
    }
    look_at_counts(tx, owner, &told, found).await?;
    told.records.close(tx, owner, found).await
}

/// Whether there are as many rows as a journal tells of.
async fn look_at_counts(tx: &Tx, owner: Uuid, told: &Told, found: &mut Found) -> Result<(), StoreError> {
    let tables = [
        (Reading::WORD, Rows::<Reading>::default().table_name()),
        (Addition::WORD, Rows::<Addition>::default().table_name()),
        (TankChange::WORD, Rows::<TankChange>::default().table_name()),
        (Harvest::WORD, Rows::<Harvest>::default().table_name()),
        (reviews::WORD, reviews::row::Entity.table_name()),
        (advice::WORD, advice::row::Entity.table_name()),
        (forecasts::WORD, forecasts::row::Entity.table_name()),
    ];
    for (word, table) in tables {
        let rows = count_rows(tx, table, Some(Expr::col("site_id").eq(owner))).await?;
        untold(owner, word, rows, told.entered(word), found);
    }
    slips::close(tx, owner, told, found).await
}

/// The table of what is entered once.
type Rows<E> = <E as Entry>::Entity;

/// What a journal told so far.
#[derive(Default)]
struct Told {
    /// How many of each word that is entered once.
    entered: HashMap<String, u64>,
    records: Records,
}

impl Told {
    fn entered(&self, word: &str) -> u64 {
        self.entered.get(word).copied().unwrap_or_default()
    }
}

/// Looks at the rows that entries of a journal tell of.
async fn look_at_told(
    tx: &Tx,
    owner: Uuid,
    entries: &[journal::Entry],
    told: &mut Told,
    found: &mut Found,
) -> Result<(), StoreError> {
    let mut hashes: HashMap<&str, HashMap<Uuid, &str>> = HashMap::new();
    for entry in entries {
        if let Some(hash) = entry.detail["sha256"].as_str() {
            hashes.entry(&entry.word).or_default().insert(entry.record_id, hash);
        }
    }
    for (word, hashes) in hashes {
        *told.entered.entry(word.to_owned()).or_default() += hashes.len() as u64;
        look_at_entries(tx, owner, word, &hashes, found).await?;
    }
    slips::look(tx, owner, entries, told, found).await?;
    told.records.look(tx, owner, entries, found).await
}

/// Where the chain stands after these entries, or the first that does not fit.
fn follow(owner: Uuid, head: Head, entries: &[journal::Entry]) -> Result<Head, Broken> {
    entries.iter().try_fold(head, |head, entry| match broken_at(owner, &head, entry) {
        Some(broken) => Err(broken),
        None => Ok(Head::from(entry.seal.clone())),
    })
}

fn broken_at(owner: Uuid, head: &Head, entry: &journal::Entry) -> Option<Broken> {
    let seal = entry.seal.as_ref()?;
    if seal.seq != head.seq + 1 {
        return Some(Broken::Missing { owner, seq: head.seq + 1 });
    }
    let fits = seal.hash == chain::hash(owner, seal.seq, entry, &head.hash);
    (!fits).then_some(Broken::Altered { owner, seq: seal.seq, id: entry.id })
}

async fn look_at_entries(
    tx: &Tx,
    owner: Uuid,
    word: &str,
    hashes: &HashMap<Uuid, &str>,
    found: &mut Found,
) -> Result<(), StoreError> {
    match word {
        Reading::WORD => compare::<Rows<Reading>>(tx, owner, Reading::WORD, hashes, found).await,
        Addition::WORD => compare::<Rows<Addition>>(tx, owner, Addition::WORD, hashes, found).await,
        TankChange::WORD => compare::<Rows<TankChange>>(tx, owner, TankChange::WORD, hashes, found).await,
        Harvest::WORD => compare::<Rows<Harvest>>(tx, owner, Harvest::WORD, hashes, found).await,
        reviews::WORD => compare::<reviews::row::Entity>(tx, owner, reviews::WORD, hashes, found).await,
        advice::WORD => compare::<advice::row::Entity>(tx, owner, advice::WORD, hashes, found).await,
        forecasts::WORD => compare::<forecasts::row::Entity>(tx, owner, forecasts::WORD, hashes, found).await,
        _ => Ok(()),
    }
}
async fn compare<E>(
    tx: &Tx,
    owner: Uuid,
    word: &'static str,
    then: &HashMap<Uuid, &str>,
    found: &mut Found,
) -> Result<(), StoreError>
where
    E: EntityTrait<Model: IntoActiveModel<E::ActiveModel>>,
{
    let rows = of_site::<E>(owner).filter(Expr::col("id").is_in(then.keys().copied())).all(&tx.0).await?;
    let rows = rows.into_iter().map(IntoActiveModel::into_active_model);
    let now: HashMap<Uuid, E::ActiveModel> = rows.filter_map(|row| Some((id_of(&row)?, row))).collect();
    found.entries += then.len() as u64;
    let fits = |row: &E::ActiveModel, then: &str| {
        journal::hash_of(row) == then || journal::hash_with_signs(row) == then
    };
    let changed = then.iter().filter(|(id, then)| !now.get(*id).is_some_and(|row| fits(row, then)));
    found.broken.extend(changed.map(|(id, _)| Broken::Entry { owner, word, id: *id }));
    Ok(())
}

fn id_of<M: ActiveModelTrait>(row: &M) -> Option<Uuid> {
    let id = <M::Entity as EntityTrait>::Column::from_str("id").ok()?;
    ValueType::try_from(row.get(id).into_value()?).ok()
}

async fn count_rows(tx: &Tx, table: &'static str, of: Option<Expr>) -> Result<u64, StoreError> {
    let query = Query::select().expr(Expr::col(Asterisk).count()).from(table).and_where_option(of).to_owned();
    let row = tx.0.query_one(&query).await?;
    let rows = row.map(|row| row.try_get_by_index::<i64>(0)).transpose()?;
    Ok(rows.and_then(|rows| rows.try_into().ok()).unwrap_or_default())
}

fn untold(owner: Uuid, word: &'static str, rows: u64, told: u64, found: &mut Found) {
    if rows != told {
        found.broken.push(Broken::Untold { owner, word, rows, told });
    }
}

/// The rows of a site.
fn of_site<E: EntityTrait>(site: Uuid) -> Select<E> {
    match E::Column::from_str("site_id") {
        Ok(column) => E::find().filter(column.eq(site)),
        Err(_) => E::find(),
    }
}

async fn look_at_balances(tx: &Tx, found: &mut Found) -> Result<(), StoreError> {
    use movements::row::Column;
    let sum = Expr::col(Column::Change).sum().cast_as(Alias::new("bigint"));
    let sums: Vec<(Uuid, Uuid, i64)> = movements::row::Entity::find()
        .select_only()
        .columns([Column::SiteId, Column::LotId])
        .column_as(sum, "sum")
        .group_by(Column::SiteId)
        .group_by(Column::LotId)
        .into_tuple()
        .all(&tx.0)
        .await?;
    let mut both: BTreeMap<(Uuid, Uuid), (i64, i64)> = BTreeMap::new();
    for (owner, lot, sum) in sums {
        both.entry((owner, lot)).or_default().1 = sum;
    }
    for (owner, lot, balance) in holdings::balances(tx).await? {
        both.entry((owner, lot)).or_default().0 = balance;
    }
    found.balances = both.len() as u64;
    let differ = both.into_iter().filter(|(_, (balance, sum))| balance != sum);
    found.broken.extend(differ.map(|((owner, lot), (balance, sum))| Broken::Balance {
        owner,
        lot,
        balance,
        sum,
    }));
    Ok(())
}
