//! Drawing from the lots that expire first, and giving back.

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::stock::{
    Drawn, LotId, OnHand, OutOfStock, Product, ProductId, Slip, SlipId, SlipKind, Wanted,
    draw_first_expiring, issue_first_expiring,
};
use fillmark_domain::{Amount, Base, Coded, Faults};
use fillmark_store::slips::Opened;
use fillmark_store::{SiteScope, Stamp, Tx, holdings, movements, records, shortages, slips};

use crate::Refusal;

/// Draws an amount of a product at a site, in the transaction of what it is poured for: from the lot that is named,
/// or else from those that expire first. The slip it answers is what [`give_back`] takes back later.
///
/// What was poured already may exceed what the record holds: then the rest is entered as a shortage.
/// # Errors
/// [`Refusal::OutOfStock`] when less is held and it was not poured all the same, [`Refusal::Invalid`] at
/// `/product_id` or `/lot_id` when there is no such product, or the site never held that lot of it.
#[expect(
    clippy::too_many_arguments,
    reason = "what is poured, from where and when, each stated by who pours"
)]
pub async fn draw(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    product: ProductId,
    amount: Amount,
    lot: Option<LotId>,
    poured_all_the_same: bool,
    at: DateTime<Utc>,
    on: NaiveDate,
) -> Result<(SlipId, Drawn), Refusal> {
    let base = base_of(tx, scope, product).await?;
    let held = lock(tx, scope, product, lot).await?;
    let drawn = decide(&held, amount, base, poured_all_the_same, on)?;
    let says = Wanted {
        client_id: None,
        kind: SlipKind::Pour,
        product,
        lot,
        base,
        amount,
        done_at: at,
        reason: None,
        order: None,
        other_site: None,
    };
    // Opened after the decision: a refused pour leaves nothing behind in a transaction that goes on without it.
    let Opened::New(slip) = slips::open(tx, scope, stamp, &says).await? else {
        return Err(Refusal::ClientIdReused);
    };
    record(tx, scope, stamp, &slip, &drawn).await?;
    Ok((slip.id, drawn))
}

/// From which lots how much is drawn, with what is missing if it was poured all the same.
pub(super) fn decide(
    held: &[OnHand],
    amount: Amount,
    base: Base,
    all_the_same: bool,
    on: NaiveDate,
) -> Result<Drawn, Refusal> {
    if all_the_same {
        return Ok(draw_first_expiring(held, amount, on));
    }
    match issue_first_expiring(held, amount, on) {
        Ok(takes) => Ok(Drawn { takes, short: Amount::ZERO }),
        Err(OutOfStock { asked, held }) => Err(out_of_stock(asked, held, base)),
    }
}

/// Enters what a slip draws.
pub(super) async fn record(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    slip: &Slip,
    drawn: &Drawn,
) -> Result<(), Refusal> {
    let product = (slip.says.product, slip.says.base);
    movements::record_issues(tx, scope, stamp, slip, product, &drawn.takes).await?;
    if drawn.short.is_positive() {
        shortages::record(tx, scope, stamp, slip, drawn.short).await?;
    }
    Ok(())
}

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
    for movement in &drawn.movements {
        if movements::is_reversed(tx, scope, movement.id).await? {
            return Err(Refusal::Conflict("it has been given back before".to_owned()));
        }
    }
    let says = Wanted {
        client_id: None,
        kind: SlipKind::Reversal,
        done_at: stamp.at,
        reason: Some(reason.to_owned()),
        ..drawn.slip.says
    };
    let Opened::New(back) = slips::open(tx, scope, stamp, &says).await? else {
        return Err(Refusal::ClientIdReused);
    };
    movements::reverse(tx, scope, stamp, &back, &drawn.movements).await?;
    shortages::withdraw(tx, scope, slip, back.id).await?;
    Ok(back.id)
}

/// Locks what is held of a product, and picks the lot that is named.
pub(super) async fn lock(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
    lot: Option<LotId>,
) -> Result<Vec<OnHand>, Refusal> {
    let mut held = holdings::lock_for_issue(tx, scope, product).await?;
    if let Some(lot) = lot {
        held.retain(|holding| holding.lot == lot);
        if held.is_empty() {
            let detail = "expected a lot of the product that this site received";
            return Err(Refusal::invalid("/lot_id", "unknown_id", detail));
        }
    }
    Ok(held)
}

/// What a product is counted in.
pub(super) async fn base_of(tx: &Tx, scope: SiteScope, product: ProductId) -> Result<Base, Refusal> {
    let product = records::find::<Product>(tx, scope.in_business(), product).await?;
    let product = product.ok_or_else(|| {
        Refusal::invalid("/product_id", "unknown_id", "expected the id of a product of the business")
    })?;
    Ok(product.content.base)
}

pub(super) fn out_of_stock(asked: Amount, held: Amount, base: Base) -> Refusal {
    let unit = base.unit().code();
    let mut faults = Faults::default();
    let detail = format!("asked for {asked} {unit} of which {held} {unit} may be used");
    faults.add("/amount", "out_of_stock", detail);
    Refusal::OutOfStock(faults)
}
