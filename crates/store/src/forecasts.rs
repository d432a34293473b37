//! Forecasts as they were issued. They are kept once and never changed.

use chrono::NaiveDate;
use fillmark_domain::people::PersonId;
use fillmark_domain::stock::{IssuedForecast, IssuedLine, IssuedOrder, IssuedUse};
use fillmark_domain::{Days, Id};
use sea_orm::sea_query::OnConflict;
use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, PaginatorTrait, QueryFilter, QueryOrder};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::columns::{self, Reading};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal};

/// What the journal calls it.
pub(crate) const WORD: &str = "forecast";

/// A forecast with its id.
pub type KeptForecast = (Id<IssuedForecast>, IssuedForecast);

/// Keeps a forecast, under an id of its own; nothing where the one of this night is kept already.
/// # Errors
/// When the database fails.
pub async fn keep(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    issued: &IssuedForecast,
) -> Result<Option<Id<IssuedForecast>>, StoreError> {
    let id = stamp.fresh::<IssuedForecast>();
    let row = row::Model {
        site_id: scope.uuid(),
        id: id.uuid(),
        today_on: issued.today,
        issued_at: issued.issued_at,
        issued_by: issued.issued_by.map(PersonId::uuid),
        service_level: issued.service_level,
        lines: columns::list(issued.lines.iter().map(LineColumn::write)),
    };
    let row = row.into_active_model();
    let detail = journal::hashed(&row);
    let kept = row::Entity::insert(row)
        .on_conflict(OnConflict::new().do_nothing().to_owned())
        .exec_without_returning(&tx.0)
        .await?;
    if kept == 0 {
        return Ok(None);
    }
    journal::append(tx, scope, stamp, "issued", WORD, id.uuid(), detail).await?;
    Ok(Some(id))
}

/// The forecast with this id.
/// # Errors
/// When the database fails or the row is broken.
pub async fn find(
    tx: &Tx,
    scope: SiteScope,
    id: Id<IssuedForecast>,
) -> Result<Option<IssuedForecast>, StoreError> {
    let row = of_site(scope).filter(row::Column::Id.eq(id.uuid())).one(&tx.0).await?;
    Ok(row.map(read).transpose()?)
}

/// A page of a site's forecasts.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, scope: SiteScope, query: &PageQuery) -> Result<Page<KeptForecast>, StoreError> {
    let rows = page_of(tx, of_site(scope), query).await?;
    let kept = |row: row::Model| Ok((Id::new(row.id), read(row)?));
    let items = rows.items.into_iter().map(kept).collect::<Result<_, BrokenRow>>()?;
    Ok(Page { items, next: rows.next })
}

/// The forecasts that were issued of themselves for some days, by day.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_nights(tx: &Tx, scope: SiteScope, days: Days) -> Result<Vec<IssuedForecast>, StoreError> {
    let rows = of_site(scope)
        .filter(row::Column::IssuedBy.is_null())
        .filter(row::Column::TodayOn.between::<NaiveDate>(days.from, days.until))
        .order_by_asc(row::Column::TodayOn);
    Ok(rows.all(&tx.0).await?.into_iter().map(read).collect::<Result<_, BrokenRow>>()?)
}

/// Whether the forecast of a night is kept.
/// # Errors
/// When the database fails.
pub async fn has_night(tx: &Tx, scope: SiteScope, today: NaiveDate) -> Result<bool, StoreError> {
    let of_night =
        of_site(scope).filter(row::Column::IssuedBy.is_null()).filter(row::Column::TodayOn.eq(today));
    Ok(of_night.count(&tx.0).await? > 0)
}

fn of_site(scope: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(scope.uuid()))
}

fn read(row: row::Model) -> Result<IssuedForecast, BrokenRow> {
    let reading = Reading { table: "forecasts", id: row.id };
    let lines: Vec<LineColumn> = reading.list(row.lines)?;
    Ok(IssuedForecast {
        today: row.today_on,
        issued_at: row.issued_at,
        issued_by: row.issued_by.map(Id::new),
        service_level: row.service_level,
        lines: lines.into_iter().map(|line| line.read(reading)).collect::<Result<_, _>>()?,
    })
}

#[derive(Serialize, Deserialize)]
struct LineColumn {
    product: Uuid,
    base: String,
    held: f64,
    /// Days, expected, 90 % and 95 % quantile.
    uses: Vec<(u16, f64, f64, f64)>,
    /// For each of them, what is expected by cause.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    causes: Vec<Vec<(String, f64)>>,
    may_run_out_on: Option<NaiveDate>,
    /// By which day, how many packs, of how much each.
    order: Option<(NaiveDate, i64, f64)>,
}

impl LineColumn {
    fn write(line: &IssuedLine) -> Self {
        Self {
            product: line.product.uuid(),
            base: columns::code(line.base),
            held: line.held,
            uses: line
                .uses
                .iter()
                .map(|told| (told.days, told.expected, told.high_90, told.high_95))
                .collect(),
            causes: line.uses.iter().map(causes).collect(),
            may_run_out_on: line.may_run_out_on,
            order: line.order.map(|order| (order.by, order.packs, order.pack)),
        }
    }

    fn read(self, row: Reading) -> Result<IssuedLine, BrokenRow> {
        let causes = self.causes.into_iter().chain(std::iter::repeat_with(Vec::new));
        let told = |((days, expected, high_90, high_95), causes): (_, Vec<(String, f64)>)| {
            let cause = |(cause, amount): (String, f64)| Ok((row.code(&cause)?, amount));
            let by_cause = causes.into_iter().map(cause).collect::<Result<_, BrokenRow>>()?;
            Ok(IssuedUse { days, expected, high_90, high_95, by_cause })
        };
        Ok(IssuedLine {
            product: Id::new(self.product),
            base: row.code(&self.base)?,
            held: self.held,
            uses: self.uses.into_iter().zip(causes).map(told).collect::<Result<_, BrokenRow>>()?,
            may_run_out_on: self.may_run_out_on,
            order: self.order.map(|(by, packs, pack)| IssuedOrder { by, packs, pack }),
        })
    }
}

fn causes(told: &IssuedUse) -> Vec<(String, f64)> {
    told.by_cause.iter().map(|(cause, amount)| (columns::code(*cause), *amount)).collect()
}

pub(crate) mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "forecasts")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub today_on: ChronoDate,
        pub issued_at: ChronoDateTimeUtc,
        pub issued_by: Option<Uuid>,
        pub service_level: f64,
        pub lines: Json,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
