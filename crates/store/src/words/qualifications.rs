//! Qualifications, and who holds them.

use fillmark_domain::Kept;
use fillmark_domain::work::Qualification;
use sea_orm::Set;

use crate::columns::table;
use crate::{BrokenRow, BusinessScope, Record};

table!(business "qualifications" {
    name: String,
});

impl Record for Qualification {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "qualification";
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel { name: Set(self.name.clone()), ..Default::default() }
    }

    fn read(row: row::Model) -> Result<Kept<Qualification>, BrokenRow> {
        let content = Qualification { name: row.name.clone() };
        Ok(row.kept(content))
    }
}
