//! Products.

use fillmark_domain::stock::Product;
use fillmark_domain::{Id, Kept};
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, BusinessScope, Record, Reference};

table!(business "products" {
    name: String,
    base: String,
    kind: String,
    mixing_rank: i64,
    goes_with: Json,
    hazards: String,
    storage: String,
});

impl Record for Product {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "product";
    const ORDERED_BY: &'static [&'static str] = &["name", "mixing_rank", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            name: Set(self.name.clone()),
            base: Set(columns::code(self.base)),
            kind: Set(columns::code(self.kind)),
            mixing_rank: Set(self.mixing_rank.into()),
            goes_with: Set(columns::list(self.goes_with.iter().map(|product| product.uuid()))),
            hazards: Set(self.hazards.clone()),
            storage: Set(self.storage.clone()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Product>, BrokenRow> {
        let read = row.reading();
        let content = Product {
            name: row.name.clone(),
            base: read.code(&row.base)?,
            kind: read.code(&row.kind)?,
            mixing_rank: read.whole(row.mixing_rank)?,
            goes_with: read.list(row.goes_with.clone())?.into_iter().map(Id::new).collect(),
            hazards: row.hazards.clone(),
            storage: row.storage.clone(),
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        let named = |product: &Id<Product>| Reference::of_business("/goes_with", "products", product.uuid());
        self.goes_with.iter().map(named).collect()
    }
}
