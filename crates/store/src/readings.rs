//! Readings: kept once, never changed; a correction is a reading that names the one it supersedes.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::entries::{BandThen, Compensation, Reading, SamplePoint, SeenReading, Spot, TankChange};
use fillmark_domain::people::PersonId;
use fillmark_domain::places::TankId;
use fillmark_domain::{Coded, Id, Metric, Quantity};
use sea_orm::sea_query::{Condition, Expr, ExprTrait, SimpleExpr};
use sea_orm::{ColumnTrait, Order, QueryFilter, QueryOrder, QuerySelect, Set};
use uuid::Uuid;

use crate::columns::{self, Row};
use crate::entries::{self, Entry};
use crate::{BrokenRow, SiteScope, StoreError, Tx};

/// A reading with its id.
pub type KeptReading = entries::Kept<Reading>;

impl Entry for Reading {
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "reading";
    const DONE_AT: &'static str = "recorded_at";
    const CORRECTS: &'static str = "supersedes_id";

    fn columns(&self) -> row::ActiveModel {
        let (tank_id, room_id) = match self.spot {
            Spot::Tank(tank) => (Some(tank.uuid()), None),
            Spot::Room(room) => (None, Some(room.uuid())),
        };
        let linear = match self.compensation {
            Some(Compensation::Linear { percent_per_c, reference_c }) => Some((percent_per_c, reference_c)),
            Some(Compensation::None) | None => None,
        };
        row::ActiveModel {
            client_id: Set(self.client_id),
            tank_id: Set(tank_id),
            room_id: Set(room_id),
            sample_point: Set(columns::code(self.sample_point)),
            metric: Set(columns::code(self.metric)),
            entered_value: Set(self.entered.value),
            entered_unit: Set(columns::code(self.entered.unit)),
            value: Set(self.value),
            compensation_percent_per_c: Set(linear.map(|(percent, _)| percent)),
            compensation_reference_c: Set(linear.map(|(_, reference)| reference)),
            uncompensated: Set(self.compensation == Some(Compensation::None)),
            meter_id: Set(self.meter.map(Id::uuid)),
            change_id: Set(self.change.map(Id::uuid)),
            recorded_at: Set(self.recorded_at),
            received_at: Set(self.received_at),
            clock_offset_ms: Set(self.clock_offset_ms),
            clock_suspect: Set(self.clock_suspect),
            done_by: Set(self.done_by.map(PersonId::uuid)),
            entered_by: Set(self.entered_by.map(PersonId::uuid)),
            device_id: Set(self.entered_with.map(Id::uuid)),
            band_low: Set(self.band.map(|band| band.low)),
            band_aim: Set(self.band.map(|band| band.aim)),
            band_high: Set(self.band.map(|band| band.high)),
            supersedes_id: Set(self.supersedes.as_ref().map(|(id, _)| id.uuid())),
            reason_corrected: Set(self.supersedes.as_ref().map(|(_, reason)| reason.clone())),
            ..Default::default()
        }
    }

    fn id(row: &row::Model) -> Uuid {
        row.id
    }

    fn read(row: row::Model, corrected_by: Option<Id<Reading>>) -> Result<Reading, BrokenRow> {
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
        Ok(Reading {
            client_id: row.client_id,
            spot,
            sample_point: reading.code(&row.sample_point)?,
            metric: reading.code(&row.metric)?,
            entered: Quantity::new(row.entered_value, reading.code(&row.entered_unit)?),
            value: row.value,
            compensation,
            meter: row.meter_id.map(Id::new),
            change: row.change_id.map(Id::new),
            recorded_at: row.recorded_at,
            received_at: row.received_at,
            clock_offset_ms: row.clock_offset_ms,
            clock_suspect: row.clock_suspect,
            done_by: row.done_by.map(Id::new),
            entered_by: row.entered_by.map(Id::new),
            entered_with: row.device_id.map(Id::new),
            band: band.map(|((low, aim), high)| BandThen { low, aim, high }),
            superseded: corrected_by,
            supersedes: row
                .supersedes_id
                .map(|id| (Id::new(id), row.reason_corrected.clone().unwrap_or_default())),
        })
    }

