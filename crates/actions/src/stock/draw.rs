//! Drawing from the lots that expire first.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::stock::{
    Counted, Drawn, Found, LotId, MovementKind, OnHand, OutOfStock, ProductId, Slip, SlipId, SlipKind, Unfit,
    Wanted, draw_first_expiring, draw_named, found_of, held_before, issue_first_expiring, issue_named,
};
use fillmark_domain::{Amount, Base, Coded, Faults};
use fillmark_store::movements::Moved;
use fillmark_store::{SiteScope, Stamp, Tx, holdings, movements, shortages, slips};

use crate::Refusal;

/// What is poured.
pub(crate) struct Pour {
    /// The product and what it is counted in.
    pub(crate) product: (ProductId, Base),
    /// How much.
    pub(crate) amount: Amount,
    /// The lot on the label; else those that expire first give.
    pub(crate) lot: Option<LotId>,
    /// It was poured though the record may hold less: then the rest is entered as a shortage.
    pub(crate) all_the_same: bool,
    /// When.
    pub(crate) at: DateTime<Utc>,
    /// The local day of it.
    pub(crate) on: NaiveDate,
}

/// What is drawn from in one transaction: what a site holds of a product is locked and read once, and followed from
/// there, since nobody else can change it meanwhile.
#[derive(Default)]
pub(crate) struct Shelf {
    held: HashMap<ProductId, Vec<OnHand>>,
    drawn: Vec<(Slip, Drawn)>,
}

impl Shelf {
    /// Draws what is poured: from the lot that is named, or else from those that expire first. The slip it answers is
    /// what [`give_back`](super::give_back) takes back later. [`Shelf::keep`] enters it.
    /// # Errors
    /// [`Refusal::OutOfStock`] when less is held and it was not poured all the same, [`Refusal::Invalid`] at `/lot_id`
    /// when the site never held that lot of it. A refused pour leaves nothing behind.
    pub(crate) async fn draw(
        &mut self,
        tx: &Tx,
        scope: SiteScope,
        stamp: &Stamp<'_>,
        pour: &Pour,
    ) -> Result<(SlipId, Drawn), Refusal> {
        let (product, base) = pour.product;
        let counts = slips::counts_after(tx, scope, product, pour.at).await?;
        if !counts.is_empty() {
            self.keep(tx, scope, stamp).await?; // what moved since is read from the ledger
        }
        let held = match self.held.entry(product) {
            Entry::Occupied(held) => held.into_mut(),
            Entry::Vacant(unread) => unread.insert(holdings::lock_for_issue(tx, scope, product).await?),
        };
        let before = Before::find(tx, scope, held, &counts, pour.at).await?;
        let there = match pour.lot {
            Some(lot) => of_lot(&before.held, lot)?,
            None => before.held.clone(),
        };
        let drawn = before.drawn(decide(&there, pour.lot, pour.amount, base, pour.all_the_same, pour.on)?);
        drawn.take_from(held);
        let slip = Slip { id: stamp.fresh(), says: pour.says(), entered_at: stamp.at, entered_by: stamp.by };
        let id = slip.id;
        self.drawn.push((slip, drawn.clone()));
        Ok((id, drawn))
    }

    /// Enters all that was drawn.
    /// # Errors
    /// When the database fails.
    pub(crate) async fn keep(&mut self, tx: &Tx, scope: SiteScope, stamp: &Stamp<'_>) -> Result<(), Refusal> {
        let drawn = std::mem::take(&mut self.drawn);
        slips::enter_all(tx, scope, stamp, drawn.iter().map(|(slip, _)| slip)).await?;
        record(tx, scope, stamp, &drawn).await
    }
}

impl Pour {
    fn says(&self) -> Wanted {
        Wanted {
            client_id: None,
            kind: SlipKind::Pour,
            product: self.product.0,
            lot: self.lot,
            base: self.product.1,
            amount: self.amount,
            done_at: self.at,
            reason: None,
            order: None,
            other_site: None,
            reverses: None,
        }
    }
}

/// What could be poured from at an instant, in the light of the counts after it.
pub(super) struct Before {
    pub(super) held: Vec<OnHand>,
    counts: Vec<Counted>,
}

impl Before {
    pub(super) async fn of(
        tx: &Tx,
        scope: SiteScope,
        product: ProductId,
        now: &[OnHand],
        at: DateTime<Utc>,
    ) -> Result<Before, Refusal> {
        let counts = slips::counts_after(tx, scope, product, at).await?;
        Before::find(tx, scope, now, &counts, at).await
    }

