//! Cycles: one planting of a crop each.

use fillmark_domain::growing::Cycle;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "cycles" {
    name: String,
    crop_id: Uuid,
    programme_id: Uuid,
    plants: i64,
    starts_on: ChronoDate,
    ends_on: Option<ChronoDate>,
    stages: Json,
});

impl Record for Cycle {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "cycle";
    const ORDERED_BY: &'static [&'static str] = &["starts_on", "name", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["crop_id", "programme_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            name: Set(self.name.clone()),
            crop_id: Set(self.crop.uuid()),
            programme_id: Set(self.programme.uuid()),
            plants: Set(self.plants.into()),
            starts_on: Set(self.starts_on),
            ends_on: Set(self.ends_on),
            stages: Set(columns::stages(&self.stages)),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Cycle>, BrokenRow> {
        let read = row.reading();
        let content = Cycle {
            name: row.name.clone(),
            crop: Id::new(row.crop_id),
            programme: Id::new(row.programme_id),
            plants: read.whole(row.plants)?,
            starts_on: row.starts_on,
            ends_on: row.ends_on,
            stages: read.stages(row.stages.clone())?,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![
            Reference::of_business("/crop_id", "crops", self.crop.uuid()),
            Reference::of_business("/programme_id", "programmes", self.programme.uuid()),
        ]
    }
}