    /// A reading that stands in the place of another counts as any.
    fn stands(&self) -> bool {
        self.superseded.is_none()
    }

    fn done_at(&self) -> DateTime<Utc> {
        self.recorded_at
    }

    fn received_at(&self) -> DateTime<Utc> {
        self.received_at
    }

    fn corrected_by(&self) -> Option<Id<Reading>> {
        self.superseded
    }
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
    let last = entries::scoped::<Reading>(scope)
        .filter(place(spot))
        .filter(row::Column::Metric.eq(metric.code()))
        .filter(row::Column::SamplePoint.eq(point.code()))
        .filter(row::Column::RecordedAt.lt(at))
        .order_by_desc(row::Column::RecordedAt)
        .limit(1)
        .one(&tx.0)
        .await?;
    Ok(last.map(|row| row.value))
}

/// Of the readings of a metric at a place that stand, the value of the one nearest to an instant, no farther from it than so long.
/// # Errors
/// When the database fails or a row is broken.
pub async fn nearest(
    tx: &Tx,
    scope: SiteScope,
    (spot, point, metric): (Spot, SamplePoint, Metric),
    at: DateTime<Utc>,
    within: TimeDelta,
) -> Result<Option<f64>, StoreError> {
    let there = Condition::all()
        .add(place(spot))
        .add(row::Column::Metric.eq(metric.code()))
        .add(row::Column::SamplePoint.eq(point.code()));
    let near = entries::standing_where::<Reading>(tx, scope, at - within, at + within, there).await?;
    let nearest = near.into_iter().min_by_key(|(_, reading)| (reading.recorded_at - at).abs());
    Ok(nearest.map(|(_, reading)| reading.value))
}

/// The last reading of a metric at a place that stands, had a band, and was taken by a clock that can be trusted.
/// # Errors
/// When the database fails or a row is broken.
pub async fn last_banded(
    tx: &Tx,
    scope: SiteScope,
    (spot, point, metric): (Spot, SamplePoint, Metric),
) -> Result<Option<KeptReading>, StoreError> {
    let rows = || {
        entries::scoped::<Reading>(scope)
            .filter(place(spot))
            .filter(row::Column::Metric.eq(metric.code()))
            .filter(row::Column::SamplePoint.eq(point.code()))
            .filter(row::Column::BandLow.is_not_null())
            .filter(row::Column::ClockSuspect.eq(false))
    };
    // Nothing is taken after it was recorded, so that the last recorded was taken last unless its own clock ran ahead. It is the
    // first in its index; by when they were taken, all there ever were would have to be put in order.
    let recorded = rows().order_by_desc(row::Column::RecordedAt).order_by_desc(row::Column::Id);
    let last = entries::first_standing(tx, recorded).await?;
    if last.as_ref().is_none_or(|(_, last): &KeptReading| last.recorded_at <= last.received_at) {
        return Ok(last);
    }
    let taken = rows().order_by(taken_at(), Order::Desc).order_by_desc(row::Column::Id);
    entries::first_standing(tx, taken).await
}

/// [`Reading::taken_at`]: a clock that runs ahead puts nothing after what comes in later.
fn taken_at() -> SimpleExpr {
    let (recorded, received) = (row::Column::RecordedAt, row::Column::ReceivedAt);
    let ahead = Expr::col(recorded).gt(Expr::col(received));
    Expr::case(ahead, Expr::col(received)).finally(Expr::col(recorded)).into()
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
    let mut readings = Vec::new();
    for spot in spots {
        readings.append(&mut of_spot_between(tx, scope, *spot, (from, before)).await?);
    }
    readings.sort_by_key(|(id, reading): &KeptReading| (reading.recorded_at, *id));
    Ok(readings)
}

