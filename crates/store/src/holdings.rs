//! Holdings: how much of which lot is at a site. The balance is kept beside the movements whose sum it is, so that
//! a lock on it lets one act at a time decide, and a check in the database refuses what would overdraw it.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{Lot, LotId, OnHand, ProductId};
use fillmark_domain::{Amount, Id, Kept};
use sea_orm::sea_query::{Expr, ExprTrait};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set};
use uuid::Uuid;

use crate::{BrokenRow, BusinessScope, SiteScope, StoreError, Tx, records};

/// A holding with its lot.
#[derive(Debug, Clone, PartialEq)]
pub struct Holding {
    /// The lot.
    pub lot: Kept<Lot>,
    /// How much of it is there.
    pub on_hand: OnHand,
}

/// Everything a site has or had of a product, held until the transaction ends against others who would change it.
/// # Errors
/// When the database fails or a row is broken.
pub async fn lock_for_issue(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
) -> Result<Vec<OnHand>, StoreError> {
    // In one order for everybody, so that two who lock the same rows never wait for each other.
    let rows = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::ProductId.eq(product.uuid()))
        .order_by_asc(row::Column::LotId)
        .lock_exclusive()
        .all(&tx.0)
        .await?;
    let holdings = with_lots(tx, scope.in_business(), rows).await?;
    Ok(holdings.into_iter().map(|holding| holding.on_hand).collect())
}

/// Locks all that a site holds of some products, in one order for everybody: two who draw the same products, each in an
/// order of their own, would wait for each other for ever.
/// # Errors
/// When the database fails.
pub async fn lock_all(tx: &Tx, scope: SiteScope, products: &BTreeSet<ProductId>) -> Result<(), StoreError> {
    // The embedded database has one writer, and a lock on one product is in order by itself.
    if !tx.is_postgres() || products.len() < 2 {
        return Ok(());
    }
    row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::ProductId.is_in(products.iter().map(|product| product.uuid())))
        .order_by_asc(row::Column::ProductId)
        .order_by_asc(row::Column::LotId)
        .lock_exclusive()
        .all(&tx.0)
        .await?;
    Ok(())
}

/// What a site holds of some products, without what is used up.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_products(
    tx: &Tx,
    scope: SiteScope,
    products: &[ProductId],
) -> Result<Vec<Holding>, StoreError> {
    let rows = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::ProductId.is_in(products.iter().map(|product| product.uuid())))
        .filter(row::Column::Balance.gt(0))
        .order_by_asc(row::Column::LotId)
        .all(&tx.0)
        .await?;
    with_lots(tx, scope.in_business(), rows).await
}

/// What a site has or had of the lots that came in since a day, used up or not.
/// # Errors
/// When the database fails.
pub async fn received_since(tx: &Tx, scope: SiteScope, since: NaiveDate) -> Result<Vec<Holding>, StoreError> {
    let rows = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::ReceivedOn.gte(since))
        .all(&tx.0)
        .await?;
    with_lots(tx, scope.in_business(), rows).await
}

/// Whether any site still has something of a product or, if one is named, of a lot.
/// # Errors
/// When the database fails.
pub async fn anywhere(
    tx: &Tx,
    _business: BusinessScope,
    product: Option<ProductId>,
    lot: Option<LotId>,
) -> Result<bool, StoreError> {
    let mut rows = row::Entity::find().filter(row::Column::Balance.gt(0));
    if let Some(product) = product {
        rows = rows.filter(row::Column::ProductId.eq(product.uuid()));
    }
    if let Some(lot) = lot {
        rows = rows.filter(row::Column::LotId.eq(lot.uuid()));
    }
    Ok(rows.one(&tx.0).await?.is_some())
}

/// The sites that hold or held something of some lots.
/// # Errors
/// When the database fails.
pub async fn sites_of(
    tx: &Tx,
    _business: BusinessScope,
    lots: &BTreeSet<LotId>,
) -> Result<BTreeSet<SiteId>, StoreError> {
    let of_lots = row::Column::LotId.is_in(lots.iter().map(|lot| lot.uuid()));
    let rows = row::Entity::find().filter(of_lots).all(&tx.0).await?;
    Ok(rows.into_iter().map(|row| SiteId::new(row.site_id)).collect())
}

/// Whether a site still has something of any product.
/// # Errors
/// When the database fails.
pub async fn any_at(tx: &Tx, _business: BusinessScope, site: SiteId) -> Result<bool, StoreError> {
    let rows =
        row::Entity::find().filter(row::Column::SiteId.eq(site.uuid())).filter(row::Column::Balance.gt(0));
    Ok(rows.one(&tx.0).await?.is_some())
}

/// What every site holds of every lot, in thousandths.
/// # Errors
/// When the database fails.
pub(crate) async fn balances(tx: &Tx) -> Result<Vec<(Uuid, Uuid, i64)>, StoreError> {
    let columns = [row::Column::SiteId, row::Column::LotId, row::Column::Balance];
    Ok(row::Entity::find().select_only().columns(columns).into_tuple().all(&tx.0).await?)
}

/// Makes room for a lot at a site, if there is none yet.
/// # Errors
/// When the database fails.
pub async fn make(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
    lot: LotId,
    received_on: NaiveDate,
) -> Result<(), StoreError> {
    let fresh = row::ActiveModel {
        site_id: Set(scope.uuid()),
        product_id: Set(product.uuid()),
        lot_id: Set(lot.uuid()),
        received_on: Set(received_on),
        balance: Set(0),
    };
    row::Entity::insert(fresh)
        .on_conflict_do_nothing_on([row::Column::SiteId, row::Column::ProductId, row::Column::LotId])
        .exec(&tx.0)
        .await?;
    Ok(())
}

pub(crate) async fn change_balance(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
    lot: LotId,
    change: Amount,
) -> Result<(), StoreError> {
    let after = Expr::col(row::Column::Balance).add(change.thousandths());
    let changed = row::Entity::update_many()
        .col_expr(row::Column::Balance, after.clone())
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::ProductId.eq(product.uuid()))
        .filter(row::Column::LotId.eq(lot.uuid()))
        .filter(after.gte(0))
        .exec(&tx.0)
        .await?;
    if changed.rows_affected == 1 {
        return Ok(());
    }
    let what = format!("does not hold what a change of {} takes", change.thousandths());
    Err(BrokenRow { table: "holdings", id: lot.uuid(), what }.into())
}

async fn with_lots(
    tx: &Tx,
    business: BusinessScope,
    rows: Vec<row::Model>,
) -> Result<Vec<Holding>, StoreError> {
    let ids = rows.iter().map(|row| row.lot_id.into()).collect();
    let lots = records::find_many::<Lot>(tx, business, "id", ids).await?;
    let lots: BTreeMap<Uuid, Kept<Lot>> = lots.into_iter().map(|lot| (lot.id.uuid(), lot)).collect();
    let holding = |row: row::Model| {
        let lot = lots.get(&row.lot_id).cloned();
        let lot = lot.ok_or_else(|| BrokenRow {
            table: "holdings",
            id: row.lot_id,
            what: "its lot is not there".to_owned(),
        })?;
        let on_hand = OnHand {
            lot: Id::new(row.lot_id),
            held: Amount::from_thousandths(row.balance),
            expiry: lot.content.expiry,
            received_on: row.received_on,
            released: !lot.content.quarantined,
        };
        Ok(Holding { lot, on_hand })
    };
    rows.into_iter().map(holding).collect()
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "holdings")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub product_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub lot_id: Uuid,
        pub received_on: ChronoDate,
        pub balance: i64,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
