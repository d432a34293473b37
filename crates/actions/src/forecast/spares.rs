//! What other sites can spare of what a site is to buy.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use fillmark_advice::supply::{Forecast, Spare, spare_for};
use fillmark_domain::people::Act;
use fillmark_domain::places::{Site, SiteId};
use fillmark_domain::stock::{Product, ProductId};
use fillmark_domain::{Amount, Kept};
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

/// Looks at the sites that the caller may see for what can be spared of a site's purchases.
/// # Errors
/// When the caller may not see the site.
pub async fn read_spares(
    app: &App,
    caller: &Caller,
    site: SiteId,
) -> Result<(Vec<SiteSpares>, HashMap<ProductId, Kept<Product>>), Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let now = app.now();
    let tx = app.store.look().await?;
    let facts = Facts::load(&tx, scope, now).await?;
    let (_, needing) = answered(facts.question(&facts.plan, DEFAULT_HORIZON_DAYS)).await?;
    let bought = needing.products.iter().filter(|product| product.purchase.is_some());
    let sought: Vec<_> = bought.map(|product| (product.product, Amount::ZERO)).collect();
    let mut all = Vec::new();
    for (other, giving) in givers(&tx, caller, (site, scope), &sought, now).await? {
        let spares = spare_for(&needing, &giving);
        if !spares.is_empty() {
            all.push(SiteSpares { site: other, spares });
        }
    }
    let products = facts.shelf.products.into_iter().map(|kept| (kept.id, kept)).collect();
    Ok((all, products))
}

/// The other sites that the caller may see and that hold more of a product that is sought than so much, with their own forecasts:
/// those that hold too little anyway are spared the work.
pub(super) async fn givers(
    tx: &Tx,
    caller: &Caller,
    (site, scope): (SiteId, SiteScope),
    sought: &[(ProductId, Amount)],
    now: DateTime<Utc>,
) -> Result<Vec<(Kept<Site>, Forecast)>, Refusal> {
    let mut givers = Vec::new();
    if sought.is_empty() {
        return Ok(givers);
    }
    let products: Vec<ProductId> = sought.iter().map(|(product, _)| *product).collect();
    for other in records::all::<Site>(tx, scope.in_business()).await? {
        let Some(theirs) = caller.may(Act::Read, other.id).ok().filter(|_| other.id != site) else {
            continue;
        };
        let held = holdings::of_products(tx, theirs, &products).await?;
        let enough = |(product, least): &(ProductId, Amount)| {
            let of_it = held.iter().filter(|holding| holding.lot.content.product == *product);
            of_it.map(|holding| holding.on_hand.held).sum::<Amount>() > *least
        };
        if sought.iter().any(enough) {
            let facts = Facts::load(tx, theirs, now).await?;
            let (_, giving) = answered(facts.question(&facts.plan, DEFAULT_HORIZON_DAYS)).await?;
            givers.push((other, giving));
        }
    }
    Ok(givers)
}
