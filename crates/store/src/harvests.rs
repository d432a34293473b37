//! Harvests: kept once, never changed; one that was wrong is taken back by a linked opposite.

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::growing::Harvest;
use fillmark_domain::people::PersonId;
use sea_orm::Set;
use uuid::Uuid;

use crate::BrokenRow;
use crate::columns::{self, Row};
use crate::entries::{self, Entry};

/// A harvest with its id.
pub type KeptHarvest = entries::Kept<Harvest>;

impl Entry for Harvest {
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "harvest";
    const DONE_AT: &'static str = "harvested_at";
    const CORRECTS: &'static str = "reverses_id";

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            client_id: Set(self.client_id),
            cycle_id: Set(self.cycle.uuid()),
            room_id: Set(self.room.map(Id::uuid)),
            harvested_at: Set(self.harvested_at),
            saleable_kg: Set(self.saleable_kg),
            rejected_kg: Set(self.rejected_kg),
            pieces: Set(self.pieces.map(i64::from)),
            grade: Set(self.grade.clone()),
            brix: Set(self.brix),
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

    fn read(row: row::Model, corrected_by: Option<Id<Harvest>>) -> Result<Harvest, BrokenRow> {
        Ok(Harvest {
            client_id: row.client_id,
            cycle: Id::new(row.cycle_id),
            room: row.room_id.map(Id::new),
            harvested_at: row.harvested_at,
            saleable_kg: row.saleable_kg,
            rejected_kg: row.rejected_kg,
            pieces: row.pieces.map(|pieces| row.reading().whole(pieces)).transpose()?,
            grade: row.grade.clone(),
            brix: row.brix,
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
        self.harvested_at
    }

    fn received_at(&self) -> DateTime<Utc> {
        self.received_at
    }

    fn corrected_by(&self) -> Option<Id<Harvest>> {
        self.reversed
    }
}

impl Row for row::Model {
    fn reading(&self) -> columns::Reading {
        columns::Reading { table: "harvests", id: self.id }
    }
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "harvests")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub client_id: Uuid,
        pub cycle_id: Uuid,
        pub room_id: Option<Uuid>,
        pub harvested_at: ChronoDateTimeUtc,
        pub saleable_kg: f64,
        pub rejected_kg: f64,
        pub pieces: Option<i64>,
        pub grade: Option<String>,
        pub brix: Option<f64>,
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
