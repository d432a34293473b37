//! Shifts.

use fillmark_domain::work::{Break, Shift};
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::{Row, table};
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "shifts" {
    person_id: Uuid,
    day_on: ChronoDate,
    starts_local: String,
    ends_local: String,
    break_starts_local: Option<String>,
    break_min: Option<i64>,
});

impl Record for Shift {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "shift";
    const ORDERED_BY: &'static [&'static str] = &["day_on", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["person_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            person_id: Set(self.person.uuid()),
            day_on: Set(self.day),
            starts_local: Set(self.starts.to_string()),
            ends_local: Set(self.ends.to_string()),
            break_starts_local: Set(self.rest.map(|rest| rest.starts.to_string())),
            break_min: Set(self.rest.map(|rest| rest.minutes.into())),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Shift>, BrokenRow> {
        let read = row.reading();
        let content = Shift {
            person: Id::new(row.person_id),
            day: row.day_on,
            starts: read.parsed(&row.starts_local)?,
            ends: read.parsed(&row.ends_local)?,
            rest: match (&row.break_starts_local, row.break_min) {
                (Some(starts), Some(minutes)) => {
                    Some(Break { starts: read.parsed(starts)?, minutes: read.whole(minutes)? })
                }
                (None, None) => None,
                _ => return Err(read.broken("has half a break")),
            },
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![Reference::of_business("/person_id", "people", self.person.uuid())]
    }
}
