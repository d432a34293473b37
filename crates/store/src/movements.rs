//! Movements: the ledger. Rows are only ever added, and each moves the balance of its holding.

mod standing;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use fillmark_domain::stock::{
    Drawn, Found, LotId, Movement, MovementKind, ProductId, Slip, SlipId, Transfer,
};
use fillmark_domain::{Amount, Base, Coded, Id};
use sea_orm::sea_query::{Expr, SelectStatement};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, QueryTrait, Set};

use uuid::Uuid;

pub(crate) use standing::of_preparations;
pub use standing::{counted_changes, found_at, losses_since, reversed_of, taken_between, taken_out_since};

use crate::columns::{self, Reading};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, holdings, rows};

/// What a slip does to the lots of one product.
pub struct Moved<'a> {
    /// Of which product, and what it is counted in.
    pub product: (ProductId, Base),
    /// Why.
    pub kind: MovementKind,
    /// By how much each lot changes.
    pub changes: &'a [(LotId, Amount)],
    /// What later counts had found of it.
    pub found: &'a [Found],
}

/// Enters what a slip does, and that later counts had found a part of it, and moves the balances with them.
/// # Errors
/// When the database fails, or a balance would fall below nothing, which the lock on the holdings prevents.
pub async fn record(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    slip: &Slip,
    Moved { product, kind, changes, found }: Moved<'_>,
) -> Result<(), StoreError> {
    let change = |(lot, change): &(LotId, Amount)| moved(stamp, slip, product, kind, *lot, *change);
    let movements = changes.iter().map(change).chain(found_since(stamp, slip, product, found)).collect();
    append(tx, scope, movements).await
}

/// Enters what each of several slips drew from lots, and that later counts had found a part of it.
/// # Errors
/// See [`record`].
pub async fn record_drawn(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    drawn: &[(Slip, Drawn)],
) -> Result<(), StoreError> {
    let drawn_on = |(slip, drawn): &(Slip, Drawn)| {
        let product = (slip.says.product, slip.says.base);
        let taken =
            |(lot, taken): &(LotId, Amount)| moved(stamp, slip, product, MovementKind::Issue, *lot, -*taken);
        drawn
            .takes
            .iter()
            .map(taken)
            .chain(found_since(stamp, slip, product, &drawn.found))
            .collect::<Vec<_>>()
    };
    append(tx, scope, drawn.iter().flat_map(drawn_on).collect()).await
}

/// What later counts had found of a slip, each as a change of that count.
fn found_since(
    stamp: &Stamp<'_>,
    slip: &Slip,
    product: (ProductId, Base),
    found: &[Found],
) -> impl Iterator<Item = Movement> {
    found.iter().map(move |found| Movement {
        done_at: found.counted_at,
        ..moved(stamp, slip, product, MovementKind::CountAdjustment, found.lot, found.amount)
    })
}

/// Enters the opposites of a product's movements, linked to them, and what counts made since had found of that.
/// # Errors
/// [`StoreError::Taken`] when one has been taken back before; see [`record`].
pub async fn reverse(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    slip: &Slip,
    (product, movements): ((ProductId, Base), &[Movement]),
    found: &[Found],
) -> Result<(), StoreError> {
    let opposite = |movement: &Movement| Movement {
        id: stamp.fresh(),
        slip: slip.id,
        change: -movement.change,
        done_at: slip.says.done_at,
        reverses: Some(movement.id),
        ..movement.clone()
    };
    let opposites = movements.iter().map(opposite).chain(found_since(stamp, slip, product, found));
    append(tx, scope, opposites.collect()).await
}

