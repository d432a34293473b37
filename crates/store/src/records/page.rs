//! Pages of a list by key, not by number: nothing is skipped or repeated while rows come in.

use std::collections::BTreeSet;

use chrono::{DateTime, SecondsFormat, Utc};
use fillmark_domain::Kept;
use sea_orm::sea_query::extension::postgres::PgBinOper;
use sea_orm::sea_query::extension::sqlite::SqliteBinOper;
use sea_orm::sea_query::{Alias, Condition, Expr, ExprTrait, Order, SimpleExpr};
use sea_orm::{EntityTrait, IdenStatic, ModelTrait, QueryFilter, QueryOrder, QuerySelect, Select, Value};
use uuid::Uuid;

use super::Record;
use super::life::scoped;
use crate::{StoreError, Tx};

/// One key of an order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SortKey {
    /// The column.
    pub column: &'static str,
    /// From high to low.
    pub descending: bool,
}

/// The value of a key in a row, as a cursor carries it.
#[derive(Debug, Clone, PartialEq)]
pub enum SortValue {
    /// Text, in the order of its bytes.
    Text(String),
    /// An instant.
    Instant(DateTime<Utc>),
    /// A date.
    Date(chrono::NaiveDate),
    /// An integer.
    Integer(i64),
    /// A measured value.
    Float(f64),
    /// An id.
    Id(Uuid),
}

