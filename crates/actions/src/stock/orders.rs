//! Orders: drafted, placed, received in parts, closed or cancelled.

use std::collections::{BTreeMap, BTreeSet};

use fillmark_domain::people::Act;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{Approval, Offer, Order, OrderId, OrderLine, Product, ProductId, Supplier};
use fillmark_domain::{Faults, Id, Kept};
use fillmark_store::words::orders;
use fillmark_store::{Page, PageQuery, SiteScope, Tx, plan, records};

use super::receipts::refused;
use crate::{App, Caller, Refusal};

/// So many packs of an offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Packs {
    /// Which offer.
    pub offer: Id<Offer>,
    /// How many.
    pub packs: u32,
}

/// An order, whom it is for, and what its products are called now.
#[derive(Debug, Clone, PartialEq)]
pub struct SupplierOrder {
    /// The order.
    pub order: Kept<Order>,
    /// Whose terms hold for it.
    pub supplier: Supplier,
    /// The names of its products.
    pub products: BTreeMap<ProductId, String>,
}

impl SupplierOrder {
    pub(crate) async fn of(tx: &Tx, scope: SiteScope, order: Kept<Order>) -> Result<Self, Refusal> {
        Self::each(tx, scope, vec![order]).await?.pop().ok_or(Refusal::NotFound)
    }

    async fn each(tx: &Tx, scope: SiteScope, orders: Vec<Kept<Order>>) -> Result<Vec<Self>, Refusal> {
        let business = scope.in_business();
        let suppliers: BTreeSet<_> = orders.iter().map(|order| order.content.supplier.uuid()).collect();
        let suppliers = suppliers.into_iter().map(Into::into).collect();
        let suppliers = records::find_many::<Supplier>(tx, business, "id", suppliers).await?;
        let lines = orders.iter().flat_map(|order| &order.content.lines);
        let products: BTreeSet<_> = lines.map(|line| line.product.uuid()).collect();
        let products = products.into_iter().map(Into::into).collect();
        let products = records::find_many::<Product>(tx, business, "id", products).await?;
        let told = |order: Kept<Order>| {
            let supplier = suppliers.iter().find(|supplier| supplier.id == order.content.supplier);
            let ordered =
                |product: &&Kept<Product>| order.content.lines.iter().any(|line| line.product == product.id);
            let products = products.iter().filter(ordered);
            Ok(SupplierOrder {
                supplier: supplier.ok_or(Refusal::NotFound)?.content.clone(),
                products: products.map(|product| (product.id, product.content.name.clone())).collect(),
                order,
            })
        };
        orders.into_iter().map(told).collect()
    }
}

pub(super) async fn supplier(tx: &Tx, scope: SiteScope, id: Id<Supplier>) -> Result<Supplier, Refusal> {
    Ok(records::find(tx, scope.in_business(), id).await?.ok_or(Refusal::NotFound)?.content)
}

/// Drafts an order of packs that one supplier offers.
/// # Errors
/// When the caller may not, or the offers are not there or of several suppliers.
pub async fn draft_order(
    app: &App,
    caller: &Caller,
    site: SiteId,
    packs: &[Packs],
) -> Result<SupplierOrder, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let tx = app.store.begin().await?;

    let (supplier, lines) = lines(&tx, scope, packs).await?;
    let order = Order::draft(supplier, lines);

    let kept = records::create(&tx, scope, &app.stamp(caller), &order).await?;
    let kept = SupplierOrder::of(&tx, scope, kept).await?;
    tx.commit().await?;
    Ok(kept)
}

/// Replaces the lines of a draft, against the version that was read.
/// # Errors
/// When the caller may not, the supplier has it, or it has changed since.
pub async fn redraft_order(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: OrderId,
    version: i64,
    packs: &[Packs],
) -> Result<SupplierOrder, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let tx = app.store.begin().await?;

    let before = orders::lock(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    let (supplier, lines) = lines(&tx, scope, packs).await?;
    let order = before.content.with_lines(lines).map_err(refused)?;
    let order = Order { supplier, ..order };

    let kept = records::change(&tx, scope, id, version, &app.stamp(caller), &order).await?;
    let kept = SupplierOrder::of(&tx, scope, kept.ok_or(Refusal::Stale)?).await?;
    tx.commit().await?;
    Ok(kept)
}

/// Stands for a draft being placed as it is.
/// # Errors
/// When the caller may not, it is no draft, or it has no packs.
pub async fn approve_order(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: OrderId,
) -> Result<SupplierOrder, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let stamp = app.stamp(caller);
    let approval = Approval { by: stamp.by, at: stamp.at };
    change(app, caller, scope, id, async |_, order: Order| order.approve(approval).map_err(refused)).await
}

