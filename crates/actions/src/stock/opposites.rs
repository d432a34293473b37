//! Opposites: what takes movements back, so that what was counted since stays as counted.

use std::collections::{BTreeMap, BTreeSet};

use fillmark_domain::stock::{
    Came, Counted, Entered, Found, Movement, MovementKind, OnHand, ProductId, Slip, SlipId, SlipKind, Wanted,
    found_of,
};
use fillmark_domain::{Amount, Base};
use fillmark_store::slips::Opened;
use fillmark_store::{SiteScope, Stamp, StoreError, Tx, holdings, movements, shortages, slips};

use super::{coming, draw};
use crate::Refusal;

/// Takes back all that was drawn on a slip, by linked opposites; its shortage, if any, is withdrawn.
/// # Errors
/// [`Refusal::Conflict`] when it has been given back before.
pub async fn give_back(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    slip: SlipId,
    reason: &str,
) -> Result<SlipId, Refusal> {
    let drawn = slips::find(tx, scope, slip).await?.ok_or(Refusal::NotFound)?;
    holdings::lock_for_issue(tx, scope, drawn.slip.says.product).await?;
    let standing = standing(tx, scope, &drawn, &drawn.movements).await?;
    let says = Wanted {
        client_id: None,
        kind: SlipKind::Reversal,
        done_at: stamp.at,
        reason: Some(reason.to_owned()),
        reverses: Some(slip),
        ..drawn.slip.says
    };
    let Opened::New(back) = slips::open(tx, scope, stamp, &says).await? else {
        return Err(Refusal::ClientIdReused);
    };
    enter(tx, scope, stamp, &back, &drawn, &standing).await?;
    shortages::withdraw(tx, scope, slip, back.id).await?;
    Ok(back.id)
}

/// What is to be taken back with some movements of a slip, whose products are locked from now on: those that stand, and what a
/// count had found of others.
/// # Errors
/// [`Refusal::Conflict`] when any has been taken back before.
pub(super) async fn to_take_back(
    tx: &Tx,
    scope: SiteScope,
    back: &Slip,
    entered: &Entered,
    taken: &[Movement],
) -> Result<Vec<Movement>, Refusal> {
    let products: BTreeSet<ProductId> = entered.movements.iter().map(|movement| movement.product).collect();
    holdings::lock_all(tx, scope, &products).await?;
    holdings::lock_for_issue(tx, scope, entered.slip.says.product).await?;
    // A count that changed nothing has no movement that could tell it.
    if taken.is_empty() && slips::is_taken_back(tx, scope, entered.slip.id, back.id).await? {
        return Err(taken_before());
    }
    let mut standing = standing(tx, scope, entered, taken).await?;
    standing.extend(found_by(tx, scope, entered).await?);
    Ok(standing)
}

/// Those of a slip's movements that are to be taken back. What a count had found of a pour is no more when the count
/// has been taken back; what it had found of a transfer stays, since it tells that it had left.
async fn standing(
    tx: &Tx,
    scope: SiteScope,
    entered: &Entered,
    taken: &[Movement],
) -> Result<Vec<Movement>, Refusal> {
    let reversed = movements::reversed_of(tx, scope, &[entered.slip.id]).await?;
    let is_transfer = entered.slip.says.kind == SlipKind::TransferOut;
    let mut standing = Vec::new();
    for movement in taken.iter().filter(|movement| !(is_transfer && entered.had_found(movement))) {
        match reversed.iter().any(|before| before.id == movement.id) {
            false => standing.push(movement.clone()),
            true if entered.had_found(movement) => {}
            true => return Err(taken_before()),
        }
    }
    Ok(standing)
}

fn taken_before() -> Refusal {
    Refusal::Conflict("it has been taken back before".to_owned())
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

/// Enters the opposites of what a slip did. A count made since found the shelf as it was without any slip, so that what is
/// taken back changes what it had found and not what is held.
/// # Errors
/// [`Refusal::OutOfStock`] when what came in has been used, [`StoreError::Taken`] when something was taken back meanwhile.
pub(super) async fn enter(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    back: &Slip,
    entered: &Entered,
    taken: &[Movement],
) -> Result<(), Refusal> {
    let mut products: BTreeMap<ProductId, Vec<Movement>> = BTreeMap::new();
    for movement in taken {
        products.entry(movement.product).or_default().push(movement.clone());
    }
    for (product, of_it) in products {
        let base = of_it[0].base;
        let held = holdings::lock_for_issue(tx, scope, product).await?;
        let found = found_of_taken(tx, scope, (entered, back), &of_it, &held).await?;
        refuse_used(&held, &of_it, &found, base)?;
        movements::reverse(tx, scope, stamp, back, ((product, base), &of_it), &found).await?;
    }
    Ok(())
}

/// What counts had found of what a product's movements are taken back for, unless the slip itself tells of it.
async fn found_of_taken(
    tx: &Tx,
    scope: SiteScope,
    (entered, back): (&Entered, &Slip),
    taken: &[Movement],
    held: &[OnHand],
) -> Result<Vec<Found>, StoreError> {
    let told: Vec<&Movement> = taken.iter().filter(|movement| entered.had_found(movement)).collect();
    let is_told = |one: &Movement| told.iter().any(|told| entered.going_with(one).contains(told));
    let mut found = Vec::new();
    for movement in taken.iter().filter(|one| one.slip != entered.slip.id || !is_told(one)) {
        let mut counts = slips::counts_after(tx, scope, movement.product, movement.done_at).await?;
        counts.retain(|count| count.id != entered.slip.id);
        let came = |surely_from| Came { lot: movement.lot, amount: -movement.change, surely_from };
        found.extend(match movement.kind {
            MovementKind::Receipt => {
                coming::found(tx, scope, movement.product, came(None), &counts, held).await?
            }
            // It never left, or came back when it was taken back: a count meanwhile tells which.
            MovementKind::TransferOut => {
                let back = came(Some(back.says.done_at));
                coming::found(tx, scope, movement.product, back, &counts, held).await?
            }
            _ => {
                let counts: Vec<Counted> = counts.iter().map(Counted::of).collect();
                found_of(&[(movement.lot, movement.change)], &counts)
            }
        });
    }
    Ok(found)
}

fn refuse_used(held: &[OnHand], taken: &[Movement], found: &[Found], base: Base) -> Result<(), Refusal> {
    for holding in held {
        let of_lot = taken.iter().filter(|movement| movement.lot == holding.lot);
        let found = found.iter().filter(|found| found.lot == holding.lot);
        let change: Amount = of_lot.map(|movement| movement.change).sum();
        let leaves = change - found.map(|found| found.amount).sum();
        if holding.held < leaves {
            return Err(draw::out_of_stock(leaves, holding.held, base));
        }
    }
    Ok(())
}
