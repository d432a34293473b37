//! Crops.

use fillmark_domain::Kept;
use fillmark_domain::growing::Crop;
use sea_orm::Set;

use crate::columns::table;
use crate::{BrokenRow, BusinessScope, Record};

table!(business "crops" {
    name: String,
    species: Option<String>,
});

impl Record for Crop {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "crop";
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            name: Set(self.name.clone()),
            species: Set(self.species.clone()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Crop>, BrokenRow> {
        let content = Crop { name: row.name.clone(), species: row.species.clone() };
        Ok(row.kept(content))
    }
}
