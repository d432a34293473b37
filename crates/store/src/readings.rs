//! Readings: kept once, never changed; a correction is a reading that names the one it supersedes.

use chrono::{DateTime, Utc};
use fillmark_domain::entries::{BandThen, Compensation, Reading, SamplePoint, Spot};
use fillmark_domain::people::PersonId;
use fillmark_domain::places::TankId;
use fillmark_domain::{Coded, Id, Metric, Quantity};
use sea_orm::sea_query::ExprTrait;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set};
use uuid::Uuid;

use crate::columns::{self, Row};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal};

/// A reading with its id.
pub type KeptReading = (Id<Reading>, Reading);

/// Keeps readings.
/// # Errors
/// [`StoreError::Taken`] when one with the same client id came first, or corrects what is corrected already.
pub async fn keep(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    readings: &[KeptReading],
) -> Result<(), StoreError> {
    // Below the number of variables that either database takes in one statement.
    for chunk in readings.chunks(500) {
        let rows = chunk.iter().map(|(id, reading)| write(scope, *id, reading));
        row::Entity::insert_many(rows).exec_without_returning(&tx.0).await?;
    }
    let entered: Vec<Uuid> = readings.iter().map(|(id, _)| id.uuid()).collect();
    journal::note_many(tx, scope, stamp, "entered", "reading", &entered).await
}

/// The readings with these client ids.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find_by_client_ids(
    tx: &Tx,
    scope: SiteScope,
    ids: &[Uuid],
) -> Result<Vec<KeptReading>, StoreError> {
    let rows = scoped(scope).filter(row::Column::ClientId.is_in(ids.iter().copied())).all(&tx.0).await?;
    read_all(tx, scope, rows).await
}

/// The readings with these ids.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find(tx: &Tx, scope: SiteScope, ids: &[Uuid]) -> Result<Vec<KeptReading>, StoreError> {
    let rows = scoped(scope).filter(row::Column::Id.is_in(ids.iter().copied())).all(&tx.0).await?;
    read_all(tx, scope, rows).await
}

/// A page of a site's readings.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, scope: SiteScope, query: &PageQuery) -> Result<Page<KeptReading>, StoreError> {
    let page = page_of(tx, scoped(scope), query).await?;
    Ok(Page { items: read_all(tx, scope, page.items).await?, next: page.next })
}

/// The last value of a metric at a place before an instant, corrections left out of account.
/// # Errors
/// When the database fails.
pub async fn last_before(
    tx: &Tx,
    scope: SiteScope,
    spot: Spot,
    point: SamplePoint,
    metric: Metric,
    at: DateTime<Utc>,
) -> Result<Option<f64>, StoreError> {
    let last = of_spot(scoped(scope), spot)
        .filter(row::Column::Metric.eq(metric.code()))
        .filter(row::Column::SamplePoint.eq(point.code()))
        .filter(row::Column::RecordedAt.lt(at))
        .order_by_desc(row::Column::RecordedAt)
        .limit(1)
        .one(&tx.0)
        .await?;
    Ok(last.map(|row| row.value))
}

/// The readings of places in a span of time that stand, in the order they were taken: what was superseded is left out.
/// # Errors
/// When the database fails or a row is broken.
pub async fn standing(
    tx: &Tx,
    scope: SiteScope,
    spots: &[Spot],
    from: DateTime<Utc>,
    before: DateTime<Utc>,
) -> Result<Vec<KeptReading>, StoreError> {
    let tanks = spots.iter().filter_map(|spot| match spot {
        Spot::Tank(tank) => Some(tank.uuid()),
        Spot::Room(_) => None,
    });
    let rooms = spots.iter().filter_map(|spot| match spot {
        Spot::Room(room) => Some(room.uuid()),
        Spot::Tank(_) => None,
    });
    let rows = scoped(scope)
        .filter(row::Column::TankId.is_in(tanks).or(row::Column::RoomId.is_in(rooms)))
        .filter(row::Column::RecordedAt.gte(from))
        .filter(row::Column::RecordedAt.lt(before))
        .order_by_asc(row::Column::RecordedAt)
        .order_by_asc(row::Column::Id)
        .all(&tx.0)
        .await?;
    let mut readings = read_all(tx, scope, rows).await?;
    readings.retain(|(_, reading)| reading.superseded.is_none());
    Ok(readings)
}

