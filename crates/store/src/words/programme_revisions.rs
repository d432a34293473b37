//! Revisions of feeding programmes.

use fillmark_domain::growing::ProgrammeRevision;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, BusinessScope, Record, Reference};

table!(business "programme_revisions" {
    programme_id: Uuid,
    effective_at: ChronoDateTimeUtc,
    steps: Json,
});

impl Record for ProgrammeRevision {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "programme revision";
    const ORDERED_BY: &'static [&'static str] = &["effective_at", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["programme_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            programme_id: Set(self.programme.uuid()),
            effective_at: Set(self.effective_at),
            steps: Set(columns::steps(&self.steps)),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<ProgrammeRevision>, BrokenRow> {
        let read = row.reading();
        let content = ProgrammeRevision {
            programme: Id::new(row.programme_id),
            effective_at: row.effective_at,
            steps: read.steps(row.steps.clone())?,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        let programme = Reference::of_business("/programme_id", "programmes", self.programme.uuid());
        let products = self
            .steps
            .iter()
            .flat_map(|step| &step.doses)
            .map(|dose| Reference::of_business("/steps", "products", dose.product.uuid()));
        std::iter::once(programme).chain(products).collect()
    }
}
