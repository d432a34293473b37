//! Days on which a tank is out of use.

use fillmark_domain::places::OutOfUse;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::table;
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "outages" {
    tank_id: Uuid,
    from_on: ChronoDate,
    until_on: Option<ChronoDate>,
    reason: String,
});

impl Record for OutOfUse {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "outage";
    const ORDERED_BY: &'static [&'static str] = &["from_on", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["tank_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            tank_id: Set(self.tank.uuid()),
            from_on: Set(self.from),
            until_on: Set(self.until),
            reason: Set(self.reason.clone()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<OutOfUse>, BrokenRow> {
        let content = OutOfUse {
            tank: Id::new(row.tank_id),
            from: row.from_on,
            until: row.until_on,
            reason: row.reason.clone(),
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![Reference::of_site("/tank_id", "tanks", self.tank.uuid())]
    }
}
