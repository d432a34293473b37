//! What comes in: entered lot by lot, as later counts had found it, and drawn from where it was poured already.

use fillmark_domain::stock::{
    Adjusted, Came, Counted, Drawn, Found, LotId, MovementKind, OnHand, Owed, ProductId, Slip, found_of_came,
    owed,
};
use fillmark_domain::{Amount, Base};
use fillmark_store::movements::{self, Moved};
use fillmark_store::{SiteScope, Stamp, StoreError, Tx, holdings, shortages, slips};

use super::draw;
use crate::Refusal;

/// Enters what came in on a slip, settles the open shortages of the product, and draws from it what was poured before the
/// record held it. What was there when a later count was made was counted with the rest, so the balance stays as counted.
pub(super) async fn take_in(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    slip: &Slip,
    (product, kind): ((ProductId, Base), MovementKind),
    came: &[(LotId, Amount)],
) -> Result<(), Refusal> {
    let counts = slips::counts_after(tx, scope, product.0, slip.says.done_at).await?;
    let mut left = Vec::new();
    for &(lot, amount) in came {
        let held = holdings::lock_for_issue(tx, scope, product.0).await?;
        let came = Came { lot, amount, surely_from: None };
        let found = found(tx, scope, product.0, came, &counts, &held).await?;
        let moved = Moved { product, kind, changes: &[(lot, amount)], found: &found };
        movements::record(tx, scope, stamp, slip, moved).await?;
        let of_it = found.iter().filter(|found| found.lot == lot);
        left.push((lot, amount + of_it.map(|found| found.amount).sum()));
    }
    settle(tx, scope, stamp, slip, product, &left).await
}

/// What counts since had found of what came in; with the sign turned, of what had come in and is taken back.
pub(super) async fn found(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
    came: Came,
    counts: &[Slip],
    held: &[OnHand],
) -> Result<Vec<Found>, StoreError> {
    let mut adjusted = Vec::new();
    for counted in counts.iter().map(Counted::of) {
        let mut changed = movements::counted_changes(tx, scope, product, counted.at).await?;
        changed.retain(|(lot, _)| counted.covers(*lot));
        adjusted.push(Adjusted { counted, changed });
    }
    Ok(found_of_came(came, &adjusted, held))
}

async fn settle(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    slip: &Slip,
    product: (ProductId, Base),
    came: &[(LotId, Amount)],
) -> Result<(), Refusal> {
    let open = shortages::open_of(tx, scope, &[product.0]).await?;
    for Owed { slip: pour, takes } in owed(&open, came, slip.says.done_at) {
        let pour = slips::find(tx, scope, pour).await?.ok_or(Refusal::NotFound)?.slip;
        let drawn = Drawn { takes, short: Amount::ZERO, found: Vec::new() };
        draw::leave(tx, scope, stamp, &pour, (product, MovementKind::Issue), &drawn).await?;
    }
    Ok(shortages::settle(tx, scope, slip).await?)
}