/// When somebody read the solution of each tank since an instant, in order.
/// # Errors
/// When the database fails.
pub async fn visits(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
) -> Result<Vec<(TankId, DateTime<Utc>)>, StoreError> {
    let solution = [Metric::Ec, Metric::Ph, Metric::Volume].map(Coded::code);
    let rows = scoped(scope)
        .filter(row::Column::TankId.is_not_null())
        .filter(row::Column::Metric.is_in(solution))
        .filter(row::Column::RecordedAt.gte(from))
        .order_by_asc(row::Column::RecordedAt)
        .select_only()
        .columns([row::Column::TankId, row::Column::RecordedAt])
        .into_tuple::<(Uuid, DateTime<Utc>)>()
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(|(tank, at)| (Id::new(tank), at)).collect())
}

/// What the water meters of tanks showed since an instant, in order.
/// # Errors
/// When the database fails.
pub async fn counters(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
) -> Result<Vec<(TankId, DateTime<Utc>, f64)>, StoreError> {
    let rows = scoped(scope)
        .filter(row::Column::TankId.is_not_null())
        .filter(row::Column::Metric.eq(Metric::WaterMeter.code()))
        .filter(row::Column::RecordedAt.gte(from))
        .order_by_asc(row::Column::RecordedAt)
        .select_only()
        .columns([row::Column::TankId, row::Column::RecordedAt, row::Column::Value])
        .into_tuple::<(Uuid, DateTime<Utc>, f64)>()
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(|(tank, at, value)| (Id::new(tank), at, value)).collect())
}

fn scoped(scope: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(scope.uuid()))
}

fn of_spot(rows: sea_orm::Select<row::Entity>, spot: Spot) -> sea_orm::Select<row::Entity> {
    match spot {
        Spot::Tank(tank) => rows.filter(row::Column::TankId.eq(tank.uuid())),
        Spot::Room(room) => rows.filter(row::Column::RoomId.eq(room.uuid())),
    }
}

fn write(scope: SiteScope, id: Id<Reading>, reading: &Reading) -> row::ActiveModel {
    let (tank_id, room_id) = match reading.spot {
        Spot::Tank(tank) => (Some(tank.uuid()), None),
        Spot::Room(room) => (None, Some(room.uuid())),
    };
    let linear = match reading.compensation {
        Some(Compensation::Linear { percent_per_c, reference_c }) => Some((percent_per_c, reference_c)),
        Some(Compensation::None) | None => None,
    };
    row::ActiveModel {
        site_id: Set(scope.uuid()),
        id: Set(id.uuid()),
        client_id: Set(reading.client_id),
        tank_id: Set(tank_id),
        room_id: Set(room_id),
        sample_point: Set(columns::code(reading.sample_point)),
        metric: Set(columns::code(reading.metric)),
        entered_value: Set(reading.entered.value),
        entered_unit: Set(columns::code(reading.entered.unit)),
        value: Set(reading.value),
        compensation_percent_per_c: Set(linear.map(|(percent, _)| percent)),
        compensation_reference_c: Set(linear.map(|(_, reference)| reference)),
        uncompensated: Set(reading.compensation == Some(Compensation::None)),
        meter_id: Set(reading.meter.map(Id::uuid)),
        recorded_at: Set(reading.recorded_at),
        received_at: Set(reading.received_at),
        clock_offset_ms: Set(reading.clock_offset_ms),
        clock_suspect: Set(reading.clock_suspect),
        done_by: Set(reading.done_by.map(PersonId::uuid)),
        entered_by: Set(reading.entered_by.map(PersonId::uuid)),
        band_low: Set(reading.band.map(|band| band.low)),
        band_aim: Set(reading.band.map(|band| band.aim)),
        band_high: Set(reading.band.map(|band| band.high)),
        supersedes_id: Set(reading.supersedes.as_ref().map(|(id, _)| id.uuid())),
        reason_corrected: Set(reading.supersedes.as_ref().map(|(_, reason)| reason.clone())),
    }
}

