//! Lots: of the business, since the same batch may stand at two sites.

use fillmark_domain::stock::{LabelRevision, Lot, ProductId};
use fillmark_domain::{Id, Kept};
use sea_orm::sea_query::{Expr, ExprTrait, OnConflict};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, Set};

use crate::columns::table;
use crate::{BrokenRow, BusinessScope, Record, Reference, Stamp, StoreError, Tx, journal};

table!(business "lots" {
    product_id: Uuid,
    revision_id: Option<Uuid>,
    number: String,
    expiry_on: Option<ChronoDate>,
    quarantined: bool,
});

impl Record for Lot {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "lot";
    const ORDERED_BY: &'static [&'static str] = &["created_at", "number"];
    const NARROWED_BY: &'static [&'static str] = &["product_id"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            product_id: Set(self.product.uuid()),
            revision_id: Set(self.revision.map(Id::uuid)),
            number: Set(self.number.clone()),
            expiry_on: Set(self.expiry),
            quarantined: Set(self.quarantined),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Lot>, BrokenRow> {
        let content = Lot {
            product: Id::new(row.product_id),
            revision: row.revision_id.map(Id::new),
            number: row.number.clone(),
            expiry: row.expiry_on,
            quarantined: row.quarantined,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        let label =
            |id: Id<LabelRevision>| Reference::of_business("/revision_id", "label_revisions", id.uuid());
        let mut named = vec![Reference::of_business("/product_id", "products", self.product.uuid())];
        named.extend(self.revision.map(label));
        named
    }
}

/// The lot of a product with this number, unless it is archived.
/// # Errors
/// When the database fails or the row is broken.
pub async fn numbered(
    tx: &Tx,
    _scope: BusinessScope,
    product: ProductId,
    number: &str,
) -> Result<Option<Kept<Lot>>, StoreError> {
    let row = row::Entity::find()
        .filter(row::Column::ProductId.eq(product.uuid()))
        .filter(row::Column::Number.eq(number))
        .filter(row::Column::ArchivedAt.is_null())
        .one(&tx.0)
        .await?;
    Ok(row.map(Lot::read).transpose()?)
}

/// The lot with a product and number, made if there is none. Two at once make one.
/// # Errors
/// When the database fails or the row is broken.
pub async fn numbered_or_made(
    tx: &Tx,
    scope: BusinessScope,
    stamp: &Stamp<'_>,
    wanted: &Lot,
) -> Result<Kept<Lot>, StoreError> {
    if let Some(lot) = numbered(tx, scope, wanted.product, &wanted.number).await? {
        return Ok(lot);
    }
    let id: Id<Lot> = stamp.fresh();
    let content = wanted.columns();
    let detail = journal::told(&content, Lot::UNTOLD);
    let row = row::ActiveModel {
        id: Set(id.uuid()),
        version: Set(1),
        created_at: Set(stamp.at),
        updated_at: Set(stamp.at),
        archived_at: Set(None),
        ..content
    };
    // Whoever makes the same lot at this moment is waited for, and theirs is found below.
    let unless_there = OnConflict::columns([row::Column::ProductId, row::Column::Number])
        .target_and_where(Expr::col(row::Column::ArchivedAt).is_null())
        .do_nothing()
        .to_owned();
    let made = row::Entity::insert(row).on_conflict(unless_there).exec_without_returning(&tx.0).await?;
    if made == 1 {
        journal::append(tx, scope, stamp, "created", Lot::WORD, id.uuid(), detail).await?;
    }
    let lot = numbered(tx, scope, wanted.product, &wanted.number).await?;
    let what = "is neither there nor can it be made".to_owned();
    Ok(lot.ok_or(BrokenRow { table: "lots", id: id.uuid(), what })?)
}
