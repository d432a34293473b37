//! Slips: what one act entered into the ledger, once for each client id.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use fillmark_domain::people::PersonId;
use fillmark_domain::stock::{Entered, LotId, OrderId, ProductId, Slip, SlipId, SlipKind, Wanted};
use fillmark_domain::{Coded, Id};
use sea_orm::sea_query::{Expr, SelectStatement};
use sea_orm::{
    ColumnTrait, Condition, EntityTrait, QueryFilter, QueryOrder, QuerySelect, QueryTrait, Set,
    TryInsertResult,
};

use crate::columns::{self, Reading};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal, movements, preparations, rows, shortages};

/// What the journal calls them.
pub(crate) const WORD: &str = "slip";

/// What came of opening a slip.
#[derive(Debug, Clone)]
pub enum Opened {
    /// It is new; its movements are to be made.
    New(Slip),
    /// The same client made this one before, here.
    Before(Box<Entered>),
    /// The same client id was used at another site.
    Elsewhere,
}

/// Opens a slip, unless its client id has been used. Two at once with the same client id are one after the other.
/// # Errors
/// When the database fails.
pub async fn open(tx: &Tx, scope: SiteScope, stamp: &Stamp<'_>, says: &Wanted) -> Result<Opened, StoreError> {
    let slip = Slip { id: stamp.fresh(), says: says.clone(), entered_at: stamp.at, entered_by: stamp.by };
    let insert = row::Entity::insert(write(scope, &slip));
    match insert.on_conflict_do_nothing_on([row::Column::ClientId]).exec(&tx.0).await? {
        TryInsertResult::Inserted(_) => {
            journal::append(tx, scope, stamp, "entered", WORD, slip.id.uuid(), detail(says)).await?;
            Ok(Opened::New(slip))
        }
        _ => {
            let before = row::Entity::find()
                .filter(row::Column::SiteId.eq(scope.uuid()))
                .filter(row::Column::ClientId.eq(says.client_id))
                .one(&tx.0)
                .await?;
            match before {
                Some(before) => Ok(Opened::Before(Box::new(with_effects(tx, scope, read(before)?).await?))),
                None => Ok(Opened::Elsewhere),
            }
        }
    }
}

/// Enters the slips of what has a client id of its own.
/// # Errors
/// When the database fails.
pub async fn enter_all(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    slips: impl Iterator<Item = &Slip>,
) -> Result<(), StoreError> {
    let slips: Vec<&Slip> = slips.collect();
    rows::insert(tx, &slips.iter().map(|slip| write(scope, slip)).collect::<Vec<_>>()).await?;
    let told = slips.iter().map(|slip| (*stamp, slip.id.uuid(), detail(&slip.says)));
    journal::append_many(tx, scope, "entered", WORD, told).await
}

/// The slip with this id and what it did.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find(tx: &Tx, scope: SiteScope, id: SlipId) -> Result<Option<Entered>, StoreError> {
    let row = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::Id.eq(id.uuid()))
        .one(&tx.0)
        .await?;
    match row {
        Some(row) => Ok(Some(with_effects(tx, scope, read(row)?).await?)),
        None => Ok(None),
    }
}

/// The counts of a product that were made after an instant and stand.
/// # Errors
/// When the database fails or a row is broken.
pub async fn counts_after(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
    at: DateTime<Utc>,
) -> Result<Vec<Slip>, StoreError> {
    let rows = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::ProductId.eq(product.uuid()))
        // Written out, as the index of counts has it: PostgreSQL would not use it for a kind named at run time.
        .filter(Expr::cust("kind = 'count'"))
        .filter(row::Column::DoneAt.gt(at))
        .filter(row::Column::Id.not_in_subquery(taken_back(scope)))
        .order_by_asc(row::Column::DoneAt)
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// A page of a site's counts.
/// # Errors
/// When the database fails or a row is broken.
pub async fn counts(tx: &Tx, scope: SiteScope, query: &PageQuery) -> Result<Page<Slip>, StoreError> {
    let counts = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        // Written out, as the index of counts has it.
        .filter(Expr::cust("kind = 'count'"));
    let page = page_of(tx, counts, query).await?;
    let items = page.items.into_iter().map(read).collect::<Result<_, _>>()?;
    Ok(Page { items, next: page.next })
}

/// Those of some slips that are taken back, in whole or for one lot.
/// # Errors
/// When the database fails.
pub async fn taken_back_of(
    tx: &Tx,
    scope: SiteScope,
    slips: &[SlipId],
) -> Result<BTreeSet<SlipId>, StoreError> {
    let back = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::ReversesSlipId.is_in(slips.iter().map(|slip| slip.uuid())));
    let rows = back.all(&tx.0).await?;
    Ok(rows.into_iter().filter_map(|row| row.reverses_slip_id.map(Id::new)).collect())
}

