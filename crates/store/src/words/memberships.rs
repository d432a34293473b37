//! Memberships: who is what at which site.

use fillmark_domain::people::Membership;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, BusinessScope, Record, Reference};

table!(business "memberships" {
    person_id: Uuid,
    site_id: Option<Uuid>,
    role: String,
    from_at: ChronoDateTimeUtc,
    until_at: Option<ChronoDateTimeUtc>,
});

impl Record for Membership {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "membership";
    const TELLS_WHO_MAY: bool = true;
    const NARROWED_BY: &'static [&'static str] = &["person_id", "site_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            person_id: Set(self.person.uuid()),
            site_id: Set(self.site.map(Id::uuid)),
            role: Set(columns::code(self.role)),
            from_at: Set(self.from),
            until_at: Set(self.until),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Membership>, BrokenRow> {
        let content = Membership {
            person: Id::new(row.person_id),
            site: row.site_id.map(Id::new),
            role: row.reading().code(&row.role)?,
            from: row.from_at,
            until: row.until_at,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        let mut named = vec![Reference::of_business("/person_id", "people", self.person.uuid())];
        named.extend(self.site.map(|site| Reference::of_business("/site_id", "sites", site.uuid())));
        named
    }
}
