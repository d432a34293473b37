//! Absences.

use fillmark_domain::work::{Absence, Span};
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "absences" {
    person_id: Uuid,
    from_at: ChronoDateTimeUtc,
    until_at: ChronoDateTimeUtc,
    reason: String,
});

impl Record for Absence {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "absence";
    const ORDERED_BY: &'static [&'static str] = &["from_at", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["person_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            person_id: Set(self.person.uuid()),
            from_at: Set(self.span.from),
            until_at: Set(self.span.until),
            reason: Set(columns::code(self.reason)),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Absence>, BrokenRow> {
        let read = row.reading();
        let content = Absence {
            person: Id::new(row.person_id),
            span: Span::new(row.from_at, row.until_at).map_err(|error| read.broken(error.to_string()))?,
            reason: read.code(&row.reason)?,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![Reference::of_business("/person_id", "people", self.person.uuid())]
    }
}
