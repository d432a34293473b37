//! Offers: what a supplier asks for a pack, at a site.

use fillmark_domain::stock::Offer;
use fillmark_domain::{Amount, Currency, Id, Kept, Money};
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "offers" {
    supplier_id: Uuid,
    product_id: Uuid,
    pack: i64,
    base: String,
    price_minor: i64,
    currency: String,
    minimum_packs: i64,
});

impl Record for Offer {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "offer";
    const NARROWED_BY: &'static [&'static str] = &["supplier_id", "product_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            supplier_id: Set(self.supplier.uuid()),
            product_id: Set(self.product.uuid()),
            pack: Set(self.pack.thousandths()),
            base: Set(columns::code(self.base)),
            price_minor: Set(self.price.minor),
            currency: Set(self.price.currency.code()),
            minimum_packs: Set(self.minimum_packs.into()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Offer>, BrokenRow> {
        let read = row.reading();
        let currency =
            Currency::from_code(&row.currency).ok_or_else(|| read.broken("currency cannot be read"))?;
        let content = Offer {
            supplier: Id::new(row.supplier_id),
            product: Id::new(row.product_id),
            pack: Amount::from_thousandths(row.pack),
            base: read.code(&row.base)?,
            price: Money::new(row.price_minor, currency),
            minimum_packs: read.whole(row.minimum_packs)?,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![
            Reference::of_business("/supplier_id", "suppliers", self.supplier.uuid()),
            Reference::of_business("/product_id", "products", self.product.uuid()),
        ]
    }
}
