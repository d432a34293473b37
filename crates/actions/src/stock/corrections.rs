//! Corrections: a movement, or all that a slip did, taken back by linked opposites.

use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{
    Entered, LotId, Movement, MovementKind, ProductId, Received, Slip, SlipId, SlipKind,
};
use fillmark_domain::{Amount, Id};
use fillmark_store::words::orders;
use fillmark_store::{SiteScope, StoreError, Tx, holdings, movements, records, shortages, slips};

use super::desk::{Desk, Done, Handled, Saying, Slipped, handled};
use super::{draw, receipts, transfers};
use crate::caller::Correcting;
use crate::{App, Caller, Refusal};

/// Takes back one movement.
/// # Errors
/// When the caller may not, it is not there, was taken back before, belongs to something that is corrected
/// elsewhere, or what came in has been used.
pub async fn reverse_movement(
    app: &App,
    caller: &Caller,
    site: SiteId,
    movement: Id<Movement>,
    done: Done,
    reason: String,
) -> Result<Handled, Refusal> {
    let leave = caller.may_correct(site)?;
    let scope = leave.scope;
    let desk = Desk::open(app, caller, scope).await?;
    let movement = movements::find(&desk.tx, scope, movement).await?.ok_or(Refusal::NotFound)?;
    let entered = slips::find(&desk.tx, scope, movement.slip).await?.ok_or(Refusal::NotFound)?;
    refuse_others(leave, &desk, &entered)?;
    // With what a count had found of it.
    let of_lot = entered.movements.iter().filter(|other| other.lot == movement.lot).cloned().collect();
    take_back(desk, entered, of_lot, false, done, reason).await
}

/// Takes back all that a slip did, its shortage included. What was sent to another site is taken back until it arrives.
/// # Errors
/// See [`reverse_movement`].
pub async fn reverse_slip(
    app: &App,
    caller: &Caller,
    site: SiteId,
    slip: SlipId,
    done: Done,
    reason: String,
) -> Result<Handled, Refusal> {
    let leave = caller.may_correct(site)?;
    let scope = leave.scope;
    let desk = Desk::open(app, caller, scope).await?;
    let entered = slips::find(&desk.tx, scope, slip).await?.ok_or(Refusal::NotFound)?;
    refuse_others(leave, &desk, &entered)?;
    let movements = entered.movements.clone();
    take_back(desk, entered, movements, true, done, reason).await
}

fn refuse_others(leave: Correcting, desk: &Desk<'_>, entered: &Entered) -> Result<(), Refusal> {
    leave.refuse_others(entered.slip.entered_by, entered.slip.entered_at, desk.stamp.at)
}

async fn take_back(
    desk: Desk<'_>,
    entered: Entered,
    taken: Vec<Movement>,
    whole: bool,
    done: Done,
    reason: String,
) -> Result<Handled, Refusal> {
    if let Some(text) = corrected_elsewhere(entered.slip.says.kind, whole) {
        return Err(Refusal::Conflict(text.to_owned()));
    }
    let product = taken.first().map_or(entered.slip.says.product, |movement| movement.product);
    let product = records::find(&desk.tx, desk.scope.in_business(), product).await?;
    let product = product.ok_or(Refusal::NotFound)?;
    let amount = taken.iter().filter(|movement| !entered.had_found(movement));
    let amount = amount.map(|movement| -movement.change).sum();
    let lot = taken.first().filter(|_| !whole).map(|movement| movement.lot);
    let saying = Saying { lot, reason: Some(reason), ..Saying::default() };
    let back = match desk.enter(done, SlipKind::Reversal, &product, amount, saying).await? {
        Slipped::New(slip) => slip,
        Slipped::Before(before) if reverses(&before, &entered, &taken) => {
            return Ok(handled(before, &product));
        }
        Slipped::Before(_) => return Err(Refusal::ClientIdReused),
    };
    let mut standing = draw::standing(&desk.tx, desk.scope, &entered, &taken).await?;
    let lots: Vec<LotId> = taken.iter().map(|movement| movement.lot).collect();
    let found = found_by(&desk.tx, desk.scope, &entered).await?;
    standing.extend(found.into_iter().filter(|movement| whole || lots.contains(&movement.lot)));
    if entered.slip.says.kind == SlipKind::TransferOut {
        transfers::take_back(&desk, entered.slip.id, &back).await?;
    }
    opposite(&desk, &back, &entered, &standing).await?;
    if whole {
        shortages::withdraw(&desk.tx, desk.scope, entered.slip.id, back.id).await?;
    }
    desk.close(back.id, &product).await
}

