//! Orders. Their lines keep what an offer said when the order was made: offers change, what was agreed does not.

use chrono::NaiveDate;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{Approval, Order, OrderLine, OrderState, ProductId, Received};
use fillmark_domain::{Amount, Currency, Id, Kept, Money};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QuerySelect, Set};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::columns::{self, Reading, Row, table};
use crate::{BrokenRow, BusinessScope, Record, SiteScope, StoreError, Tx};

table!(site "orders" {
    supplier_id: Uuid,
    state: String,
    lines: Json,
    placed_on: Option<ChronoDate>,
    expected_on: Option<ChronoDate>,
    cancelled_on: Option<ChronoDate>,
    received: Json,
    approved_by: Option<Uuid>,
    approved_at: Option<ChronoDateTimeUtc>,
});

impl Record for Order {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "order";
    const NARROWED_BY: &'static [&'static str] = &["supplier_id"];

    fn columns(&self) -> row::ActiveModel {
        let (placed_on, expected_on, cancelled_on, received) = match &self.state {
            OrderState::Draft => (None, None, None, &[][..]),
            OrderState::Placed { on, expected_on } => (Some(*on), Some(*expected_on), None, &[][..]),
            OrderState::PartReceived { placed_on, expected_on, received }
            | OrderState::Received { placed_on, expected_on, received } => {
                (Some(*placed_on), Some(*expected_on), None, received.as_slice())
            }
            OrderState::Cancelled { placed_on, on } => (*placed_on, None, Some(*on), &[][..]),
        };
        row::ActiveModel {
            supplier_id: Set(self.supplier.uuid()),
            state: Set(self.state.code().to_owned()),
            lines: Set(columns::list(self.lines.iter().map(LineColumn::write))),
            placed_on: Set(placed_on),
            expected_on: Set(expected_on),
            cancelled_on: Set(cancelled_on),
            approved_by: Set(self.approved.and_then(|approval| approval.by).map(Id::uuid)),
            approved_at: Set(self.approved.map(|approval| approval.at)),
            received: Set(columns::list(
                received.iter().map(|came| (came.product.uuid(), came.amount.thousandths(), came.on)),
            )),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Order>, BrokenRow> {
        let read = row.reading();
        let lines: Vec<LineColumn> = read.list(row.lines.clone())?;
        let content = Order {
            supplier: Id::new(row.supplier_id),
            lines: lines.into_iter().map(|line| line.read(read)).collect::<Result<_, _>>()?,
            approved: row.approved_at.map(|at| Approval { by: row.approved_by.map(Id::new), at }),
            state: state(&row)?,
        };
        Ok(row.kept(content))
    }
}

fn state(row: &row::Model) -> Result<OrderState, BrokenRow> {
    let read = row.reading();
    let came = |(product, thousandths, on): (Uuid, i64, NaiveDate)| Received {
        product: Id::new(product),
        amount: Amount::from_thousandths(thousandths),
        on,
    };
    let received = read.list(row.received.clone())?.into_iter().map(came).collect();
    let day = |day: Option<NaiveDate>| day.ok_or_else(|| read.broken("a date of its state is missing"));
    Ok(match row.state.as_str() {
        "draft" => OrderState::Draft,
        "placed" => OrderState::Placed { on: day(row.placed_on)?, expected_on: day(row.expected_on)? },
        "part_received" => OrderState::PartReceived {
            placed_on: day(row.placed_on)?,
            expected_on: day(row.expected_on)?,
            received,
        },
        "received" => OrderState::Received {
            placed_on: day(row.placed_on)?,
            expected_on: day(row.expected_on)?,
            received,
        },
        "cancelled" => OrderState::Cancelled { placed_on: row.placed_on, on: day(row.cancelled_on)? },
        other => return Err(read.broken(format!("{other} is no state of an order"))),
    })
}

#[derive(Serialize, Deserialize)]
struct LineColumn {
    product_id: Uuid,
    offer_id: Uuid,
    packs: u32,
    pack: i64,
    base: String,
    price_minor: i64,
    currency: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    why: Option<String>,
}

impl LineColumn {
    fn write(line: &OrderLine) -> Self {
        Self {
            product_id: line.product.uuid(),
            offer_id: line.offer.uuid(),
            packs: line.packs,
            pack: line.pack.thousandths(),
            base: columns::code(line.base),
            price_minor: line.price.minor,
            currency: line.price.currency.code(),
            why: line.why.clone(),
        }
    }

    fn read(self, row: Reading) -> Result<OrderLine, BrokenRow> {
        let currency =
            Currency::from_code(&self.currency).ok_or_else(|| row.broken("currency cannot be read"))?;
        Ok(OrderLine {
            product: Id::new(self.product_id),
            offer: Id::new(self.offer_id),
            packs: self.packs,
            pack: Amount::from_thousandths(self.pack),
            base: row.code(&self.base)?,
            price: Money::new(self.price_minor, currency),
            why: self.why,
        })
    }
}

/// An order, held until the transaction ends against others who would change it.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock(tx: &Tx, scope: SiteScope, id: Id<Order>) -> Result<Option<Kept<Order>>, StoreError> {
    let row = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::Id.eq(id.uuid()))
        .lock_exclusive()
        .one(&tx.0)
        .await?;
    Ok(row.map(Order::read).transpose()?)
}

/// The orders of a site that are drafts or on their way.
/// # Errors
/// When the database fails or a row is broken.
pub async fn open(tx: &Tx, scope: SiteScope) -> Result<Vec<Kept<Order>>, StoreError> {
    let rows = open_rows().filter(row::Column::SiteId.eq(scope.uuid())).all(&tx.0).await?;
    Ok(rows.into_iter().map(Order::read).collect::<Result<_, _>>()?)
}

/// Whether an open order of any site names a product.
/// # Errors
/// When the database fails or a row is broken.
pub async fn name_product(tx: &Tx, _scope: BusinessScope, product: ProductId) -> Result<bool, StoreError> {
    for row in open_rows().all(&tx.0).await? {
        if Order::read(row)?.content.lines.iter().any(|line| line.product == product) {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Whether an open order of any site goes to a supplier.
/// # Errors
/// When the database fails.
pub async fn name_supplier(tx: &Tx, _scope: BusinessScope, supplier: Uuid) -> Result<bool, StoreError> {
    Ok(open_rows().filter(row::Column::SupplierId.eq(supplier)).one(&tx.0).await?.is_some())
}

/// Whether a site has an open order.
/// # Errors
/// When the database fails.
pub async fn any_at(tx: &Tx, _scope: BusinessScope, site: SiteId) -> Result<bool, StoreError> {
    Ok(open_rows().filter(row::Column::SiteId.eq(site.uuid())).one(&tx.0).await?.is_some())
}

fn open_rows() -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::State.is_in(["draft", "placed", "part_received"]))
}
