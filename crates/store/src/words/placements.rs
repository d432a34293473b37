//! Placements: where a cycle stands.

use fillmark_domain::growing::Placement;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::{Row, table};
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "placements" {
    cycle_id: Uuid,
    room_id: Uuid,
    from_on: ChronoDate,
    until_on: Option<ChronoDate>,
    plants: i64,
});

impl Record for Placement {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "placement";
    const ORDERED_BY: &'static [&'static str] = &["from_on", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["cycle_id", "room_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            cycle_id: Set(self.cycle.uuid()),
            room_id: Set(self.room.uuid()),
            from_on: Set(self.from),
            until_on: Set(self.until),
            plants: Set(self.plants.into()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Placement>, BrokenRow> {
        let read = row.reading();
        let content = Placement {
            cycle: Id::new(row.cycle_id),
            room: Id::new(row.room_id),
            from: row.from_on,
            until: row.until_on,
            plants: read.whole(row.plants)?,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![
            Reference::of_site("/cycle_id", "cycles", self.cycle.uuid()),
            Reference::of_site("/room_id", "rooms", self.room.uuid()),
        ]
    }
}
