//! What to count next, and what came of a count.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_advice::supply::counting::{self, DueCount, Found, Uncounted};
use fillmark_domain::entries::{Addition, Poured};
use fillmark_domain::people::Act;
use fillmark_domain::places::{SiteId, TankId};
use fillmark_domain::stock::{
    CountKind, DifferenceKind, Entered, Lot, Product, ProductId, Slip, SlipId, SlipKind,
};
use fillmark_domain::{Amount, Id, Kept};
use fillmark_store::holdings::{self, Holding};
use fillmark_store::{Page, PageQuery, SiteScope, Tx, entries, movements, plan, records, shortages, slips};

use super::costs::prices;
use super::opposites;
use crate::{App, Caller, Refusal, dosing};

/// Products that a rotating count asks for, unless somebody says how many: a quarter of an hour's work (our own judgement).
pub const A_FEW: u16 = 3;

/// More than anybody counts in one go.
const MOST: u16 = 100;

/// Tanks are asked no further back than this (our own judgement): who would remember what was poured before?
const ASKED_BACK: TimeDelta = TimeDelta::days(92);

/// What moved longer ago tells nothing of what is on the shelf (our own judgement).
const MEMORY: TimeDelta = TimeDelta::days(366);

/// A product to count: what it is and where it stands, but not what the ledger holds, so that people write down what they find.
#[derive(Debug, Clone, PartialEq)]
pub struct ToCount {
    /// Why it is to be counted, and when it was last.
    pub due: DueCount,
    /// The product.
    pub product: Kept<Product>,
    /// Numbers of the lots that should be there.
    pub lot_numbers: Vec<String>,
}

/// What to count: all that is held in the order of the shelves, or so many of those whose count tells most.
/// # Errors
/// When the caller may not see it.
pub async fn due_counts(
    app: &App,
    caller: &Caller,
    site: SiteId,
    kind: CountKind,
    number: u16,
) -> Result<Vec<ToCount>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let place = plan::site(&tx, scope).await?.ok_or(Refusal::NotFound)?.content;
    if !(1..=MOST).contains(&number) {
        return Err(Refusal::invalid("/number", "out_of_range", "expected 1 to 100"));
    }
    let prices = prices(&tx, scope, &place).await?;
    let products = records::all::<Product>(&tx, scope.in_business()).await?;
    let ids: Vec<ProductId> = products.iter().map(|product| product.id).collect();
    let held = holdings::of_products(&tx, scope, &ids).await?;
    let short = shortages::open_of(&tx, scope, &ids).await?;
    let since = app.now() - MEMORY;
    let mut uncounted = Vec::new();
    for product in &products {
        let last = slips::counts_after(&tx, scope, product.id, since).await?;
        let last = last.iter().filter(|count| count.says.lot.is_none()).map(|count| count.says.done_at).max();
        let moved = movements::moved_after(&tx, scope, product.id, last.unwrap_or(since)).await?;
        let paid = prices.iter().filter(|paid| paid.product == product.id).max_by_key(|paid| paid.on);
        uncounted.push(Uncounted {
            product: product.id,
            counted_on: last.map(|at| at.with_timezone(&place.time_zone).date_naive()),
            moved: moved.is_positive(),
            moved_minor: paid.map(|paid| paid.minor_per_unit * moved.base_units()),
            held: lots_of(&held, product.id).next().is_some(),
            shelf: (product.content.storage.clone(), product.content.name.clone()),
            short: short.iter().any(|short| short.product == product.id),
        });
    }
    let to_count = |due: DueCount| {
        let product = products.iter().find(|product| product.id == due.uncounted.product)?.clone();
        let lot_numbers = lots_of(&held, product.id).map(|lot| lot.content.number.clone()).collect();
        Some(ToCount { lot_numbers, due, product })
    };
    Ok(counting::due_counts(uncounted, kind, number).into_iter().filter_map(to_count).collect())
}

/// The lots of a product of which something is held.
fn lots_of(held: &[Holding], product: ProductId) -> impl Iterator<Item = &Kept<Lot>> {
    let of_it = held.iter().filter(move |one| one.lot.content.product == product);
    of_it.filter(|one| one.on_hand.held.is_positive()).map(|one| &one.lot)
}

/// A count as a list tells it.
#[derive(Debug, Clone, PartialEq)]
pub struct CountListed {
    /// The slip of the count.
    pub slip: Slip,
    /// What was counted.
    pub product: Kept<Product>,
    /// By how much it changed the ledger as it was entered.
    pub changed: Amount,
    /// Whether it was taken back, in whole or for one lot.
    pub taken_back: bool,
}