    pub(super) async fn find(
        tx: &Tx,
        scope: SiteScope,
        now: &[OnHand],
        counts: &[Slip],
        at: DateTime<Utc>,
    ) -> Result<Before, Refusal> {
        if counts.is_empty() {
            return Ok(Before { held: now.to_vec(), counts: Vec::new() });
        }
        let lots: Vec<LotId> = now.iter().map(|holding| holding.lot).collect();
        let later = movements::of_lots_after(tx, scope, &lots, at).await?;
        let counts: Vec<Counted> = counts.iter().map(Counted::of).collect();
        Ok(Before { held: held_before(now, &later, &counts), counts })
    }

    /// What is drawn, with what of it was found missing by then.
    pub(super) fn drawn(&self, drawn: Drawn) -> Drawn {
        Drawn { found: self.found(&drawn.takes), ..drawn }
    }

    /// What later counts had found of what left the lots.
    pub(super) fn found(&self, left: &[(LotId, Amount)]) -> Vec<Found> {
        found_of(left, &self.counts)
    }
}

/// From which lots how much is drawn, with what is missing if it was poured all the same. What is poured already was
/// poured from the lot that is named, whatever is wrong with that lot.
pub(super) fn decide(
    held: &[OnHand],
    named: Option<LotId>,
    amount: Amount,
    base: Base,
    all_the_same: bool,
    on: NaiveDate,
) -> Result<Drawn, Refusal> {
    let issued = match (named, all_the_same) {
        (Some(_), true) => return Ok(draw_named(held, amount, on)),
        (None, true) => return Ok(draw_first_expiring(held, amount, on)),
        (Some(_), false) => issue_named(held, amount, on),
        (None, false) => issue_first_expiring(held, amount, on),
    };
    match issued {
        Ok(takes) => Ok(Drawn { takes, short: Amount::ZERO, found: Vec::new() }),
        Err(OutOfStock { asked, held, unfit: None }) => Err(out_of_stock(asked, held, base)),
        Err(OutOfStock { held, unfit: Some(why), .. }) => Err(unfit(why, held, base)),
    }
}

/// Enters what left the lots of a product on a slip.
pub(super) async fn leave(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    slip: &Slip,
    (product, kind): ((ProductId, Base), MovementKind),
    drawn: &Drawn,
) -> Result<(), Refusal> {
    let changes: Vec<(LotId, Amount)> = drawn.takes.iter().map(|(lot, taken)| (*lot, -*taken)).collect();
    let moved = Moved { product, kind, changes: &changes, found: &drawn.found };
    Ok(movements::record(tx, scope, stamp, slip, moved).await?)
}

/// Enters what slips draw. A shortage before a count is settled by that count.
pub(super) async fn record(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    drawn: &[(Slip, Drawn)],
) -> Result<(), Refusal> {
    movements::record_drawn(tx, scope, stamp, drawn).await?;
    for (slip, drawn) in drawn.iter().filter(|(_, drawn)| drawn.short.is_positive()) {
        shortages::record(tx, scope, stamp, slip, drawn.short).await?;
        for count in slips::counts_after(tx, scope, slip.says.product, slip.says.done_at).await? {
            shortages::settle(tx, scope, &count).await?;
        }
    }
    Ok(())
}

/// Locks what is held of a product, and picks the lot that is named.
pub(super) async fn lock(
    tx: &Tx,
    scope: SiteScope,
    product: ProductId,
    lot: Option<LotId>,
) -> Result<Vec<OnHand>, Refusal> {
    let held = holdings::lock_for_issue(tx, scope, product).await?;
    match lot {
        Some(lot) => of_lot(&held, lot),
        None => Ok(held),
    }
}

fn of_lot(held: &[OnHand], lot: LotId) -> Result<Vec<OnHand>, Refusal> {
    let named: Vec<OnHand> = held.iter().filter(|holding| holding.lot == lot).cloned().collect();
    if named.is_empty() {
        let detail = "expected a lot of the product that this site received";
        return Err(Refusal::invalid("/lot_id", "unknown_id", detail));
    }
    Ok(named)
}

pub(super) fn out_of_stock(asked: Amount, held: Amount, base: Base) -> Refusal {
    let unit = base.unit().code();
    let mut faults = Faults::default();
    let detail = format!("asked for {asked} {unit} of which {held} {unit} may be used");
    faults.add("/amount", "out_of_stock", detail);
    Refusal::OutOfStock(faults)
}

fn unfit(why: Unfit, held: Amount, base: Base) -> Refusal {
    let (code, told) = match why {
        Unfit::Expired => ("expired", "has expired"),
        Unfit::Quarantined => ("quarantined", "is in quarantine"),
    };
    let mut faults = Faults::default();
    let detail = format!("the lot {told}; {held} {} of it are held and may not be used", base.unit().code());
    faults.add("/lot_id", code, detail);
    Refusal::OutOfStock(faults)
}
