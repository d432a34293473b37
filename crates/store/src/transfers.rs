//! Transfers: what is on its way between two sites. The one table that two sites share a row of.

use std::collections::BTreeSet;

use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{LotId, SlipId, Transfer};
use fillmark_domain::{Amount, Id};
use sea_orm::sea_query::Expr;
use sea_orm::{ColumnTrait, Condition, EntityTrait, QueryFilter, QuerySelect, Set};

use crate::columns::{self, Reading};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, BusinessScope, SiteScope, Stamp, StoreError, Tx, journal, movements};

/// Enters a transfer that has left.
/// # Errors
/// When the database fails.
pub async fn send(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    transfer: &Transfer,
) -> Result<(), StoreError> {
    let row = row::ActiveModel {
        id: Set(transfer.id.uuid()),
        from_site_id: Set(scope.uuid()),
        to_site_id: Set(transfer.to.uuid()),
        product_id: Set(transfer.product.uuid()),
        base: Set(columns::code(transfer.base)),
        amount: Set(transfer.amount.thousandths()),
        out_slip_id: Set(transfer.out.uuid()),
        sent_at: Set(transfer.sent_at),
        in_slip_id: Set(None),
        arrived_at: Set(None),
        back_slip_id: Set(None),
        taken_back_at: Set(None),
    };
    row::Entity::insert(row).exec_without_returning(&tx.0).await?;
    journal::note(tx, scope, stamp, "sent", "transfer", transfer.id.uuid()).await
}

/// Enters that a transfer has arrived.
/// # Errors
/// When the database fails.
pub async fn arrive(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    id: Id<Transfer>,
    slip: SlipId,
    at: chrono::DateTime<chrono::Utc>,
) -> Result<(), StoreError> {
    row::Entity::update_many()
        .col_expr(row::Column::InSlipId, Expr::value(slip.uuid()))
        .col_expr(row::Column::ArrivedAt, Expr::value(at))
        .filter(row::Column::Id.eq(id.uuid()))
        .filter(row::Column::ToSiteId.eq(scope.uuid()))
        .exec(&tx.0)
        .await?;
    journal::note(tx, scope, stamp, "arrived", "transfer", id.uuid()).await
}

/// Enters that a transfer was taken back before it arrived.
/// # Errors
/// When the database fails.
pub async fn take_back(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    id: Id<Transfer>,
    slip: SlipId,
    at: chrono::DateTime<chrono::Utc>,
) -> Result<(), StoreError> {
    row::Entity::update_many()
        .col_expr(row::Column::BackSlipId, Expr::value(slip.uuid()))
        .col_expr(row::Column::TakenBackAt, Expr::value(at))
        .filter(row::Column::Id.eq(id.uuid()))
        .filter(row::Column::FromSiteId.eq(scope.uuid()))
        .exec(&tx.0)
        .await?;
    journal::note(tx, scope, stamp, "taken back", "transfer", id.uuid()).await
}

/// Whether something is on its way from or to a site.
/// # Errors
/// When the database fails.
pub async fn any_in_transit(tx: &Tx, _business: BusinessScope, site: SiteId) -> Result<bool, StoreError> {
    let on_the_way = Condition::any()
        .add(row::Column::FromSiteId.eq(site.uuid()))
        .add(row::Column::ToSiteId.eq(site.uuid()));
    Ok(in_transit().filter(on_the_way).one(&tx.0).await?.is_some())
}

/// What is on its way to a site.
/// # Errors
/// When the database fails or a row is broken.
pub async fn coming_to(tx: &Tx, scope: SiteScope) -> Result<Vec<Transfer>, StoreError> {
    let rows = in_transit().filter(row::Column::ToSiteId.eq(scope.uuid())).all(&tx.0).await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// The sites that something of some lots is on its way to.
/// # Errors
/// When the database fails.
pub async fn bound_for(
    tx: &Tx,
    _business: BusinessScope,
    lots: &BTreeSet<LotId>,
) -> Result<BTreeSet<SiteId>, StoreError> {
    let rows = in_transit().filter(row::Column::OutSlipId.in_subquery(movements::slips_of(lots))).all(&tx.0);
    Ok(rows.await?.into_iter().map(|row| SiteId::new(row.to_site_id)).collect())
}

fn in_transit() -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::ArrivedAt.is_null()).filter(row::Column::TakenBackAt.is_null())
}