/// The receipts of a lot in a span of time, both ends included, as far as they stand.
/// # Errors
/// When the database fails or a row is broken.
pub async fn receipts_of_lot(
    tx: &Tx,
    scope: SiteScope,
    lot: LotId,
    span: (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<Slip>, StoreError> {
    let rows = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::Id.in_subquery(movements::slips_of_receipts(scope, lot, span)))
        .filter(row::Column::Id.not_in_subquery(taken_back(scope)))
        .order_by_asc(row::Column::DoneAt)
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// Whether another slip than this one takes a slip back, in whole or for one lot.
/// # Errors
/// When the database fails.
pub async fn is_taken_back(tx: &Tx, scope: SiteScope, slip: SlipId, by: SlipId) -> Result<bool, StoreError> {
    let back = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::ReversesSlipId.eq(slip.uuid()))
        .filter(row::Column::Id.ne(by.uuid()));
    Ok(back.one(&tx.0).await?.is_some())
}

fn taken_back(scope: SiteScope) -> SelectStatement {
    row::Entity::find()
        .select_only()
        .column(row::Column::ReversesSlipId)
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::ReversesSlipId.is_not_null())
        .into_query()
}

/// The ids of slips that tell a count at an instant what it had found: what was done before it, or is taken back.
pub(crate) fn telling_of_before(scope: SiteScope, at: DateTime<Utc>) -> SelectStatement {
    let is_reversal = row::Column::Kind.eq(SlipKind::Reversal.code());
    row::Entity::find()
        .select_only()
        .column(row::Column::Id)
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(Condition::any().add(row::Column::DoneAt.lt(at)).add(is_reversal))
        .into_query()
}

/// What was taken out of the store since an instant other than into a tank.
pub(crate) fn taking_out(scope: SiteScope, from: DateTime<Utc>) -> SelectStatement {
    row::Entity::find()
        .select_only()
        .column(row::Column::Id)
        .filter(row::Column::SiteId.eq(scope.uuid()))
        // Written out, as their index has it.
        .filter(Expr::cust("kind in ('issue', 'preparation')"))
        .filter(row::Column::DoneAt.gte(from))
        .into_query()
}

async fn with_effects(tx: &Tx, scope: SiteScope, slip: Slip) -> Result<Entered, StoreError> {
    let movements = movements::of_slip(tx, scope, slip.id).await?;
    let short = shortages::of_slip(tx, scope, slip.id).await?.map(|shortage| shortage.amount);
    let strength = preparations::strength(tx, scope, slip.id).await?;
    Ok(Entered { slip, movements, short: short.unwrap_or_default(), strength })
}

fn write(scope: SiteScope, slip: &Slip) -> row::ActiveModel {
    let says = &slip.says;
    row::ActiveModel {
        site_id: Set(scope.uuid()),
        id: Set(slip.id.uuid()),
        client_id: Set(says.client_id),
        kind: Set(columns::code(says.kind)),
        product_id: Set(says.product.uuid()),
        lot_id: Set(says.lot.map(Id::uuid)),
        base: Set(columns::code(says.base)),
        amount: Set(says.amount.thousandths()),
        done_at: Set(says.done_at),
        reason: Set(says.reason.clone()),
        order_id: Set(says.order.map(OrderId::uuid)),
        other_site_id: Set(says.other_site.map(Id::uuid)),
        reverses_slip_id: Set(says.reverses.map(Id::uuid)),
        entered_at: Set(slip.entered_at),
        entered_by: Set(slip.entered_by.map(PersonId::uuid)),
    }
}

fn read(row: row::Model) -> Result<Slip, BrokenRow> {
    let reading = Reading { table: "slips", id: row.id };
    Ok(Slip {
        id: Id::new(row.id),
        says: Wanted {
            client_id: row.client_id,
            kind: reading.code(&row.kind)?,
            product: Id::new(row.product_id),
            lot: row.lot_id.map(Id::new),
            base: reading.code(&row.base)?,
            amount: fillmark_domain::Amount::from_thousandths(row.amount),
            done_at: row.done_at,
            reason: row.reason,
            order: row.order_id.map(Id::new),
            other_site: row.other_site_id.map(Id::new),
            reverses: row.reverses_slip_id.map(Id::new),
        },
        entered_at: row.entered_at,
        entered_by: row.entered_by.map(PersonId::new),
    })
}

fn detail(says: &Wanted) -> sea_orm::JsonValue {
    serde_json::json!({
        "kind": columns::code(says.kind),
        "product_id": says.product.uuid(),
        "lot_id": says.lot.map(Id::uuid),
        "amount": says.amount.thousandths(),
        "done_at": says.done_at,
        "reason": says.reason,
        "order_id": says.order.map(Id::uuid),
        "other_site_id": says.other_site.map(Id::<fillmark_domain::places::Site>::uuid),
        "reverses_slip_id": says.reverses.map(Id::uuid),
    })
}

impl row::Model {
    /// What the journal was told of it when it was entered, if it is what it was then.
    pub(crate) fn detail(&self) -> sea_orm::JsonValue {
        serde_json::json!({
            "kind": self.kind,
            "product_id": self.product_id,
            "lot_id": self.lot_id,
            "amount": self.amount,
            "done_at": self.done_at,
            "reason": self.reason,
            "order_id": self.order_id,
            "other_site_id": self.other_site_id,
            "reverses_slip_id": self.reverses_slip_id,
        })
    }
}

pub(crate) mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "slips")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub client_id: Option<Uuid>,
        pub kind: String,
        pub product_id: Uuid,
        pub lot_id: Option<Uuid>,
        pub base: String,
        pub amount: i64,
        pub done_at: ChronoDateTimeUtc,
        pub reason: Option<String>,
        pub order_id: Option<Uuid>,
        pub other_site_id: Option<Uuid>,
        pub reverses_slip_id: Option<Uuid>,
        pub entered_at: ChronoDateTimeUtc,
        pub entered_by: Option<Uuid>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
