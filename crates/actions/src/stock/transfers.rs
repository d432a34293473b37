//! Transfers: out of one site, in transit, into the other.

use fillmark_domain::people::Act;
use fillmark_domain::places::{Site, SiteId};
use fillmark_domain::stock::{
    Drawn, LotId, Movement, MovementKind, ProductId, Slip, SlipId, SlipKind, Transfer,
};
use fillmark_domain::{Id, Quantity};
use fillmark_store::{Page, PageQuery, holdings, movements, records, transfers};

use super::coming;
use super::desk::{Desk, Done, Saying, Slipped, some_amount};
use super::draw::{self, Before};
use crate::{App, Caller, Refusal};

/// Product to be sent to another site.
#[derive(Debug, Clone, PartialEq)]
pub struct Sending {
    /// Which entry, and when.
    pub done: Done,
    /// Of what.
    pub product: ProductId,
    /// From this lot; without one, from those that expire first.
    pub lot: Option<LotId>,
    /// How much.
    pub amount: Quantity,
    /// To where.
    pub to: SiteId,
}

/// Sends product to another site. From now on it is in no site's stock, until it arrives and who keeps that site's takes it in.
/// # Errors
/// When the caller may not keep stock here, there is no such site, product or lot, or less is held.
pub async fn send_transfer(
    app: &App,
    caller: &Caller,
    site: SiteId,
    sending: Sending,
) -> Result<Transfer, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    if sending.to == site {
        return Err(Refusal::invalid("/to_site_id", "same_site", "expected another site"));
    }
    let desk = Desk::open(app, caller, scope).await?;

    refuse_unknown_site(&desk, sending.to).await?;
    let product = desk.product("/product_id", sending.product).await?;
    let amount = some_amount("/amount", sending.amount, &product.content)?;
    let held = draw::lock(&desk.tx, scope, product.id, sending.lot).await?;
    let saying = Saying { lot: sending.lot, other_site: Some(sending.to), ..Saying::default() };
    let slip = match desk.enter(sending.done, SlipKind::TransferOut, &product, amount, saying).await? {
        Slipped::New(slip) => slip,
        Slipped::Before(entered) => {
            return transfers::of_slip(&desk.tx, scope, entered.slip.id).await?.ok_or(Refusal::NotFound);
        }
    };

    let at = slip.says.done_at;
    let before = Before::of(&desk.tx, scope, product.id, &held, at).await?;
    let drawn = draw::decide(&before.held, sending.lot, amount, product.content.base, false, desk.day(at))?;

    let transfer = leave(&desk, &slip, sending.to, &before.drawn(drawn)).await?;
    desk.tx.commit().await?;
    Ok(transfer)
}

async fn refuse_unknown_site(desk: &Desk<'_>, site: SiteId) -> Result<(), Refusal> {
    let there = records::find::<Site>(&desk.tx, desk.scope.in_business(), site).await?;
    match there.is_some_and(|there| there.archived_at.is_none()) {
        true => Ok(()),
        false => Err(Refusal::invalid("/to_site_id", "unknown_id", "expected the id of a site")),
    }
}

/// Enters that what was taken from the lots is on its way.
async fn leave(desk: &Desk<'_>, slip: &Slip, to: SiteId, drawn: &Drawn) -> Result<Transfer, Refusal> {
    let says = &slip.says;
    let transfer = Transfer {
        id: desk.stamp.fresh(),
        from: desk.scope.id(),
        to,
        product: says.product,
        base: says.base,
        amount: says.amount,
        out: slip.id,
        sent_at: says.done_at,
        arrived: None,
        taken_back: None,
    };
    let what = ((says.product, says.base), MovementKind::TransferOut);
    draw::leave(&desk.tx, desk.scope, &desk.stamp, slip, what, drawn).await?;
    transfers::send(&desk.tx, desk.scope, &desk.stamp, &transfer).await?;
    Ok(transfer)
}

/// Takes a transfer in at the site it was sent to, lot by lot as it left.
/// # Errors
/// When the caller may not keep stock here, it was not sent here, or has arrived.
pub async fn take_in_transfer(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Transfer>,
    done: Done,
) -> Result<Transfer, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let desk = Desk::open(app, caller, scope).await?;

    let transfer = transfers::lock_arriving(&desk.tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    let product = records::find(&desk.tx, scope.in_business(), transfer.product).await?;
    let product = product.ok_or(Refusal::NotFound)?;
    let saying = Saying { other_site: Some(transfer.from), ..Saying::default() };
    let slip = match desk.enter(done, SlipKind::TransferIn, &product, transfer.amount, saying).await? {
        Slipped::New(slip) => slip,
        Slipped::Before(before) if transfer.arrived.map(|(slip, _)| slip) == Some(before.slip.id) => {
            return Ok(transfer);
        }
        Slipped::Before(_) => return Err(Refusal::ClientIdReused),
    };
    transfer.in_transit().map_err(|not| Refusal::Conflict(not.to_string()))?;
    if slip.says.done_at < transfer.sent_at {
        return Err(Refusal::invalid("/done_at", "too_early", "expected an instant after it was sent"));
    }

    let left = movements::sent_here(&desk.tx, scope, &transfer).await?;
    arrive(&desk, &slip, id, &left).await?;
    desk.tx.commit().await?;
    Ok(Transfer { arrived: Some((slip.id, slip.says.done_at)), ..transfer })
}

/// Enters at this site what left the other, lot by lot.
async fn arrive(desk: &Desk<'_>, slip: &Slip, id: Id<Transfer>, left: &[Movement]) -> Result<(), Refusal> {
    let (product, at) = (slip.says.product, slip.says.done_at);
    let mut changes = Vec::new();
    for Movement { lot, change, .. } in left {
        holdings::make(&desk.tx, desk.scope, product, *lot, desk.day(at)).await?;
        changes.push((*lot, -*change));
    }
    holdings::lock_for_issue(&desk.tx, desk.scope, product).await?;
    let what = ((product, slip.says.base), MovementKind::TransferIn);
    coming::take_in(&desk.tx, desk.scope, &desk.stamp, slip, what, &changes).await?;
    transfers::arrive(&desk.tx, desk.scope, &desk.stamp, id, slip.id, at).await?;
    Ok(())
}

/// Enters that what left on a slip is taken back before it arrives.
/// # Errors
/// [`Refusal::Conflict`] when it has arrived, or was taken back before.
pub(super) async fn take_back(desk: &Desk<'_>, out: SlipId, back: &Slip) -> Result<(), Refusal> {
    let transfer = transfers::lock_of_slip(&desk.tx, desk.scope, out).await?.ok_or(Refusal::NotFound)?;
    transfer.in_transit().map_err(|not| Refusal::Conflict(not.to_string()))?;
    let at = back.says.done_at;
    Ok(transfers::take_back(&desk.tx, desk.scope, &desk.stamp, transfer.id, back.id, at).await?)
}

/// A transfer from or to a site.
/// # Errors
/// When the caller may not read it or it is not there.
pub async fn read_transfer(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Transfer>,
) -> Result<Transfer, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    transfers::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)
}

/// A page of the transfers from and to a site.
/// # Errors
/// When the caller may not read them.
pub async fn list_transfers(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<Transfer>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok(transfers::page(&tx, scope, query).await?)
}
