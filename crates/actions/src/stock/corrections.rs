//! Corrections: a movement, or all that a slip did, taken back by linked opposites.

use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{Entered, Movement, MovementKind, ProductId, Received, Slip, SlipId, SlipKind};
use fillmark_domain::{Amount, Id};
use fillmark_store::words::orders;
use fillmark_store::{holdings, movements, records, shortages, slips};

use super::desk::{Desk, Done, Handled, Saying, Slipped, handled};
use super::{draw, receipts};
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
    take_back(desk, entered, vec![movement], false, done, reason).await
}

/// Takes back all that a slip did, its shortage included.
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
    if let Some(text) = corrected_elsewhere(entered.slip.says.kind) {
        return Err(Refusal::Conflict(text.to_owned()));
    }
    let product = taken.first().map_or(entered.slip.says.product, |movement| movement.product);
    let product = records::find(&desk.tx, desk.scope.in_business(), product).await?;
    let product = product.ok_or(Refusal::NotFound)?;
    let amount = taken.iter().map(|movement| -movement.change).sum();
    let lot = taken.first().filter(|_| !whole).map(|movement| movement.lot);
    let saying = Saying { lot, reason: Some(reason), ..Saying::default() };
    let back = match desk.enter(done, SlipKind::Reversal, &product, amount, saying).await? {
        Slipped::New(slip) => slip,
        Slipped::Before(before) if reverses(&before, &taken) => return Ok(handled(before, &product)),
        Slipped::Before(_) => return Err(Refusal::ClientIdReused),
    };
    opposite(&desk, &back, &entered, &taken).await?;
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
        if movements::is_reversed(&desk.tx, desk.scope, movement.id).await? {
            return Err(Refusal::Conflict("it has been taken back before".to_owned()));
        }
        let there: Amount =
            held.iter().filter(|holding| holding.lot == movement.lot).map(|holding| holding.held).sum();
        if there < movement.change {
            return Err(draw::out_of_stock(movement.change, there, movement.base));
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

fn reverses(before: &Entered, taken: &[Movement]) -> bool {
    let reversed = before.movements.iter().map(|movement| movement.reverses);
    reversed.eq(taken.iter().map(|movement| Some(movement.id)))
}

/// What is taken back with something else, so that the two never tell different stories.
fn corrected_elsewhere(kind: SlipKind) -> Option<&'static str> {
    match kind {
        SlipKind::Pour => Some("it was poured into a tank: take the addition back"),
        SlipKind::TransferOut | SlipKind::TransferIn => Some("it is one end of a transfer: send it back"),
        SlipKind::Reversal => Some("it takes something back itself: enter that anew"),
        SlipKind::Receipt
        | SlipKind::Issue
        | SlipKind::Count
        | SlipKind::WriteOff
        | SlipKind::Preparation => None,
    }
}