/// A transfer from or to a site.
/// # Errors
/// When the database fails or the row is broken.
pub async fn find(tx: &Tx, scope: SiteScope, id: Id<Transfer>) -> Result<Option<Transfer>, StoreError> {
    let row = of_site(scope).filter(row::Column::Id.eq(id.uuid())).one(&tx.0).await?;
    Ok(row.map(read).transpose()?)
}

/// A transfer to a site, held until the transaction ends against others who would take it in.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock_arriving(
    tx: &Tx,
    scope: SiteScope,
    id: Id<Transfer>,
) -> Result<Option<Transfer>, StoreError> {
    let row = row::Entity::find()
        .filter(row::Column::Id.eq(id.uuid()))
        .filter(row::Column::ToSiteId.eq(scope.uuid()))
        .lock_exclusive()
        .one(&tx.0)
        .await?;
    Ok(row.map(read).transpose()?)
}

/// The transfer that left on a slip.
/// # Errors
/// When the database fails or the row is broken.
pub async fn of_slip(tx: &Tx, scope: SiteScope, slip: SlipId) -> Result<Option<Transfer>, StoreError> {
    let row = row::Entity::find()
        .filter(row::Column::FromSiteId.eq(scope.uuid()))
        .filter(row::Column::OutSlipId.eq(slip.uuid()))
        .one(&tx.0)
        .await?;
    Ok(row.map(read).transpose()?)
}

/// The same, held until the transaction ends against others who would take it in.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock_of_slip(tx: &Tx, scope: SiteScope, slip: SlipId) -> Result<Option<Transfer>, StoreError> {
    let row = row::Entity::find()
        .filter(row::Column::FromSiteId.eq(scope.uuid()))
        .filter(row::Column::OutSlipId.eq(slip.uuid()))
        .lock_exclusive()
        .one(&tx.0)
        .await?;
    Ok(row.map(read).transpose()?)
}

/// A page of the transfers from and to a site.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, scope: SiteScope, query: &PageQuery) -> Result<Page<Transfer>, StoreError> {
    let page = page_of(tx, of_site(scope), query).await?;
    let items = page.items.into_iter().map(read).collect::<Result<_, _>>()?;
    Ok(Page { items, next: page.next })
}

fn of_site(scope: SiteScope) -> sea_orm::Select<row::Entity> {
    let here = Condition::any()
        .add(row::Column::FromSiteId.eq(scope.uuid()))
        .add(row::Column::ToSiteId.eq(scope.uuid()));
    row::Entity::find().filter(here)
}

fn read(row: row::Model) -> Result<Transfer, BrokenRow> {
    Ok(Transfer {
        id: Id::new(row.id),
        from: Id::new(row.from_site_id),
        to: Id::new(row.to_site_id),
        product: Id::new(row.product_id),
        base: Reading { table: "transfers", id: row.id }.code(&row.base)?,
        amount: Amount::from_thousandths(row.amount),
        out: Id::new(row.out_slip_id),
        sent_at: row.sent_at,
        arrived: row.in_slip_id.map(Id::new).zip(row.arrived_at),
        taken_back: row.back_slip_id.map(Id::new).zip(row.taken_back_at),
    })
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "transfers")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub from_site_id: Uuid,
        pub to_site_id: Uuid,
        pub product_id: Uuid,
        pub base: String,
        pub amount: i64,
        pub out_slip_id: Uuid,
        pub sent_at: ChronoDateTimeUtc,
        pub in_slip_id: Option<Uuid>,
        pub arrived_at: Option<ChronoDateTimeUtc>,
        pub back_slip_id: Option<Uuid>,
        pub taken_back_at: Option<ChronoDateTimeUtc>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
