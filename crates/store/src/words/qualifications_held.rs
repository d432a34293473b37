//! Which qualifications people hold.

use fillmark_domain::work::Held;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::table;
use crate::{BrokenRow, BusinessScope, Record, Reference};

table!(business "qualifications_held" {
    person_id: Uuid,
    qualification_id: Uuid,
    from_on: ChronoDate,
    until_on: Option<ChronoDate>,
});

impl Record for Held {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "held qualification";
    const ORDERED_BY: &'static [&'static str] = &["from_on", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["person_id", "qualification_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            person_id: Set(self.person.uuid()),
            qualification_id: Set(self.qualification.uuid()),
            from_on: Set(self.from),
            until_on: Set(self.until),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Held>, BrokenRow> {
        let content = Held {
            person: Id::new(row.person_id),
            qualification: Id::new(row.qualification_id),
            from: row.from_on,
            until: row.until_on,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![
            Reference::of_business("/person_id", "people", self.person.uuid()),
            Reference::of_business("/qualification_id", "qualifications", self.qualification.uuid()),
        ]
    }
}
