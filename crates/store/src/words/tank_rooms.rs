//! Which rooms a tank feeds.

use fillmark_domain::places::TankRoom;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::table;
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "tank_rooms" {
    tank_id: Uuid,
    room_id: Uuid,
    from_on: ChronoDate,
    until_on: Option<ChronoDate>,
    share: f64,
});

impl Record for TankRoom {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "tank's room";
    const ORDERED_BY: &'static [&'static str] = &["from_on", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["tank_id", "room_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            tank_id: Set(self.tank.uuid()),
            room_id: Set(self.room.uuid()),
            from_on: Set(self.from),
            until_on: Set(self.until),
            share: Set(self.share),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<TankRoom>, BrokenRow> {
        let content = TankRoom {
            tank: Id::new(row.tank_id),
            room: Id::new(row.room_id),
            from: row.from_on,
            until: row.until_on,
            share: row.share,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![
            Reference::of_site("/tank_id", "tanks", self.tank.uuid()),
            Reference::of_site("/room_id", "rooms", self.room.uuid()),
        ]
    }
}