/// Reads rows, and looks which of them were superseded.
async fn read_all(tx: &Tx, scope: SiteScope, rows: Vec<row::Model>) -> Result<Vec<KeptReading>, StoreError> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let mut corrections: Vec<(Uuid, Uuid)> = Vec::new();
    for chunk in ids.chunks(5_000) {
        let found = scoped(scope)
            .filter(row::Column::SupersedesId.is_in(chunk.iter().copied()))
            .select_only()
            .columns([row::Column::SupersedesId, row::Column::Id])
            .into_tuple::<(Uuid, Uuid)>()
            .all(&tx.0)
            .await?;
        corrections.extend(found);
    }
    let superseded = |id: Uuid| corrections.iter().find(|(old, _)| *old == id).map(|(_, new)| Id::new(*new));
    Ok(rows.into_iter().map(|row| read(&row, superseded(row.id))).collect::<Result<_, _>>()?)
}

fn read(row: &row::Model, superseded: Option<Id<Reading>>) -> Result<KeptReading, BrokenRow> {
    let reading = row.reading();
    let spot = match (row.tank_id, row.room_id) {
        (Some(tank), None) => Spot::Tank(Id::new(tank)),
        (None, Some(room)) => Spot::Room(Id::new(room)),
        _ => return Err(reading.broken("expected a tank or a room")),
    };
    let linear = row.compensation_percent_per_c.zip(row.compensation_reference_c);
    let compensation = match (row.uncompensated, linear) {
        (true, _) => Some(Compensation::None),
        (false, linear) => {
            linear.map(|(percent_per_c, reference_c)| Compensation::Linear { percent_per_c, reference_c })
        }
    };
    let band = row.band_low.zip(row.band_aim).zip(row.band_high);
    let content = Reading {
        client_id: row.client_id,
        spot,
        sample_point: reading.code(&row.sample_point)?,
        metric: reading.code(&row.metric)?,
        entered: Quantity::new(row.entered_value, reading.code(&row.entered_unit)?),
        value: row.value,
        compensation,
        meter: row.meter_id.map(Id::new),
        recorded_at: row.recorded_at,
        received_at: row.received_at,
        clock_offset_ms: row.clock_offset_ms,
        clock_suspect: row.clock_suspect,
        done_by: row.done_by.map(Id::new),
        entered_by: row.entered_by.map(Id::new),
        band: band.map(|((low, aim), high)| BandThen { low, aim, high }),
        superseded,
        supersedes: row
            .supersedes_id
            .map(|id| (Id::new(id), row.reason_corrected.clone().unwrap_or_default())),
    };
    Ok((Id::new(row.id), content))
}

impl Row for row::Model {
    fn reading(&self) -> columns::Reading {
        columns::Reading { table: "readings", id: self.id }
    }
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "readings")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub client_id: Uuid,
        pub tank_id: Option<Uuid>,
        pub room_id: Option<Uuid>,
        pub sample_point: String,
        pub metric: String,
        pub entered_value: f64,
        pub entered_unit: String,
        pub value: f64,
        pub compensation_percent_per_c: Option<f64>,
        pub compensation_reference_c: Option<f64>,
        pub uncompensated: bool,
        pub meter_id: Option<Uuid>,
        pub recorded_at: ChronoDateTimeUtc,
        pub received_at: ChronoDateTimeUtc,
        pub clock_offset_ms: Option<i64>,
        pub clock_suspect: bool,
        pub done_by: Option<Uuid>,
        pub entered_by: Option<Uuid>,
        pub band_low: Option<f64>,
        pub band_aim: Option<f64>,
        pub band_high: Option<f64>,
        pub supersedes_id: Option<Uuid>,
        pub reason_corrected: Option<String>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
