//! What goes out: issues and write-offs.

use fillmark_domain::people::Act;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{Drawn, Lot, LotId, MovementKind, ProductId, SlipKind};
use fillmark_domain::{Amount, Quantity};
use fillmark_store::records;

use super::desk::{Desk, Done, Handled, Saying, Slipped, handled, some_amount};
use super::draw::{self, Before};
use crate::{App, Caller, Refusal};

/// An amount to be taken out for use.
#[derive(Debug, Clone, PartialEq)]
pub struct Issue {
    /// Which entry, and when.
    pub done: Done,
    /// How much.
    pub amount: Quantity,
    /// From this lot; without one, from those that expire first.
    pub lot: Option<LotId>,
    /// It was used though the record holds less.
    pub poured_all_the_same: bool,
}

/// An amount of a lot that is lost.
#[derive(Debug, Clone, PartialEq)]
pub struct WriteOff {
    /// Which entry, and when.
    pub done: Done,
    /// Of which lot.
    pub lot: LotId,
    /// How much.
    pub amount: Quantity,
    /// Why.
    pub reason: String,
}

/// Takes a product out for use, from the lots that expire first.
/// # Errors
/// When the caller may not, there is no such product or lot, or less is held and it was not used all the same.
pub async fn issue_product(
    app: &App,
    caller: &Caller,
    site: SiteId,
    product: ProductId,
    issue: Issue,
) -> Result<Handled, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    let desk = Desk::open(app, caller, scope).await?;

    let product = records::find(&desk.tx, scope.in_business(), product).await?.ok_or(Refusal::NotFound)?;
    let amount = some_amount("/amount", issue.amount, &product.content)?;
    let held = draw::lock(&desk.tx, scope, product.id, issue.lot).await?;
    let saying = Saying { lot: issue.lot, ..Saying::default() };
    let slip = match desk.enter(issue.done, SlipKind::Issue, &product, amount, saying).await? {
        Slipped::New(slip) => slip,
        Slipped::Before(entered) => return Ok(handled(entered, &product)),
    };

    let on = desk.day(slip.says.done_at);
    let before = Before::of(&desk.tx, scope, product.id, &held, slip.says.done_at).await?;
    let (base, all_the_same) = (product.content.base, issue.poured_all_the_same);
    let drawn = before.drawn(draw::decide(&before.held, issue.lot, amount, base, all_the_same, on)?);

    let id = slip.id;
    draw::record(&desk.tx, scope, &desk.stamp, &[(slip, drawn)]).await?;
    desk.close(id, &product).await
}

/// Writes off a part of a lot, expired and quarantined ones too.
/// # Errors
/// When the caller may not, the site never held the lot, or holds less of it.
pub async fn write_off(
    app: &App,
    caller: &Caller,
    site: SiteId,
    write_off: WriteOff,
) -> Result<Handled, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let desk = Desk::open(app, caller, scope).await?;

    let lot = records::find::<Lot>(&desk.tx, scope.in_business(), write_off.lot).await?;
    let lot = lot.ok_or_else(|| Refusal::invalid("/lot_id", "unknown_id", "expected the id of a lot"))?;
    let product = desk.product("/lot_id", lot.content.product).await?;
    let amount = some_amount("/amount", write_off.amount, &product.content)?;
    let saying = Saying { lot: Some(lot.id), reason: Some(write_off.reason), ..Saying::default() };
    let slip = match desk.enter(write_off.done, SlipKind::WriteOff, &product, amount, saying).await? {
        Slipped::New(slip) => slip,
        Slipped::Before(entered) => return Ok(handled(entered, &product)),
    };

    let held = draw::lock(&desk.tx, scope, product.id, Some(lot.id)).await?;
    let before = Before::of(&desk.tx, scope, product.id, &held, slip.says.done_at).await?;
    let held = before.held.iter().map(|holding| holding.held).sum();
    if held < amount {
        return Err(draw::out_of_stock(amount, held, product.content.base));
    }

    let counted = (product.id, product.content.base);
    let lost = before.drawn(Drawn { takes: vec![(lot.id, amount)], short: Amount::ZERO, found: Vec::new() });
    let what = (counted, MovementKind::WriteOff);
    draw::leave(&desk.tx, scope, &desk.stamp, &slip, what, &lost).await?;
    desk.close(slip.id, &product).await
}
