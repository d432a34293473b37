//! Carrying all rows of an embedded database to PostgreSQL, for a business that outgrows one machine.

use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Order, Query, SelectStatement};
use sea_orm::{ConnectionTrait, DbBackend, QueryResult, Statement, Value};
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::{StoreError, Tx};

/// PostgreSQL takes so many values in one statement at most.
const MOST_VALUES: usize = 60_000;

/// Rows are written in portions of so many at most.
const AT_ONCE: usize = 2_000;

/// What migrations keep of themselves, and the marks that triggers set: the other database has its own.
const NOT_CARRIED: [&str; 2] = ["seaql_migrations", "plan_marks"];

/// A table of both databases.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    name: String,
    columns: Vec<Column>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Column {
    name: String,
    kind: Kind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Uuid,
    Instant,
    Day,
    Time,
    Whole,
    Small,
    Real,
    Truth,
    Text,
    Json,
    Bytes,
}

/// What a table holds: two that agree hold the same rows, whatever their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Content {
    /// Rows.
    pub rows: u64,
    /// The sum of the first 128 bits of each row's SHA-256, past 2^128 from 0 again.
    pub sum: u128,
}

/// Why a database cannot be carried over.
#[derive(Debug, thiserror::Error)]
pub enum CarryError {
    /// There are rows already where they shall go.
    #[error("the other database is not empty: its table {table} has rows")]
    NotEmpty {
        /// Where rows were found.
        table: String,
    },
    /// A column has a type that no column of ours has.
    #[error("column {column} of {table} has the unknown type {kind:?}")]
    UnknownType {
        /// The table.
        table: String,
        /// The column.
        column: String,
        /// As PostgreSQL calls it.
        kind: String,
    },
    /// A table arrived with other rows than it left with.
    #[error("table {table} did not arrive as it left: {left:?} became {arrived:?}")]
    Unequal {
        /// The table.
        table: String,
        /// Before.
        left: Content,
        /// After.
        arrived: Content,
    },
    /// A database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<sea_orm::DbErr> for CarryError {
    fn from(error: sea_orm::DbErr) -> Self {
        CarryError::Store(error.into())
    }
}

impl Table {
    /// Its name.
    pub fn name(&self) -> &str {
        &self.name
    }

    fn names(&self) -> impl Iterator<Item = Alias> {
        self.columns.iter().map(|column| Alias::new(&column.name))
    }

    fn select(&self) -> SelectStatement {
        Query::select().from(Alias::new(&self.name)).columns(self.names()).to_owned()
    }
}

/// All tables in the order in which their rows can be written: those that others point to come first.
/// # Errors
/// [`CarryError::UnknownType`], or when a database fails.
pub async fn tables(from: &Tx, to: &Tx) -> Result<Vec<Table>, CarryError> {
    let made =
        "select name from sqlite_master where type = 'table' and name not like 'sqlite_%' order by rowid";
    let made = from.0.query_all_raw(Statement::from_string(DbBackend::Sqlite, made)).await?;
    let mut tables = Vec::with_capacity(made.len());
    for row in made {
        let name: String = row.try_get_by_index(0)?;
        if !NOT_CARRIED.contains(&name.as_str()) {
            tables.push(Table { columns: columns(to, &name).await?, name });
        }
    }
    Ok(tables)
}

async fn columns(to: &Tx, table: &str) -> Result<Vec<Column>, CarryError> {
    let query = "select column_name::text, data_type::text from information_schema.columns
        where table_schema = current_schema() and table_name = $1 order by ordinal_position";
    let query = Statement::from_sql_and_values(DbBackend::Postgres, query, [table.into()]);
    let rows = to.0.query_all_raw(query).await?;
    rows.iter()
        .map(|row| {
            let (name, kind): (String, String) = (row.try_get_by_index(0)?, row.try_get_by_index(1)?);
            let unknown = || CarryError::UnknownType {
                table: table.to_owned(),
                column: name.clone(),
                kind: kind.clone(),
            };
            Ok(Column { kind: Kind::of(&kind).ok_or_else(unknown)?, name })
        })
        .collect()
}

impl Kind {
    fn of(name: &str) -> Option<Kind> {
        Some(match name {
            "uuid" => Kind::Uuid,
            "timestamp with time zone" => Kind::Instant,
            "date" => Kind::Day,
            "time without time zone" => Kind::Time,
            "bigint" => Kind::Whole,
            "integer" => Kind::Small,
            "double precision" => Kind::Real,
            "boolean" => Kind::Truth,
            "text" | "character varying" => Kind::Text,
            "json" | "jsonb" => Kind::Json,
            "bytea" => Kind::Bytes,
            _ => return None,
        })
    }

