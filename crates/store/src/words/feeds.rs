//! Feeds: which cycle drinks from which tank.

use fillmark_domain::growing::Feed;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::{Row, table};
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "feeds" {
    tank_id: Uuid,
    cycle_id: Uuid,
    from_on: ChronoDate,
    until_on: Option<ChronoDate>,
    leads: bool,
    plants: i64,
});

impl Record for Feed {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "feed";
    const ORDERED_BY: &'static [&'static str] = &["from_on", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["tank_id", "cycle_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            tank_id: Set(self.tank.uuid()),
            cycle_id: Set(self.cycle.uuid()),
            from_on: Set(self.from),
            until_on: Set(self.until),
            leads: Set(self.leads),
            plants: Set(self.plants.into()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Feed>, BrokenRow> {
        let read = row.reading();
        let content = Feed {
            tank: Id::new(row.tank_id),
            cycle: Id::new(row.cycle_id),
            from: row.from_on,
            until: row.until_on,
            leads: row.leads,
            plants: read.whole(row.plants)?,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![
            Reference::of_site("/tank_id", "tanks", self.tank.uuid()),
            Reference::of_site("/cycle_id", "cycles", self.cycle.uuid()),
        ]
    }
}
