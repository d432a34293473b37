//! What is entered once and never changed: readings, additions, tank changes, harvests. A correction is a row of its
//! own that names the one it corrects, so whether a row stands is asked of the others.
//!
//! To add one: a table with `site_id`, `id`, `client_id` and the column that names what is corrected, and one
//! `impl Entry`.

use std::str::FromStr;

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use sea_orm::sea_query::extension::postgres::PgFunc;
use sea_orm::sea_query::{Condition, Expr, ExprTrait, Query, SelectStatement};
use sea_orm::{
    ActiveModelBehavior, ActiveModelTrait, ActiveValue, DbErr, EntityName, EntityTrait, FromQueryResult,
    IntoActiveModel, ModelTrait, QueryFilter, QueryResult, QuerySelect, Select, Value,
};
use uuid::Uuid;

use crate::journal::{self, chain};
use crate::records::{Page, PageQuery, cut, rows_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, rows};

/// Of more ids than these, each number is asked as it is: the statement is not worth keeping.
const AT_ONCE: usize = 512;

/// An entry with its id.
pub type Kept<E> = (Id<E>, E);

/// What is entered once and never changed.
pub trait Entry: Clone + Send + Sync + Sized + 'static {
    /// The table.
    type Entity: EntityTrait<Model = Self::Row, ActiveModel = Self::Change>;
    /// A row of it.
    type Row: ModelTrait<Entity = Self::Entity>
        + FromQueryResult
        + IntoActiveModel<Self::Change>
        + Send
        + Sync;
    /// A row that is being written.
    type Change: ActiveModelTrait<Entity = Self::Entity> + ActiveModelBehavior + Send;

    /// What the journal calls it.
    const WORD: &'static str;
    /// The column of the instant it was done at.
    const DONE_AT: &'static str;
    /// The column that names the entry it corrects.
    const CORRECTS: &'static str;

    /// Its columns, all but site and id.
    fn columns(&self) -> Self::Change;

    /// The id of a row.
    fn id(row: &Self::Row) -> Uuid;

    /// The entry in a row, and the entry that corrected it.
    /// # Errors
    /// When the row breaks a rule of the domain.
    fn read(row: Self::Row, corrected_by: Option<Id<Self>>) -> Result<Self, BrokenRow>;

    /// Whether it counts: it was not corrected, and is no mere opposite of another.
    fn stands(&self) -> bool;

    /// When it was done.
    fn done_at(&self) -> DateTime<Utc>;

    /// When the server got it.
    fn received_at(&self) -> DateTime<Utc>;

    /// The entry that corrects it or takes it back.
    fn corrected_by(&self) -> Option<Id<Self>>;
}

/// Keeps entries of one person.
/// # Errors
/// [`StoreError::Taken`] when one with the same client id came first, or corrects what is corrected already.
pub async fn keep<E: Entry>(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    entries: &[Kept<E>],
) -> Result<(), StoreError> {
    keep_signed(tx, scope, entries.iter().map(|kept| (*stamp, kept))).await
}