/// What a list is narrowed by.
#[derive(Debug, Clone)]
pub enum Filter {
    /// The column has one of these values.
    OneOf(&'static str, Vec<Value>),
    /// The column's value is this or later.
    From(&'static str, Value),
    /// The column's value is before this.
    Before(&'static str, Value),
    /// The column is null, or is not.
    IsNull(&'static str, bool),
    /// The text holds this, in any case.
    Contains(&'static str, String),
}

/// A page wanted of a list.
#[derive(Debug, Clone, Default)]
pub struct PageQuery {
    /// At most so many.
    pub limit: u64,
    /// In this order; the id is added as the last key.
    pub sort: Vec<SortKey>,
    /// Behind the row with these key values, the id's last.
    pub after: Option<Vec<SortValue>>,
    /// Narrowed by all of these.
    pub filters: Vec<Filter>,
}

/// One page.
#[derive(Debug, Clone)]
pub struct Page<T> {
    /// Its rows in order.
    pub items: Vec<T>,
    /// The key values of its last row, when there are more behind it.
    pub next: Option<Vec<SortValue>>,
}

/// A page of the records of a scope.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page<R: Record>(
    tx: &Tx,
    scope: R::Scope,
    query: &PageQuery,
) -> Result<Page<Kept<R>>, StoreError> {
    let rows = page_of::<R::Entity>(tx, scoped::<R>(scope), query).await?;
    let items = rows.items.into_iter().map(R::read).collect::<Result<_, _>>()?;
    Ok(Page { items, next: rows.next })
}

/// A page of the rows of any selection.
/// # Errors
/// When the database fails.
pub async fn page_of<E>(tx: &Tx, rows: Select<E>, query: &PageQuery) -> Result<Page<E::Model>, StoreError>
where
    E: EntityTrait,
{
    Ok(cut::<E, _>(rows_of(tx, rows, query).all(&tx.0).await?, query, |row| row))
}

/// The rows of a page, and one more where there is one.
pub(crate) fn rows_of<E: EntityTrait>(tx: &Tx, rows: Select<E>, query: &PageQuery) -> Select<E> {
    let keys = keys(&query.sort);
    let mut rows = query.filters.iter().fold(rows, |rows, filter| rows.filter(condition(tx, filter)));
    if let Some(after) = &query.after {
        rows = rows.filter(behind(tx, &keys, after));
    }
    for key in &keys {
        let order = if key.descending { Order::Desc } else { Order::Asc };
        rows = rows.order_by(ordered(tx, key.column, TEXT_COLUMNS.contains(&key.column)), order);
    }
    rows.limit(query.limit + 1)
}

/// What was read of [`rows_of`] as a page.
pub(crate) fn cut<E: EntityTrait, R>(
    mut items: Vec<R>,
    query: &PageQuery,
    row: impl Fn(&R) -> &E::Model,
) -> Page<R> {
    let more = items.len() as u64 > query.limit;
    items.truncate(query.limit as usize);
    let next = items.last().filter(|_| more).map(|last| values::<E>(row(last), &keys(&query.sort)));
    Page { items, next }
}

fn keys(sort: &[SortKey]) -> Vec<SortKey> {
    let mut keys = sort.to_vec();
    if !keys.iter().any(|key| key.column == "id") {
        let descending = keys.last().is_some_and(|key| key.descending);
        keys.push(SortKey { column: "id", descending });
    }
    keys
}

/// Text is ordered by its bytes on both databases, whatever the server's locale.
const TEXT_COLUMNS: [&str; 2] = ["name", "number"];

fn ordered(tx: &Tx, name: &'static str, text: bool) -> SimpleExpr {
    if text && tx.is_postgres() {
        Expr::cust(format!("\"{name}\" collate \"C\""))
    } else {
        Expr::col(Alias::new(name))
    }
}

/// Behind a row: the first key is further, or equal and the second further, and so on.
fn behind(tx: &Tx, keys: &[SortKey], after: &[SortValue]) -> Condition {
    let mut any = Condition::any();
    for at in 0..keys.len().min(after.len()) {
        let mut all = Condition::all();
        for before in 0..at {
            all = all.add(Expr::col(Alias::new(keys[before].column)).eq(value(&after[before])));
        }
        let column = ordered(tx, keys[at].column, matches!(after[at], SortValue::Text(_)));
        let further = value(&after[at]);
        all = all.add(if keys[at].descending { column.lt(further) } else { column.gt(further) });
        any = any.add(all);
    }
    any
}

fn condition(tx: &Tx, filter: &Filter) -> SimpleExpr {
    let column = |name: &'static str| Expr::col(Alias::new(name));
    match filter {
        Filter::OneOf(name, values) => column(name).is_in(values.clone()),
        Filter::From(name, value) => column(name).gte(value.clone()),
        Filter::Before(name, value) => column(name).lt(value.clone()),
        Filter::IsNull(name, true) => column(name).is_null(),
        Filter::IsNull(name, false) => column(name).is_not_null(),
        Filter::Contains(name, text) if tx.is_postgres() => {
            column(name).binary(PgBinOper::Regex, in_either_case(text, |one| format!("\\{one}")))
        }
        Filter::Contains(name, text) => {
            let pattern = in_either_case(text, |one| format!("[{one}]"));
            column(name).binary(SqliteBinOper::Glob, format!("*{pattern}*"))
        }
    }
}

/// A pattern of either case of each letter. Neither database folds letters beyond ASCII by itself, whatever its locale.
fn in_either_case(text: &str, literally: impl Fn(char) -> String) -> String {
    let pattern = |one: char| {
        let cases: BTreeSet<char> =
            only(one.to_lowercase()).into_iter().chain(only(one.to_uppercase())).collect();
        match one {
            _ if cases.len() > 1 => format!("[{}]", String::from_iter(cases)),
            _ if one.is_ascii_punctuation() => literally(one),
            _ => one.to_string(),
        }
    };
    text.chars().map(pattern).collect()
}

fn only(mut cased: impl Iterator<Item = char>) -> Option<char> {
    cased.next().filter(|_| cased.next().is_none())
}

fn value(sort: &SortValue) -> Value {
    match sort {
        SortValue::Text(text) => text.clone().into(),
        SortValue::Instant(instant) => (*instant).into(),
        SortValue::Date(date) => (*date).into(),
        SortValue::Integer(integer) => (*integer).into(),
        SortValue::Float(float) => (*float).into(),
        SortValue::Id(id) => (*id).into(),
    }
}

fn values<E: EntityTrait>(row: &E::Model, keys: &[SortKey]) -> Vec<SortValue> {
    use sea_orm::Iterable;
    keys.iter()
        .filter_map(|key| E::Column::iter().find(|column| column.as_str() == key.column))
        .map(|column| sort_value(row.get(column)))
        .collect()
}

/// Columns of an order are never null, so each value has its kind.
fn sort_value(value: Value) -> SortValue {
    match value {
        Value::String(Some(text)) => SortValue::Text(text),
        Value::ChronoDateTimeUtc(Some(instant)) => SortValue::Instant(instant),
        Value::ChronoDate(Some(date)) => SortValue::Date(date),
        Value::BigInt(Some(integer)) => SortValue::Integer(integer),
        Value::Int(Some(integer)) => SortValue::Integer(integer.into()),
        Value::Double(Some(float)) => SortValue::Float(float),
        Value::Uuid(Some(id)) => SortValue::Id(id),
        other => SortValue::Text(other.to_string()),
    }
}

impl SortValue {
    /// One letter for the kind and the value as text, for a cursor.
    pub fn written(&self) -> (char, String) {
        match self {
            SortValue::Text(text) => ('t', text.clone()),
            SortValue::Instant(instant) => ('i', instant.to_rfc3339_opts(SecondsFormat::Millis, true)),
            SortValue::Date(date) => ('d', date.to_string()),
            SortValue::Integer(integer) => ('n', integer.to_string()),
            SortValue::Float(float) => ('f', float.to_string()),
            SortValue::Id(id) => ('u', id.to_string()),
        }
    }

    /// The value that was written so.
    pub fn from_written(kind: char, text: &str) -> Option<SortValue> {
        Some(match kind {
            't' => SortValue::Text(text.to_owned()),
            'i' => SortValue::Instant(text.parse().ok()?),
            'd' => SortValue::Date(text.parse().ok()?),
            'n' => SortValue::Integer(text.parse().ok()?),
            'f' => SortValue::Float(text.parse().ok()?),
            'u' => SortValue::Id(text.parse().ok()?),
            _ => return None,
        })
    }
}