/// The readings of some metrics of a tank in a span of time that stand, in the order they were taken, as far as learning from them
/// needs them.
/// # Errors
/// When the database fails or a row is broken.
pub async fn seen_of_tank(
    tx: &Tx,
    scope: SiteScope,
    tank: TankId,
    metrics: &[Metric],
    (from, before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<SeenReading>, StoreError> {
    use row::Column;
    type Seen = (Uuid, String, String, f64, Option<Uuid>, DateTime<Utc>, DateTime<Utc>);
    let rows = entries::scoped::<Reading>(scope)
        .filter(Column::TankId.eq(tank.uuid()))
        .filter(Column::Metric.is_in(metrics.iter().map(|metric| metric.code())))
        .filter(Column::RecordedAt.gte(from))
        .filter(Column::RecordedAt.lt(before))
        .filter(entries::is_not_corrected::<Reading>())
        .select_only()
        .columns([Column::Id, Column::Metric, Column::SamplePoint, Column::Value, Column::MeterId])
        .columns([Column::RecordedAt, Column::ReceivedAt])
        .into_tuple::<Seen>();
    let seen = |(id, metric, point, value, meter, recorded_at, received_at): Seen| {
        let read = columns::Reading { table: "readings", id };
        Ok::<_, BrokenRow>(SeenReading {
            id: Id::new(id),
            metric: read.code(&metric)?,
            sample_point: read.code(&point)?,
            value,
            meter: meter.map(Id::new),
            taken_at: std::cmp::min(recorded_at, received_at),
        })
    };
    let mut readings: Vec<SeenReading> =
        rows.all(&tx.0).await?.into_iter().map(seen).collect::<Result<_, _>>()?;
    readings.sort_by_key(|reading| (reading.taken_at, reading.id));
    Ok(readings)
}

/// One place at a time and its metrics by name: the index of a place has them before the time, and without them the databases walk
/// all readings of the site.
async fn of_spot_between(
    tx: &Tx,
    scope: SiteScope,
    spot: Spot,
    (from, before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<KeptReading>, StoreError> {
    let metrics = row::Column::Metric.is_in(Metric::all().iter().map(|metric| metric.code()));
    entries::standing_where(tx, scope, from, before, Condition::all().add(place(spot)).add(metrics)).await
}

/// The readings that people took in a span of time and that stand, in the order they were taken.
/// # Errors
/// When the database fails or a row is broken.
pub async fn by_people(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
    before: DateTime<Utc>,
) -> Result<Vec<KeptReading>, StoreError> {
    entries::standing_where(tx, scope, from, before, Condition::all().add(row::Column::DoneBy.is_not_null()))
        .await
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
    let rows = entries::scoped::<Reading>(scope)
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

/// Those taken after a tank change and entered with it.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_change(
    tx: &Tx,
    scope: SiteScope,
    change: Id<TankChange>,
) -> Result<Vec<KeptReading>, StoreError> {
    entries::among(tx, scope, "change_id", &[change.uuid()]).await
}

/// What the water meters of tanks showed in a span of time, in order. What was superseded is left out: a digit too
/// many would stay a rise that nobody fed.
/// # Errors
/// When the database fails or a row is broken.
pub async fn counters(
    tx: &Tx,
    scope: SiteScope,
    from: DateTime<Utc>,
    before: DateTime<Utc>,
) -> Result<Vec<(TankId, DateTime<Utc>, f64)>, StoreError> {
    let of_tanks = Condition::all()
        .add(row::Column::TankId.is_not_null())
        .add(row::Column::Metric.eq(Metric::WaterMeter.code()));
    let looks = entries::standing_where::<Reading>(tx, scope, from, before, of_tanks).await?;
    let of_tank = |(_, look): KeptReading| match look.spot {
        Spot::Tank(tank) => Some((tank, look.recorded_at, look.value)),
        Spot::Room(_) => None,
    };
    Ok(looks.into_iter().filter_map(of_tank).collect())
}

fn place(spot: Spot) -> Expr {
    match spot {
        Spot::Tank(tank) => row::Column::TankId.eq(tank.uuid()),
        Spot::Room(room) => row::Column::RoomId.eq(room.uuid()),
    }
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
        pub change_id: Option<Uuid>,
        pub recorded_at: ChronoDateTimeUtc,
        pub received_at: ChronoDateTimeUtc,
        pub clock_offset_ms: Option<i64>,
        pub clock_suspect: bool,
        pub done_by: Option<Uuid>,
        pub entered_by: Option<Uuid>,
        pub device_id: Option<Uuid>,
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