    fn read(self, row: &QueryResult, at: usize) -> Result<Value, sea_orm::DbErr> {
        Ok(match self {
            Kind::Uuid => row.try_get_by_index::<Option<Uuid>>(at)?.into(),
            Kind::Instant => row.try_get_by_index::<Option<DateTime<Utc>>>(at)?.into(),
            Kind::Day => row.try_get_by_index::<Option<NaiveDate>>(at)?.into(),
            Kind::Time => row.try_get_by_index::<Option<NaiveTime>>(at)?.into(),
            Kind::Whole => row.try_get_by_index::<Option<i64>>(at)?.into(),
            Kind::Small => row.try_get_by_index::<Option<i32>>(at)?.into(),
            Kind::Real => row.try_get_by_index::<Option<f64>>(at)?.into(),
            Kind::Truth => row.try_get_by_index::<Option<bool>>(at)?.into(),
            Kind::Text => row.try_get_by_index::<Option<String>>(at)?.into(),
            Kind::Json => row.try_get_by_index::<Option<serde_json::Value>>(at)?.into(),
            Kind::Bytes => row.try_get_by_index::<Option<Vec<u8>>>(at)?.into(),
        })
    }
}

impl Content {
    fn add(&mut self, row: &[Value]) {
        let mut digest = Sha256::new();
        for value in row {
            digest.update(format!("{value:?}\n"));
        }
        let digest: [u8; 32] = digest.finalize().into();
        let mut first = [0; 16];
        first.copy_from_slice(&digest[..16]);
        self.rows += 1;
        self.sum = self.sum.wrapping_add(u128::from_be_bytes(first));
    }
}

/// Writes all rows of a table to the other database and says what they were.
/// # Errors
/// [`CarryError::NotEmpty`], or when a database fails.
pub async fn carry(from: &Tx, to: &Tx, table: &Table) -> Result<Content, CarryError> {
    if content(to, table).await?.rows > 0 {
        return Err(CarryError::NotEmpty { table: table.name.clone() });
    }
    let mut content = Content::default();
    let mut rows = Rows::of(from, table, AT_ONCE.min(MOST_VALUES / table.columns.len().max(1))).await?;
    loop {
        let some = rows.next().await?;
        if some.is_empty() {
            return Ok(content);
        }
        let mut insert = Query::insert();
        insert.into_table(Alias::new(&table.name)).columns(table.names());
        for row in some {
            content.add(&row);
            insert.values_panic(row.into_iter().map(Expr::value));
        }
        to.0.execute(&insert).await?;
    }
}

/// What a table of a database holds.
/// # Errors
/// When the database fails.
pub async fn content(tx: &Tx, table: &Table) -> Result<Content, CarryError> {
    let mut content = Content::default();
    let mut rows = Rows::of(tx, table, AT_ONCE).await?;
    loop {
        let some = rows.next().await?;
        if some.is_empty() {
            rows.end().await?;
            return Ok(content);
        }
        some.iter().for_each(|row| content.add(row));
    }
}

/// The rows of a table, a portion at a time: by a cursor on PostgreSQL; on SQLite in the order in which they were
/// written, since later ones may point to earlier ones.
struct Rows<'a> {
    tx: &'a Tx,
    table: &'a Table,
    portion: usize,
    last: i64,
}

impl<'a> Rows<'a> {
    async fn of(tx: &'a Tx, table: &'a Table, portion: usize) -> Result<Self, CarryError> {
        if tx.is_postgres() {
            let select = DbBackend::Postgres.build(&table.select());
            tx.0.execute_unprepared(&format!("declare of_{} cursor for {}", table.name, select.sql)).await?;
        }
        Ok(Self { tx, table, portion, last: i64::MIN })
    }

    async fn next(&mut self) -> Result<Vec<Vec<Value>>, CarryError> {
        let (portion, columns) = (self.portion, &self.table.columns);
        let rows = if self.tx.is_postgres() {
            // Each table's cursor has its own name: a statement is prepared once, with the columns it had then.
            let fetch = format!("fetch {portion} from of_{}", self.table.name);
            self.tx.0.query_all_raw(Statement::from_string(DbBackend::Postgres, fetch)).await?
        } else {
            let place = Expr::col(Alias::new("rowid"));
            let mut select = self.table.select();
            select.expr(place.clone()).and_where(place.clone().gt(self.last)).limit(portion as u64);
            self.tx.0.query_all(select.order_by_expr(place, Order::Asc)).await?
        };
        if let Some(row) = rows.last().filter(|_| !self.tx.is_postgres()) {
            self.last = row.try_get_by_index(columns.len())?;
        }
        let read = |row| columns.iter().enumerate().map(|(at, column)| column.kind.read(row, at)).collect();
        Ok(rows.iter().map(read).collect::<Result<_, _>>()?)
    }

    async fn end(self) -> Result<(), CarryError> {
        if self.tx.is_postgres() {
            self.tx.0.execute_unprepared(&format!("close of_{}", self.table.name)).await?;
        }
        Ok(())
    }
}
