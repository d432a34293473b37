//! Drawing from the lots that expire first, and giving back.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::stock::{
    Drawn, LotId, OnHand, OutOfStock, ProductId, Slip, SlipId, SlipKind, Unfit, Wanted, draw_first_expiring,
    draw_named, issue_first_expiring, issue_named,
};
use fillmark_domain::{Amount, Base, Coded, Faults};
use fillmark_store::slips::Opened;
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
    /// what [`give_back`] takes back later. [`Shelf::keep`] enters it.
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
        let held = match self.held.entry(product) {
            Entry::Occupied(held) => held.into_mut(),
            Entry::Vacant(unread) => unread.insert(holdings::lock_for_issue(tx, scope, product).await?),
        };
        let drawn = match pour.lot {
            Some(lot) => {
                decide(&of_lot(held, lot)?, pour.lot, pour.amount, base, pour.all_the_same, pour.on)?
            }
            None => decide(held, None, pour.amount, base, pour.all_the_same, pour.on)?,
        };
        drawn.take_from(held);
        let slip = Slip { id: stamp.fresh(), says: pour.says(), entered_at: stamp.at, entered_by: stamp.by };
        let id = slip.id;
        self.drawn.push((slip, drawn.clone()));
        Ok((id, drawn))
    }

    /// Enters all that was drawn.
    /// # Errors
    /// When the database fails.
    pub(crate) async fn keep(&self, tx: &Tx, scope: SiteScope, stamp: &Stamp<'_>) -> Result<(), Refusal> {
        slips::enter_all(tx, scope, stamp, self.drawn.iter().map(|(slip, _)| slip)).await?;
        record(tx, scope, stamp, &self.drawn).await
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
        }
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
        Ok(takes) => Ok(Drawn { takes, short: Amount::ZERO }),
        Err(OutOfStock { asked, held, unfit: None }) => Err(out_of_stock(asked, held, base)),
        Err(OutOfStock { held, unfit: Some(why), .. }) => Err(unfit(why, held, base)),
    }
}

/// Enters what slips draw.
pub(super) async fn record(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    drawn: &[(Slip, Drawn)],
) -> Result<(), Refusal> {
    movements::record_drawn(tx, scope, stamp, drawn).await?;
    for (slip, drawn) in drawn.iter().filter(|(_, drawn)| drawn.short.is_positive()) {
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
