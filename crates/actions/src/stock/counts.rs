//! Counts: what was found on the shelf, against the ledger at that moment.

use chrono::{DateTime, Utc};
use fillmark_domain::entries::doubts_of_count;
use fillmark_domain::people::Act;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{
    LotId, MovementKind, NotCounted, OnHand, ProductId, SlipKind, moved_since, spread_count,
};
use fillmark_domain::{Amount, Quantity};
use fillmark_store::movements::{self, Moved};
use fillmark_store::{shortages, slips};

use super::desk::{Desk, Done, Handled, Saying, Slipped, any_amount, handled};
use super::draw::{self, Before};
use super::receipts;
use crate::{App, Caller, Refusal};

/// What was found of a product, or of one lot of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Count {
    /// Which entry, and when.
    pub done: Done,
    /// Of what.
    pub product: ProductId,
    /// Of this lot only.
    pub lot: Option<LotId>,
    /// How much was found.
    pub counted: Quantity,
    /// It was asked back and is right all the same.
    pub confirmed: bool,
}

/// Brings the ledger to what was counted. A count of the whole product settles the shortages poured before it. One that
/// is typed in later is laid against what the ledger held when it was made: what moved since stays moved, and what a later
/// count found stays as it was found.
/// # Errors
/// When the caller may not, there is no such product or lot, none had come by then, or more was taken since than the count
/// found; asked back when it is far from what the ledger held, or from the packs it is sold in.
pub async fn count_stock(app: &App, caller: &Caller, site: SiteId, count: Count) -> Result<Handled, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let desk = Desk::open(app, caller, scope).await?;

    let product = desk.product("/product_id", count.product).await?;
    let counted = any_amount("/counted", count.counted, &product.content)?;
    let now = draw::lock(&desk.tx, scope, product.id, count.lot).await?;
    let saying = Saying { lot: count.lot, ..Saying::default() };
    let slip = match desk.enter(count.done, SlipKind::Count, &product, counted, saying).await? {
        Slipped::New(slip) => slip,
        Slipped::Before(entered) => return Ok(handled(entered, &product)),
    };

    let at = slip.says.done_at;
    let counts = slips::counts_after(&desk.tx, scope, product.id, at).await?;
    let before = Before::find(&desk.tx, scope, &now, &counts, at).await?;
    let then = as_of(&desk, &now, at).await?;
    if !count.confirmed {
        let held = then.iter().map(|holding| holding.held).sum();
        let offers = receipts::offers(&desk, product.id).await?;
        let doubt = doubts_of_count(counted, held, product.content.base, &offers);
        Refusal::unless_confirmed("/counted", "looks_mis_keyed", doubt)?;
    }
    let changes = spread_count(&then, &before.held, counted).map_err(|not| match not {
        NotCounted::NoLot => Refusal::invalid("/counted", "no_lot", not.to_string()),
        NotCounted::TakenSince => Refusal::Conflict(not.to_string()),
    })?;

    let left: Vec<(LotId, Amount)> = changes.iter().map(|(lot, change)| (*lot, -*change)).collect();
    let found = before.found(&left);
    let counted = (product.id, product.content.base);
    let moved =
        Moved { product: counted, kind: MovementKind::CountAdjustment, changes: &changes, found: &found };
    movements::record(&desk.tx, scope, &desk.stamp, &slip, moved).await?;
    shortages::settle(&desk.tx, scope, &slip).await?;
    desk.close(slip.id, &product).await
}

/// What was held at an instant, of the lots that had come by then: what is held now without what moved after it.
async fn as_of(desk: &Desk<'_>, now: &[OnHand], at: DateTime<Utc>) -> Result<Vec<OnHand>, Refusal> {
    let lots: Vec<LotId> = now.iter().map(|holding| holding.lot).collect();
    let later = movements::of_lots_after(&desk.tx, desk.scope, &lots, at).await?;
    let mut then = now.to_vec();
    for holding in &mut then {
        holding.held = holding.held - moved_since(&later, holding.lot);
    }
    let there = movements::lots_moved_by(&desk.tx, desk.scope, &lots, at).await?;
    then.retain(|holding| there.contains(&holding.lot));
    Ok(then)
}
