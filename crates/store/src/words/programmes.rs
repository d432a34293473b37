//! Feeding programmes; their steps stand in their revisions.

use fillmark_domain::growing::Programme;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::table;
use crate::{BrokenRow, BusinessScope, Record, Reference};

table!(business "programmes" {
    name: String,
    crop_id: Uuid,
});

impl Record for Programme {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "programme";
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["crop_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            name: Set(self.name.clone()),
            crop_id: Set(self.crop.uuid()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Programme>, BrokenRow> {
        let content = Programme { name: row.name.clone(), crop: Id::new(row.crop_id) };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![Reference::of_business("/crop_id", "crops", self.crop.uuid())]
    }
}