async fn append(tx: &Tx, scope: SiteScope, movements: Vec<Movement>) -> Result<(), StoreError> {
    let mut changes: BTreeMap<(ProductId, LotId), Amount> = BTreeMap::new();
    for movement in &movements {
        let change = changes.entry((movement.product, movement.lot)).or_default();
        *change = *change + movement.change;
    }
    for ((product, lot), change) in changes.into_iter().filter(|(_, change)| *change != Amount::ZERO) {
        holdings::change_balance(tx, scope, product, lot, change).await?;
    }
    rows::insert(tx, &movements.iter().map(|movement| write(scope, movement)).collect::<Vec<_>>()).await
}

fn moved(
    stamp: &Stamp<'_>,
    slip: &Slip,
    (product, base): (ProductId, Base),
    kind: MovementKind,
    lot: LotId,
    change: Amount,
) -> Movement {
    Movement {
        id: stamp.fresh(),
        slip: slip.id,
        product,
        lot,
        kind,
        base,
        change,
        done_at: slip.says.done_at,
        reverses: None,
    }
}

/// The movement with this id.
/// # Errors
/// When the database fails or the row is broken.
pub async fn find(tx: &Tx, scope: SiteScope, id: Id<Movement>) -> Result<Option<Movement>, StoreError> {
    let row = of_site(scope).filter(row::Column::Id.eq(id.uuid())).one(&tx.0).await?;
    Ok(row.map(read).transpose()?)
}

/// The movements of a slip, in the order they were made.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_slip(tx: &Tx, scope: SiteScope, slip: SlipId) -> Result<Vec<Movement>, StoreError> {
    let rows = of_site(scope)
        .filter(row::Column::SlipId.eq(slip.uuid()))
        .order_by_asc(row::Column::Id)
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// The slips that moved some of these lots.
pub(crate) fn slips_of(lots: &BTreeSet<LotId>) -> SelectStatement {
    row::Entity::find()
        .select_only()
        .column(row::Column::SlipId)
        .filter(row::Column::LotId.is_in(lots.iter().map(|lot| lot.uuid())))
        .into_query()
}

/// When one of some lots was first moved at a site, whoever entered it when.
/// # Errors
/// When the database fails.
pub async fn first_of_lots(
    tx: &Tx,
    scope: SiteScope,
    lots: &BTreeSet<LotId>,
) -> Result<Option<DateTime<Utc>>, StoreError> {
    let first = of_site(scope)
        .filter(row::Column::LotId.is_in(lots.iter().map(|lot| lot.uuid())))
        .order_by_asc(row::Column::DoneAt)
        .one(&tx.0)
        .await?;
    Ok(first.map(|row| row.done_at))
}

