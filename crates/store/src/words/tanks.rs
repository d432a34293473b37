//! Tanks.

use fillmark_domain::places::{Tank, TankMode};
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "tanks" {
    name: String,
    mode: String,
    stock_ratio: Option<f64>,
    fill_mark_l: f64,
    water_source_id: Option<Uuid>,
    two_people_change: bool,
    bands: Json,
});

impl Record for Tank {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "tank";
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        let ratio = match self.mode {
            TankMode::StockTank { ratio } => Some(ratio),
            TankMode::Recirculating | TankMode::RunToWaste | TankMode::Batch => None,
        };
        row::ActiveModel {
            name: Set(self.name.clone()),
            mode: Set(self.mode.code().to_owned()),
            stock_ratio: Set(ratio),
            fill_mark_l: Set(self.fill_mark_l),
            water_source_id: Set(self.water_source.map(Id::uuid)),
            two_people_change: Set(self.two_people_change),
            bands: Set(columns::bands(&self.bands)),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Tank>, BrokenRow> {
        let read = row.reading();
        let mode = TankMode::from_code(&row.mode, row.stock_ratio);
        let content = Tank {
            name: row.name.clone(),
            mode: mode.ok_or_else(|| read.broken("mode and ratio do not fit"))?,
            fill_mark_l: row.fill_mark_l,
            water_source: row.water_source_id.map(Id::new),
            two_people_change: row.two_people_change,
            bands: read.bands(row.bands.clone())?,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        let source = |id: Id<_>| Reference::of_site("/water_source_id", "water_sources", id.uuid());
        self.water_source.map(source).into_iter().collect()
    }
}
