//! People.

use fillmark_domain::Kept;
use fillmark_domain::people::Person;
use sea_orm::Set;

use crate::columns::table;
use crate::{BrokenRow, BusinessScope, Record};

table!(business "people" {
    name: String,
    sign_in: Option<String>,
});

impl Record for Person {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "person";
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];
    const UNTOLD: &'static [&'static str] = &["name", "sign_in"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            name: Set(self.name.clone()),
            sign_in: Set(self.sign_in.clone()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Person>, BrokenRow> {
        let content = Person { name: row.name.clone(), sign_in: row.sign_in.clone() };
        Ok(row.kept(content))
    }
}