/// What left the site that a transfer comes from, for the site that it comes to; nothing for any other.
/// # Errors
/// When the database fails or a row is broken.
pub async fn sent_here(tx: &Tx, scope: SiteScope, transfer: &Transfer) -> Result<Vec<Movement>, StoreError> {
    let rows = row::Entity::find()
        .filter(row::Column::SiteId.eq(transfer.from.uuid()))
        .filter(row::Column::SlipId.eq(transfer.out.uuid()))
        .filter(row::Column::Kind.eq(MovementKind::TransferOut.code()))
        .order_by_asc(row::Column::Id);
    let rows = if transfer.to == scope.id() { rows.all(&tx.0).await? } else { Vec::new() };
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// The movements of several slips.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_slips(tx: &Tx, scope: SiteScope, slips: &[SlipId]) -> Result<Vec<Movement>, StoreError> {
    let ids = slips.iter().map(|slip| slip.uuid());
    let rows = of_site(scope).filter(row::Column::SlipId.is_in(ids)).all(&tx.0).await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// The movements of lots that were done after an instant.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_lots_after(
    tx: &Tx,
    scope: SiteScope,
    lots: &[LotId],
    at: DateTime<Utc>,
) -> Result<Vec<Movement>, StoreError> {
    let rows = of_site(scope)
        .filter(row::Column::LotId.is_in(lots.iter().map(|lot| lot.uuid())))
        .filter(row::Column::DoneAt.gt(at))
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// Those of some lots of which anything was done by an instant.
/// # Errors
/// When the database fails.
pub async fn lots_moved_by(
    tx: &Tx,
    scope: SiteScope,
    lots: &[LotId],
    at: DateTime<Utc>,
) -> Result<Vec<LotId>, StoreError> {
    let moved = of_site(scope)
        .select_only()
        .column(row::Column::LotId)
        .distinct()
        .filter(row::Column::LotId.is_in(lots.iter().map(|lot| lot.uuid())))
        .filter(row::Column::DoneAt.lte(at));
    let moved: Vec<Uuid> = moved.into_tuple().all(&tx.0).await?;
    Ok(moved.into_iter().map(Id::new).collect())
}

/// The slips on which some of a lot came in, in a span of time.
pub(crate) fn slips_of_receipts(
    scope: SiteScope,
    lot: LotId,
    (from, until): (DateTime<Utc>, DateTime<Utc>),
) -> SelectStatement {
    of_site(scope)
        .select_only()
        .column(row::Column::SlipId)
        .filter(row::Column::LotId.eq(lot.uuid()))
        .filter(row::Column::Kind.eq(MovementKind::Receipt.code()))
        .filter(row::Column::DoneAt.between(from, until))
        .into_query()
}

/// How much moved of a product after an instant, in and out added up.
/// # Errors
/// When the database fails.
pub async fn moved_after(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
    at: DateTime<Utc>,
) -> Result<Amount, StoreError> {
    // A sum of whole numbers is a decimal number to PostgreSQL unless it is told otherwise.
    let sum = Expr::cust(r#"CAST(COALESCE(SUM(ABS("change")), 0) AS BIGINT)"#);
    let thousandths: Option<i64> = of_site(scope)
        .select_only()
        .column_as(sum, "moved")
        .filter(row::Column::ProductId.eq(product.uuid()))
        .filter(row::Column::DoneAt.gt(at))
        .into_tuple()
        .one(&tx.0)
        .await?;
    Ok(Amount::from_thousandths(thousandths.unwrap_or(0)))
}

/// A page of a site's movements.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, scope: SiteScope, query: &PageQuery) -> Result<Page<Movement>, StoreError> {
    let page = page_of(tx, of_site(scope), query).await?;
    let items = page.items.into_iter().map(read).collect::<Result<_, _>>()?;
    Ok(Page { items, next: page.next })
}

fn of_site(scope: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(scope.uuid()))
}

fn write(scope: SiteScope, movement: &Movement) -> row::ActiveModel {
    row::ActiveModel {
        site_id: Set(scope.uuid()),
        id: Set(movement.id.uuid()),
        slip_id: Set(movement.slip.uuid()),
        product_id: Set(movement.product.uuid()),
        lot_id: Set(movement.lot.uuid()),
        kind: Set(columns::code(movement.kind)),
        base: Set(columns::code(movement.base)),
        change: Set(movement.change.thousandths()),
        done_at: Set(movement.done_at),
        reverses_id: Set(movement.reverses.map(Id::uuid)),
    }
}

fn read(row: row::Model) -> Result<Movement, BrokenRow> {
    let reading = Reading { table: "movements", id: row.id };
    Ok(Movement {
        id: Id::new(row.id),
        slip: Id::new(row.slip_id),
        product: Id::new(row.product_id),
        lot: Id::new(row.lot_id),
        kind: reading.code(&row.kind)?,
        base: reading.code(&row.base)?,
        change: Amount::from_thousandths(row.change),
        done_at: row.done_at,
        reverses: row.reverses_id.map(Id::new),
    })
}

pub(crate) mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "movements")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub slip_id: Uuid,
        pub product_id: Uuid,
        pub lot_id: Uuid,
        pub kind: String,
        pub base: String,
        pub change: i64,
        pub done_at: ChronoDateTimeUtc,
        pub reverses_id: Option<Uuid>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
