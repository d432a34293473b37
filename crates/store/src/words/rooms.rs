//! Rooms.

use fillmark_domain::Kept;
use fillmark_domain::places::Room;
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, Record, SiteScope};

table!(site "rooms" {
    name: String,
    room_use: String,
    growing_area_m2: Option<f64>,
    plant_places: Option<i64>,
    hygiene_rank: i64,
    building: Option<String>,
    bands: Json,
});

impl Record for Room {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "room";
    const ORDERED_BY: &'static [&'static str] = &["name", "hygiene_rank", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            name: Set(self.name.clone()),
            room_use: Set(columns::code(self.room_use)),
            growing_area_m2: Set(self.growing_area_m2),
            plant_places: Set(self.plant_places.map(i64::from)),
            hygiene_rank: Set(self.hygiene_rank.into()),
            building: Set(self.building.clone()),
            bands: Set(columns::bands(&self.bands)),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Room>, BrokenRow> {
        let read = row.reading();
        let content = Room {
            name: row.name.clone(),
            room_use: read.code(&row.room_use)?,
            growing_area_m2: row.growing_area_m2,
            plant_places: row.plant_places.map(|places| read.whole(places)).transpose()?,
            hygiene_rank: read.whole(row.hygiene_rank)?,
            building: row.building.clone(),
            bands: read.bands(row.bands.clone())?,
        };
        Ok(row.kept(content))
    }
}
