//! Counts: what was found on the shelf, against the ledger at that moment.

use fillmark_domain::Quantity;
use fillmark_domain::people::Act;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{
    LotId, MovementKind, NotCounted, OnHand, ProductId, SlipKind, moved_since, spread_count,
};
use fillmark_store::{SiteScope, Tx, movements, shortages};

use super::desk::{Desk, Done, Handled, Saying, Slipped, any_amount, handled};
use super::draw;
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
}

/// Brings the ledger to what was counted. A count of the whole product settles the shortages poured before it. One that
/// is typed in later is laid against what the ledger held when it was made: what moved since stays moved.
/// # Errors
/// When the caller may not, there is no such product or lot, or more was taken since than the count found.
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

    let then = as_of(&desk.tx, scope, &now, slip.says.done_at).await?;
    let changes = spread_count(&then, &now, counted).map_err(|not| match not {
        NotCounted::NoLot => Refusal::invalid("/counted", "no_lot", not.to_string()),
        NotCounted::TakenSince => Refusal::Conflict(not.to_string()),
    })?;

    let moved = (product.id, product.content.base);
    let kind = MovementKind::CountAdjustment;
    movements::record(&desk.tx, scope, &desk.stamp, &slip, moved, kind, &changes).await?;
    shortages::settle(&desk.tx, scope, &slip).await?;
    desk.close(slip.id, &product).await
}

/// What was held at an instant: what is held now without what moved after it.
async fn as_of(
    tx: &Tx,
    scope: SiteScope,
    now: &[OnHand],
    at: chrono::DateTime<chrono::Utc>,
) -> Result<Vec<OnHand>, Refusal> {
    let lots: Vec<LotId> = now.iter().map(|holding| holding.lot).collect();
    let later = movements::of_lots_after(tx, scope, &lots, at).await?;
    let mut then = now.to_vec();
    for holding in &mut then {
        holding.held = holding.held - moved_since(&later, holding.lot);
    }
    Ok(then)
}
