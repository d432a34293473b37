//! Shortages: what was poured though no lot of the record held it.

use fillmark_domain::stock::{ProductId, Settles, Shortage, ShortageState, Slip, SlipId};
use fillmark_domain::{Amount, Coded, Id};
use sea_orm::sea_query::{Expr, ExprTrait};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, Set};

use crate::columns::{self, Reading};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx};

/// Enters what a slip poured beyond what was held.
/// # Errors
/// When the database fails.
pub async fn record(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    slip: &Slip,
    short: Amount,
) -> Result<(), StoreError> {
    let row = row::ActiveModel {
        site_id: Set(scope.uuid()),
        id: Set(stamp.fresh::<Shortage>().uuid()),
        slip_id: Set(slip.id.uuid()),
        product_id: Set(slip.says.product.uuid()),
        base: Set(columns::code(slip.says.base)),
        amount: Set(short.thousandths()),
        poured_at: Set(slip.says.done_at),
        state: Set(columns::code(ShortageState::Open)),
        settled_by_id: Set(None),
    };
    row::Entity::insert(row).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// Ends the open shortages of a product that a count or receipt settles.
/// # Errors
/// When the database fails.
pub async fn settle(tx: &Tx, scope: SiteScope, by: &Slip) -> Result<(), StoreError> {
    let of_product = row::Column::ProductId.eq(by.says.product.uuid());
    let settled = match by.says.settles() {
        Settles::Nothing => return Ok(()),
        Settles::PouredUntil(at) => of_product.and(row::Column::PouredAt.lte(at)),
        Settles::All => of_product,
    };
    end(tx, scope, settled, by.id, ShortageState::Settled).await
}

/// Takes back the shortage of a slip, with what it poured.
/// # Errors
/// When the database fails.
pub async fn withdraw(tx: &Tx, scope: SiteScope, slip: SlipId, by: SlipId) -> Result<(), StoreError> {
    end(tx, scope, row::Column::SlipId.eq(slip.uuid()), by, ShortageState::Withdrawn).await
}

async fn end(
    tx: &Tx,
    scope: SiteScope,
    which: sea_orm::sea_query::SimpleExpr,
    by: SlipId,
    state: ShortageState,
) -> Result<(), StoreError> {
    let mut ended = row::Entity::update_many()
        .col_expr(row::Column::State, Expr::value(state.code()))
        .col_expr(row::Column::SettledById, Expr::value(by.uuid()))
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(which);
    // What was settled may still be taken back, since then it was never poured.
    if state == ShortageState::Settled {
        ended = ended.filter(row::Column::State.eq(ShortageState::Open.code()));
    }
    ended.exec(&tx.0).await?;
    Ok(())
}

/// The shortage of a slip.
/// # Errors
/// When the database fails or the row is broken.
pub async fn of_slip(tx: &Tx, scope: SiteScope, slip: SlipId) -> Result<Option<Shortage>, StoreError> {
    let row = of_site(scope).filter(row::Column::SlipId.eq(slip.uuid())).one(&tx.0).await?;
    Ok(row.map(read).transpose()?)
}

/// The shortages that a slip settled.
/// # Errors
/// When the database fails or a row is broken.
pub async fn settled_by(tx: &Tx, scope: SiteScope, slip: SlipId) -> Result<Vec<Shortage>, StoreError> {
    let rows = of_site(scope)
        .filter(row::Column::SettledById.eq(slip.uuid()))
        .filter(row::Column::State.eq(ShortageState::Settled.code()))
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// The open shortages of some products.
/// # Errors
/// When the database fails or a row is broken.
pub async fn open_of(tx: &Tx, scope: SiteScope, products: &[ProductId]) -> Result<Vec<Shortage>, StoreError> {
    let rows = of_site(scope)
        .filter(row::Column::ProductId.is_in(products.iter().map(|product| product.uuid())))
        .filter(row::Column::State.eq(ShortageState::Open.code()))
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// A page of a site's shortages.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, scope: SiteScope, query: &PageQuery) -> Result<Page<Shortage>, StoreError> {
    let page = page_of(tx, of_site(scope), query).await?;
    let items = page.items.into_iter().map(read).collect::<Result<_, _>>()?;
    Ok(Page { items, next: page.next })
}

fn of_site(scope: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(scope.uuid()))
}

fn read(row: row::Model) -> Result<Shortage, BrokenRow> {
    let reading = Reading { table: "shortages", id: row.id };
    Ok(Shortage {
        id: Id::new(row.id),
        slip: Id::new(row.slip_id),
        product: Id::new(row.product_id),
        base: reading.code(&row.base)?,
        amount: Amount::from_thousandths(row.amount),
        poured_at: row.poured_at,
        state: reading.code(&row.state)?,
        settled_by: row.settled_by_id.map(Id::new),
    })
}

pub(crate) mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "shortages")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub slip_id: Uuid,
        pub product_id: Uuid,
        pub base: String,
        pub amount: i64,
        pub poured_at: ChronoDateTimeUtc,
        pub state: String,
        pub settled_by_id: Option<Uuid>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