async fn opposite(
    desk: &Desk<'_>,
    back: &Slip,
    entered: &Entered,
    taken: &[Movement],
) -> Result<(), Refusal> {
    let mut products: Vec<ProductId> = taken.iter().map(|movement| movement.product).collect();
    products.sort();
    products.dedup();
    let mut held = Vec::new();
    for product in products {
        held.extend(holdings::lock_for_issue(&desk.tx, desk.scope, product).await?);
    }
    for movement in taken {
        let of_lot = taken.iter().filter(|other| other.lot == movement.lot);
        let change = of_lot.map(|other| other.change).sum();
        let there: Amount =
            held.iter().filter(|holding| holding.lot == movement.lot).map(|holding| holding.held).sum();
        if there < change {
            return Err(draw::out_of_stock(change, there, movement.base));
        }
        if movement.kind == MovementKind::Receipt {
            await_again(desk, entered, movement).await?;
        }
    }
    movements::reverse(&desk.tx, desk.scope, &desk.stamp, back, taken).await?;
    Ok(())
}

/// What an order had received is awaited again.
async fn await_again(desk: &Desk<'_>, entered: &Entered, movement: &Movement) -> Result<(), Refusal> {
    let Some(id) = entered.slip.says.order else { return Ok(()) };
    let order = orders::lock(&desk.tx, desk.scope, id).await?.ok_or(Refusal::NotFound)?;
    let on = desk.day(movement.done_at);
    let came = Received { product: movement.product, amount: movement.change, on };
    let awaited = order.content.take_back(&came).map_err(receipts::refused)?;
    records::change(&desk.tx, desk.scope, id, order.version, &desk.stamp, &awaited).await?;
    Ok(())
}

/// What a count had found of what was entered after it: it goes with the count.
pub(super) async fn found_by(
    tx: &Tx,
    scope: SiteScope,
    entered: &Entered,
) -> Result<Vec<Movement>, StoreError> {
    let says = &entered.slip.says;
    if says.kind != SlipKind::Count {
        return Ok(Vec::new());
    }
    let mut found = movements::found_at(tx, scope, says.product, says.done_at).await?;
    found.retain(|movement| says.lot.is_none_or(|lot| lot == movement.lot));
    let slips: Vec<SlipId> = found.iter().map(|movement| movement.slip).collect();
    let reversed = movements::reversed_of(tx, scope, &slips).await?;
    found.retain(|movement| !reversed.contains(movement));
    Ok(found)
}

fn reverses(before: &Entered, entered: &Entered, taken: &[Movement]) -> bool {
    let own = entered.movements.iter().filter(|movement| !entered.had_found(movement));
    let own: Vec<Id<Movement>> = own.map(|movement| movement.id).collect();
    let reversed = before.movements.iter().filter_map(|movement| movement.reverses);
    let taken = taken.iter().map(|movement| movement.id);
    reversed.filter(|id| own.contains(id)).eq(taken.filter(|id| own.contains(id)))
}

/// What is taken back with something else, so that the two never tell different stories.
fn corrected_elsewhere(kind: SlipKind, whole: bool) -> Option<&'static str> {
    match kind {
        SlipKind::Pour => Some("it was poured into a tank: take the addition back"),
        SlipKind::TransferOut if whole => None,
        SlipKind::TransferOut => Some("it is a part of a transfer: take back all that left on its slip"),
        SlipKind::TransferIn => Some("it is one end of a transfer: send it back"),
        SlipKind::Reversal => Some("it takes something back itself: enter that anew"),
        SlipKind::Receipt
        | SlipKind::Issue
        | SlipKind::Count
        | SlipKind::WriteOff
        | SlipKind::Preparation => None,
    }
}
