//! Tank changes: kept once, never changed; one that was wrong is taken back by a linked opposite.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::entries::TankChange;
use fillmark_domain::people::PersonId;
use fillmark_domain::places::TankId;
use sea_orm::sea_query::Condition;
use sea_orm::{ColumnTrait, QueryFilter, QuerySelect, Set};
use uuid::Uuid;

use crate::entries::{self, Entry};
use crate::{BrokenRow, SiteScope, StoreError, Tx};

/// A tank change with its id.
pub type KeptChange = entries::Kept<TankChange>;

impl Entry for TankChange {
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "tank change";
    const DONE_AT: &'static str = "recorded_at";
    const CORRECTS: &'static str = "reverses_id";

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            client_id: Set(self.client_id),
            tank_id: Set(self.tank.uuid()),
            fraction: Set(self.fraction),
            drained_l: Set(self.drained_l),
            drained_to: Set(self.drained_to.clone()),
            water_in_l: Set(self.water_in_l),
            due_on: Set(self.due_on),
            recorded_at: Set(self.recorded_at),
            received_at: Set(self.received_at),
            done_by: Set(self.done_by.map(PersonId::uuid)),
            entered_by: Set(self.entered_by.map(PersonId::uuid)),
            reverses_id: Set(self.reverses.as_ref().map(|(id, _)| id.uuid())),
            reason_corrected: Set(self.reverses.as_ref().map(|(_, reason)| reason.clone())),
            ..Default::default()
        }
    }

    fn id(row: &row::Model) -> Uuid {
        row.id
    }

    fn read(row: row::Model, corrected_by: Option<Id<TankChange>>) -> Result<TankChange, BrokenRow> {
        Ok(TankChange {
            client_id: row.client_id,
            tank: Id::new(row.tank_id),
            fraction: row.fraction,
            drained_l: row.drained_l,
            drained_to: row.drained_to.clone(),
            water_in_l: row.water_in_l,
            due_on: row.due_on,
            recorded_at: row.recorded_at,
            received_at: row.received_at,
            done_by: row.done_by.map(Id::new),
            entered_by: row.entered_by.map(Id::new),
            reverses: row
                .reverses_id
                .map(|id| (Id::new(id), row.reason_corrected.clone().unwrap_or_default())),
            reversed: corrected_by,
        })
    }

    fn stands(&self) -> bool {
        self.reversed.is_none() && self.reverses.is_none()
    }

    fn done_at(&self) -> DateTime<Utc> {
        self.recorded_at
    }

    fn received_at(&self) -> DateTime<Utc> {
        self.received_at
    }

    fn corrected_by(&self) -> Option<Id<TankChange>> {
        self.reversed
    }
}

/// The last full change of each tank that was done before an instant and stands.
/// # Errors
/// When the database fails or a row is broken.
pub async fn last_full(
    tx: &Tx,
    scope: SiteScope,
    before: DateTime<Utc>,
) -> Result<HashMap<TankId, DateTime<Utc>>, StoreError> {
    let rows: Vec<(Uuid, DateTime<Utc>)> = entries::scoped::<TankChange>(scope)
        .select_only()
        .column(row::Column::TankId)
        .column_as(row::Column::RecordedAt.max(), "last_at")
        .filter(row::Column::Fraction.gte(1.0))
        .filter(row::Column::RecordedAt.lt(before))
        .filter(row::Column::ReversesId.is_null())
        .filter(entries::is_not_corrected::<TankChange>())
        .group_by(row::Column::TankId)
        .into_tuple()
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(|(tank, last_at)| (TankId::new(tank), last_at)).collect())
}

/// The changes of some tanks in a span of time that stand, in the order they were done.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_tanks(
    tx: &Tx,
    scope: SiteScope,
    tanks: &[TankId],
    (from, before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<KeptChange>, StoreError> {
    let there = Condition::all().add(row::Column::TankId.is_in(tanks.iter().map(|tank| tank.uuid())));
    entries::standing_where(tx, scope, from, before, there).await
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "tank_changes")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub client_id: Uuid,
        pub tank_id: Uuid,
        pub fraction: f64,
        pub drained_l: f64,
        pub drained_to: Option<String>,
        pub water_in_l: f64,
        pub due_on: Option<ChronoDate>,
        pub recorded_at: ChronoDateTimeUtc,
        pub received_at: ChronoDateTimeUtc,
        pub done_by: Option<Uuid>,
        pub entered_by: Option<Uuid>,
        pub reverses_id: Option<Uuid>,
        pub reason_corrected: Option<String>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