/// Keeps entries, each signed for itself.
/// # Errors
/// [`StoreError::Taken`] when one with the same client id came first, or corrects what is corrected already.
pub async fn keep_signed<'a, E: Entry>(
    tx: &Tx,
    scope: SiteScope,
    entries: impl Iterator<Item = (Stamp<'a>, &Kept<E>)>,
) -> Result<(), StoreError> {
    let row = |(stamp, (id, entry)): (Stamp<'a>, &Kept<E>)| {
        let mut row = entry.columns();
        row.set(column::<E>("site_id"), scope.uuid().into());
        row.set(column::<E>("id"), id.uuid().into());
        (stamp, row)
    };
    let mut rows: Vec<(Stamp<'a>, E::Change)> = entries.map(row).collect();
    // In one order for everybody: two who send the same entries in different orders would wait for each other. Where they
    // send one of them in different forms too, PostgreSQL breaks one of the two off, who comes again.
    rows.sort_by_key(|(_, row)| uuid_in(row, column::<E>("client_id")));
    let (stamps, rows): (Vec<Stamp<'a>>, Vec<E::Change>) = rows.into_iter().unzip();
    let owner = journal::owner(scope);
    let head = chain::place_for(tx, owner, rows.len()).await?;
    // The rows are hashed while the database writes them.
    let told = async {
        let id = |row| uuid_in(row, column::<E>("id")).unwrap_or_default();
        let records = stamps.iter().zip(&rows).map(|(stamp, row)| (*stamp, id(row), row));
        journal::entered(owner, E::WORD, records, head)
    };
    let (written, told) = tokio::join!(rows::insert(tx, &rows), told);
    written?;
    rows::insert(tx, &told).await
}

/// Ids up to the next power of two, the last one again and again. Every number of ids is a
/// statement of its own, which a database has to read and plan before it can do it again.
pub(crate) fn to_a_step(ids: impl IntoIterator<Item = Uuid>) -> Vec<Uuid> {
    let mut ids: Vec<Uuid> = ids.into_iter().collect();
    // A database takes only so many ids.
    if let Some(last) = ids.last().copied().filter(|_| ids.len() <= AT_ONCE) {
        ids.resize(ids.len().next_power_of_two(), last);
    }
    ids
}

fn uuid_in<M: ActiveModelTrait>(row: &M, column: <M::Entity as EntityTrait>::Column) -> Option<Uuid> {
    match row.get(column) {
        ActiveValue::Set(Value::Uuid(id)) => id,
        _ => None,
    }
}

/// The entries with these client ids.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find_by_client_ids<E: Entry>(
    tx: &Tx,
    scope: SiteScope,
    ids: &[Uuid],
) -> Result<Vec<Kept<E>>, StoreError> {
    among(tx, scope, "client_id", ids).await
}

/// The entries with these ids.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find_many<E: Entry>(
    tx: &Tx,
    scope: SiteScope,
    ids: &[Uuid],
) -> Result<Vec<Kept<E>>, StoreError> {
    among(tx, scope, "id", ids).await
}

/// The entry with this id.
/// # Errors
/// When the database fails or the row is broken.
pub async fn find<E: Entry>(tx: &Tx, scope: SiteScope, id: Id<E>) -> Result<Option<Kept<E>>, StoreError> {
    Ok(find_many(tx, scope, &[id.uuid()]).await?.pop())
}

/// The entries that have one of these ids in a column, in the order they were made.
/// # Errors
/// When the database fails or a row is broken.
pub(crate) async fn among<E: Entry>(
    tx: &Tx,
    scope: SiteScope,
    name: &'static str,
    ids: &[Uuid],
) -> Result<Vec<Kept<E>>, StoreError> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let named = Expr::col(column::<E>(name));
    // PostgreSQL plans for one array as for a few ids, whatever their number, and takes the index. Hundreds given one by one it
    // holds against every row of the site, if there were not many when it planned.
    let is_named = match tx.is_postgres() {
        true => named.eq(PgFunc::any(ids.to_vec())),
        false => named.is_in(to_a_step(ids.iter().copied())),
    };
    let mut entries = read_all::<E>(tx, scoped::<E>(scope).filter(is_named)).await?;
    // Asked for this order, SQLite would walk all entries of the site by their ids instead of using the column's index.
    entries.sort_unstable_by_key(|(id, _): &Kept<E>| *id);
    Ok(entries)
}

/// A page of a site's entries.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page<E: Entry>(
    tx: &Tx,
    scope: SiteScope,
    query: &PageQuery,
) -> Result<Page<Kept<E>>, StoreError> {
    let rows = rows_of(tx, scoped::<E>(scope), query);
    let page = cut::<E::Entity, _>(all::<E>(tx, rows).await?, query, |found| &found.row);
    let items = page.items.into_iter().map(Found::read).collect::<Result<_, _>>()?;
    Ok(Page { items, next: page.next })
}

/// The entries of a span of time that stand, in the order they were done.
/// # Errors
/// When the database fails or a row is broken.
pub async fn standing<E: Entry>(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
    before: DateTime<Utc>,
) -> Result<Vec<Kept<E>>, StoreError> {
    standing_where(tx, scope, from, before, Condition::all()).await
}

/// The entries of a span of time that stand and meet a condition.
pub(crate) async fn standing_where<E: Entry>(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
    before: DateTime<Utc>,
    condition: Condition,
) -> Result<Vec<Kept<E>>, StoreError> {
    let mut entries = done_where(tx, scope, from, before, condition).await?;
    entries.retain(|(_, entry): &Kept<E>| entry.stands());
    Ok(entries)
}

