//! Corrections: a movement, or all that a slip did, taken back by linked opposites.

use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{Entered, Movement, MovementKind, Order, Received, SlipId, SlipKind};
use fillmark_domain::{Id, Kept};
use fillmark_store::{movements, records, shortages, slips};

use super::desk::{Desk, Done, Handled, Saying, Slipped, handled};
use super::{opposites, receipts, transfers};
use crate::caller::Correcting;
use crate::{App, Caller, Refusal};

/// What is told where an order was closed before what it received is taken back.
const REOPENED: &str = "The order had been closed short: it awaits the rest again. Close or cancel it once more when nothing else comes.";

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
    let taken = entered.going_with(&movement);
    take_back(desk, entered, taken, false, done, reason).await
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
    let order = desk.order(entered.slip.says.order).await?;
    let reverses = Some(entered.slip.id);
    let saying = Saying { lot, reason: Some(reason), reverses, ..Saying::default() };
    let back = match desk.enter(done, SlipKind::Reversal, &product, amount, saying).await? {
        Slipped::New(slip) => slip,
        Slipped::Before(before) if is_again(&before, &entered, &taken) => {
            return Ok(handled(before, &product));
        }
        Slipped::Before(_) => return Err(Refusal::ClientIdReused),
    };
    let standing = opposites::to_take_back(&desk.tx, desk.scope, &back, &entered, &taken).await?;
    if entered.slip.says.kind == SlipKind::TransferOut {
        transfers::take_back(&desk, entered.slip.id, &back).await?;
    }
    let reopened = match order {
        Some(order) => await_again(&desk, order, &standing).await?,
        None => None,
    };
    opposites::enter(&desk.tx, desk.scope, &desk.stamp, &back, &entered, &standing).await?;
    if whole {
        shortages::withdraw(&desk.tx, desk.scope, entered.slip.id, back.id).await?;
    }
    Ok(desk.close(back.id, &product).await?.told(reopened))
}

/// What an order had received is awaited again, and the rest with it, which is told where it had been closed short.
async fn await_again(
    desk: &Desk<'_>,
    order: Kept<Order>,
    standing: &[Movement],
) -> Result<Option<&'static str>, Refusal> {
    let reopened = (!order.content.never_came().is_empty()).then_some(REOPENED);
    let mut awaited = order.content;
    for movement in standing.iter().filter(|movement| movement.kind == MovementKind::Receipt) {
        let on = desk.day(movement.done_at);
        let came = Received { product: movement.product, amount: movement.change, on };
        awaited = awaited.take_back(&came).map_err(receipts::refused)?;
    }
    records::change(&desk.tx, desk.scope, order.id, order.version, &desk.stamp, &awaited).await?;
    Ok(reopened)
}

fn is_again(before: &Entered, entered: &Entered, taken: &[Movement]) -> bool {
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
        SlipKind::Count if whole => None,
        SlipKind::Count => {
            Some("it is a part of a count: take back all that was counted, or count the lot again")
        }
        SlipKind::Reversal => Some("it takes something back itself: enter that anew"),
        SlipKind::Receipt | SlipKind::Issue | SlipKind::WriteOff | SlipKind::Preparation => None,
    }
}
