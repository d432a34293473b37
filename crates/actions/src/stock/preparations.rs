//! Preparations: a stock solution made on site, lots in and a new lot out.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use fillmark_domain::people::Act;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{Entered, LotId, MovementKind, Product, ProductId, Slip, SlipKind};
use fillmark_domain::{Amount, Faults, Kept, Quantity};
use fillmark_store::{holdings, preparations};

use super::coming;
use super::desk::{Desk, Done, Handled, Saying, Slipped, handled, some_amount};
use super::draw::{self, Before};
use crate::{App, Caller, Refusal};

/// What went into a stock solution and what came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Preparation {
    /// Which entry, and when.
    pub done: Done,
    /// The stock solution, itself a product.
    pub product: ProductId,
    /// The number given to what was made.
    pub lot_number: String,
    /// Last day on which it may be used.
    pub expiry: Option<NaiveDate>,
    /// How much was made.
    pub amount: Quantity,
    /// How many times the strength that is fed.
    pub strength: f64,
    /// What went in, water apart.
    pub parts: Vec<Part>,
}

/// What of one product went in.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Of what.
    pub product: ProductId,
    /// From this lot; without one, from those that expire first.
    pub lot: Option<LotId>,
    /// How much.
    pub amount: Quantity,
}

/// A part whose product and amount are known.
struct Taken {
    /// Where it stands in what was entered.
    pointer: String,
    product: Kept<Product>,
    lot: Option<LotId>,
    amount: Amount,
}

/// Makes a stock solution: its parts leave their lots and a new lot of it comes in, all or nothing.
/// # Errors
/// When the caller may not, a product or lot is not there, or less of a part is held.
pub async fn make_preparation(
    app: &App,
    caller: &Caller,
    site: SiteId,
    made: Preparation,
) -> Result<Handled, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    let desk = Desk::open(app, caller, scope).await?;

    let product = desk.product("/product_id", made.product).await?;
    let amount = some_amount("/amount", made.amount, &product.content)?;
    let parts = parts(&desk, &made).await?;
    let at = made.done.at.unwrap_or(desk.stamp.at);
    let lot = desk.lot(product.id, &made.lot_number, made.expiry, at).await?;
    let saying = Saying { lot: Some(lot.id), ..Saying::default() };
    let slip = match desk.enter(made.done, SlipKind::Preparation, &product, amount, saying).await? {
        Slipped::New(slip) => slip,
        Slipped::Before(before) if is_again(&before, &made, &parts) => return Ok(handled(before, &product)),
        Slipped::Before(_) => return Err(Refusal::ClientIdReused),
    };

    let products = parts.iter().map(|part| part.product.id).chain([product.id]).collect();
    holdings::lock_all(&desk.tx, scope, &products).await?;
    for part in &parts {
        pour(&desk, &slip, part).await?;
    }
    let counted = (product.id, product.content.base);
    let changes = [(lot.id, amount)];
    let what = (counted, MovementKind::Receipt);
    coming::take_in(&desk.tx, scope, &desk.stamp, &slip, what, &changes).await?;
    preparations::record(&desk.tx, scope, &desk.stamp, slip.id, lot.id, made.strength).await?;
    desk.close(slip.id, &product).await
}

/// The parts in the order of their products.
async fn parts(desk: &Desk<'_>, made: &Preparation) -> Result<Vec<Taken>, Refusal> {
    let mut faults = Faults::default();
    let mut parts: BTreeMap<ProductId, Taken> = BTreeMap::new();
    for (at, part) in made.parts.iter().enumerate() {
        let pointer = format!("/parts/{at}");
        let named = format!("{pointer}/product_id");
        let new = part.product != made.product && !parts.contains_key(&part.product);
        faults.unless(new, &named, "twice", "expected each product once, and not what is made");
        let product = desk.product(&named, part.product).await?;
        let amount = some_amount(&format!("{pointer}/amount"), part.amount, &product.content)?;
        parts.insert(part.product, Taken { pointer, product, lot: part.lot, amount });
    }
    faults.or(Some(parts.into_values().collect())).map_err(Refusal::Invalid)
}

async fn pour(desk: &Desk<'_>, slip: &Slip, part: &Taken) -> Result<(), Refusal> {
    let (product, base) = (part.product.id, part.product.content.base);
    let held = draw::lock(&desk.tx, desk.scope, product, part.lot).await;
    let held = held.map_err(|refusal| refusal.within(&part.pointer))?;
    let at = slip.says.done_at;
    let before = Before::of(&desk.tx, desk.scope, product, &held, at).await?;
    let drawn = draw::decide(&before.held, part.lot, part.amount, base, false, desk.day(at));
    let drawn = before.drawn(drawn.map_err(|refusal| refusal.within(&part.pointer))?);
    let what = ((product, base), MovementKind::Issue);
    draw::leave(&desk.tx, desk.scope, &desk.stamp, slip, what, &drawn).await
}

/// Whether the same parts went in at the same strength.
fn is_again(before: &Entered, made: &Preparation, parts: &[Taken]) -> bool {
    let mut poured: BTreeMap<ProductId, Amount> = BTreeMap::new();
    for movement in before.movements.iter().filter(|movement| movement.kind == MovementKind::Issue) {
        let sum = poured.entry(movement.product).or_default();
        *sum = *sum - movement.change;
    }
    let wanted = parts.iter().map(|part| (part.product.id, part.amount)).collect();
    before.strength == Some(made.strength) && poured == wanted
}
