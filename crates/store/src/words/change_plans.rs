//! What people decided about the days of tank changes.

use fillmark_domain::entries::ChangePlan;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "change_plans" {
    tank_id: Uuid,
    kind: String,
    on_day: ChronoDate,
    reason: String,
});

impl Record for ChangePlan {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "planned change";
    const ORDERED_BY: &'static [&'static str] = &["on_day", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["tank_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            tank_id: Set(self.tank.uuid()),
            kind: Set(columns::code(self.kind)),
            on_day: Set(self.on),
            reason: Set(self.reason.clone()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<ChangePlan>, BrokenRow> {
        let read = row.reading();
        let content = ChangePlan {
            tank: Id::new(row.tank_id),
            kind: read.code(&row.kind)?,
            on: row.on_day,
            reason: row.reason.clone(),
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![Reference::of_site("/tank_id", "tanks", self.tank.uuid())]
    }
}