/// The entries of a span of time, superseded and taken back or not, in the order they were done.
/// # Errors
/// When the database fails or a row is broken.
pub async fn done_between<E: Entry>(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
    before: DateTime<Utc>,
) -> Result<Vec<Kept<E>>, StoreError> {
    done_where(tx, scope, from, before, Condition::all()).await
}

async fn done_where<E: Entry>(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
    before: DateTime<Utc>,
    condition: Condition,
) -> Result<Vec<Kept<E>>, StoreError> {
    let rows = scoped::<E>(scope)
        .filter(condition)
        .filter(Expr::col(column::<E>(E::DONE_AT)).gte(from))
        .filter(Expr::col(column::<E>(E::DONE_AT)).lt(before));
    let mut entries = read_all::<E>(tx, rows).await?;
    // Asked for this order, SQLite would walk what the whole site did meanwhile instead of using the index of a place.
    entries.sort_by_key(|(id, entry): &Kept<E>| (entry.done_at(), *id));
    Ok(entries)
}

/// The first of some rows that was not corrected.
pub(crate) async fn first_standing<E: Entry>(
    tx: &Tx,
    rows: Select<E::Entity>,
) -> Result<Option<Kept<E>>, StoreError> {
    let rows = rows.filter(is_not_corrected::<E>()).limit(1);
    Ok(read_all::<E>(tx, rows).await?.pop())
}

/// Whether nothing corrects a row.
pub(crate) fn is_not_corrected<E: Entry>() -> Expr {
    Expr::exists(corrected_by::<E>()).not()
}

/// The rows of a site.
pub(crate) fn scoped<E: Entry>(scope: SiteScope) -> Select<E::Entity> {
    E::Entity::find().filter(Expr::col(column::<E>("site_id")).eq(scope.uuid()))
}

async fn read_all<E: Entry>(tx: &Tx, rows: Select<E::Entity>) -> Result<Vec<Kept<E>>, StoreError> {
    Ok(all::<E>(tx, rows).await?.into_iter().map(Found::read).collect::<Result<_, _>>()?)
}

/// A row with the entry that corrected it.
struct Found<E: Entry> {
    row: E::Row,
    corrected_by: Option<Uuid>,
}

async fn all<E: Entry>(tx: &Tx, rows: Select<E::Entity>) -> Result<Vec<Found<E>>, StoreError> {
    Ok(rows.column_as(Expr::from(corrected_by::<E>()), "corrected_by").into_model().all(&tx.0).await?)
}

/// The id of the entry that corrects the one in a row.
fn corrected_by<E: Entry>() -> SelectStatement {
    let table = E::Entity::default().table_name();
    let later = |name: &'static str| Expr::col(("later", name));
    Query::select()
        .expr(later("id"))
        .from_as(table, "later")
        .and_where(later("site_id").eq(Expr::col((table, "site_id"))))
        .and_where(later(E::CORRECTS).eq(Expr::col((table, "id"))))
        .take()
}

impl<E: Entry> Found<E> {
    fn read(self) -> Result<Kept<E>, BrokenRow> {
        Ok((Id::new(E::id(&self.row)), E::read(self.row, self.corrected_by.map(Id::new))?))
    }
}

impl<E: Entry> FromQueryResult for Found<E> {
    fn from_query_result(result: &QueryResult, before: &str) -> Result<Self, DbErr> {
        let row = E::Row::from_query_result(result, before)?;
        Ok(Self { row, corrected_by: result.try_get(before, "corrected_by")? })
    }
}

pub(crate) fn column<E: Entry>(name: &'static str) -> <E::Entity as EntityTrait>::Column {
    match <E::Entity as EntityTrait>::Column::from_str(name) {
        Ok(column) => column,
        // The name is a literal of this crate, and each table is read in the tests.
        Err(_) => unreachable!("table of {} has no column {name}", E::WORD),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_made_up_to_a_power_of_two_by_the_last() {
        let ids: Vec<Uuid> = (0..5).map(Uuid::from_u128).collect();
        let asked = to_a_step(ids.clone());
        assert_eq!((asked.len(), &asked[..5], asked[7]), (8, &ids[..], ids[4]));
        assert!(to_a_step([]).is_empty());
    }
}