/// A page of a site's counts.
/// # Errors
/// When the caller may not see them.
pub async fn list_counts(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<CountListed>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let page = slips::counts(&tx, scope, query).await?;
    let ids: Vec<SlipId> = page.items.iter().map(|slip| slip.id).collect();
    let of_slips = movements::of_slips(&tx, scope, &ids).await?;
    let taken_back = slips::taken_back_of(&tx, scope, &ids).await?;
    let products: BTreeSet<ProductId> = page.items.iter().map(|slip| slip.says.product).collect();
    let products = products.into_iter().map(|product| product.uuid().into()).collect();
    let products = records::find_many::<Product>(&tx, scope.in_business(), "id", products).await?;
    let listed = |slip: Slip| {
        let of_it = of_slips.iter().filter(|movement| movement.slip == slip.id);
        let own = of_it.filter(|movement| !slip.had_found(movement));
        let product = products.iter().find(|product| product.id == slip.says.product);
        Ok(CountListed {
            product: product.ok_or(Refusal::NotFound)?.clone(),
            changed: own.map(|movement| movement.change).sum(),
            taken_back: taken_back.contains(&slip.id),
            slip,
        })
    };
    let items = page.items.into_iter().map(listed).collect::<Result<_, Refusal>>()?;
    Ok(Page { items, next: page.next })
}

/// What a count found, and what the difference may come from.
#[derive(Debug, Clone, PartialEq)]
pub struct CountRead {
    /// The slip of the count.
    pub entered: Entered,
    /// What was counted.
    pub product: Kept<Product>,
    /// The count before, back to which the records were looked at; a year where there is none.
    pub since: DateTime<Utc>,
    /// Whether that is a count.
    pub counted_before: bool,
    /// Counted less what the ledger held.
    pub difference: Amount,
    /// Taken out for use since then.
    pub taken: Amount,
    /// What it may come from, the surest first.
    pub causes: Vec<CauseRead>,
}

/// What a difference may come from.
#[derive(Debug, Clone, PartialEq)]
pub struct CauseRead {
    /// Which kind it is.
    pub kind: DifferenceKind,
    /// The tank that shows it.
    pub tank: Option<TankId>,
    /// The additions to look at.
    pub additions: Vec<Id<Addition>>,
    /// How much of the difference it explains, with its sign.
    pub explains: Option<Amount>,
    /// In words.
    pub told: String,
}

/// Reads a count and holds its difference against what the tanks show since the count before.
/// # Errors
/// When the caller may not see it, or there is no such count.
pub async fn read_count(app: &App, caller: &Caller, site: SiteId, id: SlipId) -> Result<CountRead, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let entered = slips::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    let says = &entered.slip.says;
    if says.kind != SlipKind::Count {
        return Err(Refusal::NotFound);
    }
    let product = records::find::<Product>(&tx, scope.in_business(), says.product).await?;
    let product = product.ok_or(Refusal::NotFound)?;
    let oldest = says.done_at - MEMORY;
    let counts = slips::counts_after(&tx, scope, product.id, oldest).await?;
    let same = counts.iter().filter(|count| count.says.lot.is_none() || count.says.lot == says.lot);
    let before = same.map(|count| count.says.done_at).filter(|at| *at < says.done_at).max();
    let span = (before.unwrap_or(oldest), says.done_at);
    let mut taken = movements::taken_between(&tx, scope, product.id, span).await?;
    taken.retain(|movement| says.lot.is_none_or(|lot| movement.lot == lot));
    let short = shortages::settled_by(&tx, scope, id).await?;
    let own = entered.movements.iter().filter(|movement| !entered.had_found(movement));
    let found = opposites::found_by(&tx, scope, &entered).await?;
    let difference: Amount = own.chain(&found).map(|movement| movement.change).sum();
    let found = Found {
        product: product.id,
        difference: difference.base_units(),
        taken: taken.iter().map(|movement| -movement.change.base_units()).collect(),
        short: short.iter().map(|short| short.amount.base_units()).sum(),
    };
    Ok(CountRead {
        causes: causes(app, &tx, scope, &found, &product, span).await?,
        since: span.0,
        counted_before: before.is_some(),
        taken: taken.iter().map(|movement| -movement.change).sum(),
        difference,
        product,
        entered,
    })
}

async fn causes(
    app: &App,
    tx: &Tx,
    scope: SiteScope,
    found: &Found,
    product: &Kept<Product>,
    span: (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<CauseRead>, Refusal> {
    let (mut checks, mut told, mut tanks) = (Vec::new(), Vec::new(), Vec::new());
    if !found.is_measuring() {
        let span = (span.0.max(span.1 - ASKED_BACK), span.1);
        let poured = entries::standing::<Addition>(tx, scope, span.0, span.1).await?;
        let is_it = |addition: &Addition| matches!(addition.poured, Poured::Product { product: of, .. } if of == product.id);
        let of_it = poured.iter().filter(|(_, addition)| is_it(addition));
        let into: BTreeSet<TankId> = of_it.map(|(_, addition)| addition.tank).collect();
        for tank in into {
            for (check, words) in dosing::checks_told(app, tx, scope, tank, span).await? {
                checks.push(check);
                told.push(words);
                tanks.push(tank);
            }
        }
    }
    let read = |cause: counting::DifferenceCause<'_>| {
        let tank = match cause {
            counting::DifferenceCause::Tank { place, check, .. } => Some((place, check)),
            _ => None,
        };
        CauseRead {
            kind: cause.kind(),
            tank: tank.map(|(place, _)| tanks[place]),
            additions: tank
                .map_or(Vec::new(), |(_, check)| check.poured.iter().map(|dose| dose.id).collect()),
            explains: cause.explains(),
            told: cause.told(product.content.base, |place| told[place].clone()),
        }
    };
    Ok(counting::causes(found, &checks).into_iter().map(read).collect())
}
