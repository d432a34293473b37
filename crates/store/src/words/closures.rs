//! Closures: days on which nobody works.

use fillmark_domain::Days;
use fillmark_domain::Kept;
use fillmark_domain::places::Closure;
use sea_orm::Set;

use crate::columns::table;
use crate::{BrokenRow, Record, SiteScope};

table!(site "closures" {
    from_on: ChronoDate,
    until_on: ChronoDate,
    reason: String,
});

impl Record for Closure {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "closure";
    const ORDERED_BY: &'static [&'static str] = &["from_on", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            from_on: Set(self.days.from),
            until_on: Set(self.days.until),
            reason: Set(self.reason.clone()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Closure>, BrokenRow> {
        let content =
            Closure { days: Days { from: row.from_on, until: row.until_on }, reason: row.reason.clone() };
        Ok(row.kept(content))
    }
}
