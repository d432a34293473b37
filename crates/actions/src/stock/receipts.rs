//! What comes in: receipts, with or without an order.

use chrono::NaiveDate;
use fillmark_domain::entries::{SAME_RECEIPT, doubts_of_receipt, same_receipt};
use fillmark_domain::people::Act;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{
    MovementKind, Offer, Order, OrderId, Product, ProductId, Received, SlipKind, Wanted,
};
use fillmark_domain::{Coded, Kept, Quantity, stock};
use fillmark_store::{holdings, records, slips};

use super::coming;
use super::desk::{Desk, Done, Handled, Saying, Slipped, handled, some_amount};
use crate::{App, Caller, Refusal};

/// Suppliers round up to a pack or add one; the invoice may tell.
const MORE_CAME: &str = "more came than the order still awaited: it is taken in as it is; check the delivery note and the invoice";

/// Something that came in.
#[derive(Debug, Clone, PartialEq)]
pub struct Receipt {
    /// Which entry, and when.
    pub done: Done,
    /// Of what.
    pub product: ProductId,
    /// The number printed on the pack.
    pub lot_number: String,
    /// Last day on which it may be used.
    pub expiry: Option<NaiveDate>,
    /// How much.
    pub amount: Quantity,
    /// The order it came on.
    pub order: Option<OrderId>,
    /// It was asked back and is right all the same.
    pub confirmed: bool,
}

/// Takes in what came, in full or in part of an order. The lot is made when its number is new; open shortages of
/// the product are settled, and drawn from it where they were poured after it came. A lot that has expired is taken in, since it is there, and comes with a caution.
/// # Errors
/// When the caller may not, there is no such product, the lot is known with another expiry, or the order is not
/// on its way or does not list the product; asked back when what came is far from the packs it is sold in, or from
/// what the order awaits, or when the same was entered before.
pub async fn receive_product(
    app: &App,
    caller: &Caller,
    site: SiteId,
    receipt: Receipt,
) -> Result<Handled, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let desk = Desk::open(app, caller, scope).await?;

    let product = desk.product("/product_id", receipt.product).await?;
    let amount = some_amount("/amount", receipt.amount, &product.content)?;
    let at = receipt.done.at.unwrap_or(desk.stamp.at);
    let order = desk.order(receipt.order).await?;
    let lot = desk.lot(product.id, &receipt.lot_number, receipt.expiry, at).await?;
    let saying = Saying { lot: Some(lot.id), order: receipt.order, ..Saying::default() };
    let slip = match desk.enter(receipt.done, SlipKind::Receipt, &product, amount, saying).await? {
        Slipped::New(slip) => slip,
        Slipped::Before(entered) => {
            let caution = lot.content.caution(desk.day(entered.slip.says.done_at));
            return Ok(handled(entered, &product).told(caution));
        }
    };

    holdings::lock_for_issue(&desk.tx, scope, product.id).await?;
    let mut more_came = None;
    if let Some(order) = order {
        let came = Received { product: product.id, amount, on: desk.day(at) };
        more_came = take_in(&desk, order, came, &product, receipt.confirmed).await?;
    }
    if !receipt.confirmed {
        ask_back(&desk, &product, &slip.says).await?;
    }

    let counted = (product.id, product.content.base);
    let changes = [(lot.id, amount)];
    let what = (counted, MovementKind::Receipt);
    coming::take_in(&desk.tx, scope, &desk.stamp, &slip, what, &changes).await?;
    let caution = lot.content.caution(desk.day(at));
    Ok(desk.close(slip.id, &product).await?.told(caution).told(more_came))
}

async fn ask_back(desk: &Desk<'_>, product: &Kept<Product>, came: &Wanted) -> Result<(), Refusal> {
    let doubt = doubts_of_receipt(came.amount, product.content.base, &offers(desk, product.id).await?);
    Refusal::unless_confirmed("/amount", "looks_mis_keyed", doubt)?;
    let Some(lot) = came.lot else { return Ok(()) };
    let near = (came.done_at - SAME_RECEIPT, came.done_at + SAME_RECEIPT);
    let near = slips::receipts_of_lot(&desk.tx, desk.scope, lot, near).await?;
    let same = same_receipt(&near, came).map(|same| same.told(desk.zone));
    Refusal::unless_confirmed("/amount", "entered_before", same)
}

/// What a product is offered for, and in which packs.
pub(super) async fn offers(desk: &Desk<'_>, product: ProductId) -> Result<Vec<Offer>, Refusal> {
    let offers = records::all::<Offer>(&desk.tx, desk.scope).await?;
    Ok(offers.into_iter().map(|kept| kept.content).filter(|offer| offer.product == product).collect())
}

async fn take_in(
    desk: &Desk<'_>,
    order: Kept<Order>,
    came: Received,
    product: &Kept<Product>,
    confirmed: bool,
) -> Result<Option<&'static str>, Refusal> {
    let exceeded = order.content.exceeded_by(&came).filter(|_| !confirmed);
    let more_came = order.content.is_exceeded_by(&came).then_some(MORE_CAME);
    let unit = product.content.base.unit().code();
    let doubt = exceeded.map(|awaited| {
        format!("{} {unit} came of which the order still awaited {awaited} {unit}", came.amount)
    });
    let received = order.content.receive(came).map_err(refused)?;
    Refusal::unless_confirmed("/amount", "more_than_ordered", doubt)?;
    records::change(&desk.tx, desk.scope, order.id, order.version, &desk.stamp, &received).await?;
    Ok(more_came)
}

/// A change of state that an order does not allow, as what it is about.
pub(super) fn refused(not: stock::NotAllowed) -> Refusal {
    match not {
        stock::NotAllowed::NotOrdered { .. } => {
            Refusal::invalid("/product_id", "not_ordered", "expected a product that the order lists")
        }
        stock::NotAllowed::FewerThanCame { .. }
        | stock::NotAllowed::Not { .. }
        | stock::NotAllowed::Empty
        | stock::NotAllowed::NothingLeft
        | stock::NotAllowed::TooEarly { .. } => Refusal::Conflict(not.to_string()),
    }
}
