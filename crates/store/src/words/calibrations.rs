//! Calibrations of meters.

use fillmark_domain::entries::{Calibration, Meter};
use fillmark_domain::{Id, Kept};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, Set};

use crate::columns::table;
use crate::{BrokenRow, Record, Reference, SiteScope, StoreError, Tx};

table!(site "calibrations" {
    meter_id: Uuid,
    calibrated_at: ChronoDateTimeUtc,
    done_by: Option<Uuid>,
    standards: String,
    slope_percent: Option<f64>,
    offset_value: Option<f64>,
    passed: bool,
    next_due_on: Option<ChronoDate>,
});

impl Record for Calibration {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "calibration";
    const ORDERED_BY: &'static [&'static str] = &["calibrated_at", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["meter_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            meter_id: Set(self.meter.uuid()),
            calibrated_at: Set(self.calibrated_at),
            done_by: Set(self.done_by.map(Id::uuid)),
            standards: Set(self.standards.clone()),
            slope_percent: Set(self.slope_percent),
            offset_value: Set(self.offset),
            passed: Set(self.passed),
            next_due_on: Set(self.next_due_on),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Calibration>, BrokenRow> {
        let content = Calibration {
            meter: Id::new(row.meter_id),
            calibrated_at: row.calibrated_at,
            done_by: row.done_by.map(Id::new),
            standards: row.standards.clone(),
            slope_percent: row.slope_percent,
            offset: row.offset_value,
            passed: row.passed,
            next_due_on: row.next_due_on,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![Reference::of_site("/meter_id", "meters", self.meter.uuid())]
    }
}

/// The calibrations of meters that stand, in the order they were made.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_meters(
    tx: &Tx,
    scope: SiteScope,
    meters: &[Id<Meter>],
) -> Result<Vec<Calibration>, StoreError> {
    let rows = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::MeterId.is_in(meters.iter().map(|meter| meter.uuid())))
        .filter(row::Column::ArchivedAt.is_null())
        .order_by_asc(row::Column::CalibratedAt)
        .order_by_asc(row::Column::CreatedAt)
        .all(&tx.0)
        .await?;
    Ok(rows
        .into_iter()
        .map(|row| Calibration::read(row).map(|kept| kept.content))
        .collect::<Result<_, _>>()?)
}