/// What may be sent to the supplier of an order.
#[derive(Debug, Clone)]
pub struct OrderMessage {
    /// A message that can be sent as it stands.
    pub text: String,
    /// The order.
    pub order: SupplierOrder,
    /// The site's name.
    pub site: String,
}

/// Writes what may be sent to the supplier of an order.
/// # Errors
/// When the caller may not see it or it is not there.
pub async fn order_message(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: OrderId,
) -> Result<OrderMessage, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let order = records::find::<Order>(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    let order = SupplierOrder::of(&tx, scope, order).await?;
    let site = plan::site(&tx, scope).await?.ok_or(Refusal::NotFound)?.content.name;
    let named = |id| order.products.get(&id).cloned().unwrap_or_default();
    let text = order.order.content.message(id, &order.supplier.name, &site, named);
    Ok(OrderMessage { text, order, site })
}

/// Gives an order up before anything came.
/// # Errors
/// When the caller may not, or a part of it came.
pub async fn cancel_order(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: OrderId,
) -> Result<SupplierOrder, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    change(app, caller, scope, id, async |tx, order: Order| {
        let site = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?.content;
        order.cancel(app.now().with_timezone(&site.time_zone).date_naive()).map_err(refused)
    })
    .await
}

/// Closes an order of which the rest will not come.
/// # Errors
/// When the caller may not, or nothing of it came.
pub async fn close_order(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: OrderId,
) -> Result<SupplierOrder, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    change(app, caller, scope, id, async |_, order: Order| order.close_short().map_err(refused)).await
}

pub(super) async fn change(
    app: &App,
    caller: &Caller,
    scope: SiteScope,
    id: OrderId,
    decide: impl AsyncFnOnce(&Tx, Order) -> Result<Order, Refusal>,
) -> Result<SupplierOrder, Refusal> {
    let tx = app.store.begin().await?;
    let before = orders::lock(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    let after = decide(&tx, before.content).await?;
    let kept = records::change(&tx, scope, id, before.version, &app.stamp(caller), &after).await?;
    let kept = SupplierOrder::of(&tx, scope, kept.ok_or(Refusal::Stale)?).await?;
    tx.commit().await?;
    Ok(kept)
}

/// The order with this id.
/// # Errors
/// When the caller may not read it or it is not there.
pub async fn read_order(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: OrderId,
) -> Result<SupplierOrder, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let order = records::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    SupplierOrder::of(&tx, scope, order).await
}

/// A page of a site's orders.
/// # Errors
/// When the caller may not read them.
pub async fn list_orders(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<SupplierOrder>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let page = records::page::<Order>(&tx, scope, query).await?;
    Ok(Page { items: SupplierOrder::each(&tx, scope, page.items).await?, next: page.next })
}

/// The lines that the offers make, and their supplier. What an offer says now is what is agreed.
async fn lines(
    tx: &Tx,
    scope: SiteScope,
    packs: &[Packs],
) -> Result<(Id<Supplier>, Vec<OrderLine>), Refusal> {
    let mut faults = Faults::default();
    let mut supplier = None;
    let mut lines: Vec<OrderLine> = Vec::new();
    for (at, wanted) in packs.iter().enumerate() {
        let pointer = format!("/lines/{at}/offer_id");
        let offer = records::find(tx, scope, wanted.offer).await?;
        let Some(offer) = offer.filter(|offer| offer.archived_at.is_none()) else {
            faults.add(pointer, "unknown_id", "expected the id of an offer at this site");
            continue;
        };
        let same = *supplier.get_or_insert(offer.content.supplier) == offer.content.supplier;
        faults.unless(same, &pointer, "other_supplier", "expected offers of one supplier");
        let once = lines.iter().all(|line| line.offer != wanted.offer);
        faults.unless(once, &pointer, "twice", "expected each offer once");
        let least = offer.content.minimum_packs;
        let enough = wanted.packs >= least;
        faults.unless(enough, &format!("/lines/{at}/packs"), "too_few", format!("expected at least {least}"));
        lines.push(line(wanted, offer.content));
    }
    if lines.is_empty() && faults.is_empty() {
        faults.add("/lines", "empty", "expected at least one line");
    }
    faults.or(supplier.map(|supplier| (supplier, lines))).map_err(Refusal::Invalid)
}

fn line(wanted: &Packs, offer: Offer) -> OrderLine {
    OrderLine {
        product: offer.product,
        offer: wanted.offer,
        packs: wanted.packs,
        pack: offer.pack,
        base: offer.base,
        price: offer.price,
        why: None,
    }
}
