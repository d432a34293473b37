//! What other sites can spare of what a site is to buy.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use fillmark_advice::supply::{Forecast, Sought, Spare, sought, spare_for};
use fillmark_domain::Kept;
use fillmark_domain::people::Act;
use fillmark_domain::places::{Site, SiteId};
use fillmark_domain::stock::{Product, ProductId};
use fillmark_store::{SiteScope, Tx, holdings, records};

use super::{DEFAULT_HORIZON_DAYS, Facts, answered};
use crate::{App, Caller, Refusal};

/// What another site can spare.
#[derive(Debug, Clone)]
pub struct SiteSpares {
    /// Which site.
    pub site: Kept<Site>,
    /// What, and how much is needed of it.
    pub spares: Vec<Spare>,
}

/// What other sites can spare.
#[derive(Debug, Clone)]
pub struct Spares {
    /// Those that can spare anything.
    pub sites: Vec<SiteSpares>,
    /// Other sites of the business that the caller may not see: nobody looked there.
    pub unseen_sites: usize,
    /// The products they are of.
    pub products: HashMap<ProductId, Kept<Product>>,
}

/// Looks at the sites that the caller may see for what can be spared of a site's purchases.
/// # Errors
/// When the caller may not see the site.
pub async fn read_spares(app: &App, caller: &Caller, site: SiteId) -> Result<Spares, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let now = app.now();
    let tx = app.store.look().await?;
    let facts = Facts::load(&tx, scope, now).await?;
    let (_, needing) = answered(facts.question(&facts.plan, DEFAULT_HORIZON_DAYS)).await?;
    let all = records::all::<Site>(&tx, scope.in_business()).await?;
    let unseen_sites = all.iter().filter(|other| caller.may(Act::Read, other.id).is_err()).count();
    let mut sites = Vec::new();
    let wanted = |one: Sought| Sought { expiring_only: false, ..one };
    let wanted: Vec<Sought> = sought(&needing, facts.today).into_iter().map(wanted).collect();
    for (other, giving) in givers(&tx, caller, (site, scope), &wanted, now).await? {
        let spares = spare_for(&needing, &giving);
        if !spares.is_empty() {
            sites.push(SiteSpares { site: other, spares });
        }
    }
    let products = facts.shelf.products.into_iter().map(|kept| (kept.id, kept)).collect();
    Ok(Spares { sites, unseen_sites, products })
}

/// The other sites that the caller may see and that may have enough of a product that is sought, with their own forecasts: those
/// that hold too little anyway are spared the work.
pub(super) async fn givers(
    tx: &Tx,
    caller: &Caller,
    (site, scope): (SiteId, SiteScope),
    sought: &[Sought],
    now: DateTime<Utc>,
) -> Result<Vec<(Kept<Site>, Forecast)>, Refusal> {
    let mut givers = Vec::new();
    if sought.is_empty() {
        return Ok(givers);
    }
    let products: Vec<ProductId> = sought.iter().map(|one| one.product).collect();
    for other in records::all::<Site>(tx, scope.in_business()).await? {
        let Some(theirs) = caller.may(Act::Read, other.id).ok().filter(|_| other.id != site) else {
            continue;
        };
        let held = holdings::of_products(tx, theirs, &products).await?;
        let today = now.with_timezone(&other.content.time_zone).date_naive();
        let enough = |one: &Sought| {
            let of_it = held.iter().filter(|holding| holding.lot.content.product == one.product);
            one.may_come_from(of_it.map(|holding| &holding.on_hand), today)
        };
        if sought.iter().any(enough) {
            let facts = Facts::load(tx, theirs, now).await?;
            let (_, giving) = answered(facts.question(&facts.plan, DEFAULT_HORIZON_DAYS)).await?;
            givers.push((other, giving));
        }
    }
    Ok(givers)
}
