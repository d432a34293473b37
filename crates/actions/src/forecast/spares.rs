//! What other sites can spare of what a site is to buy.

use std::collections::HashMap;

use fillmark_advice::supply::{Spare, spare_for};
use fillmark_domain::Kept;
use fillmark_domain::people::Act;
use fillmark_domain::places::{Site, SiteId};
use fillmark_domain::stock::{Product, ProductId};
use fillmark_store::records;

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
    let mut all = Vec::new();
    for other in records::all::<Site>(&tx, scope.in_business()).await? {
        let Some(theirs) = caller.may(Act::Read, other.id).ok().filter(|_| other.id != site) else {
            continue;
        };
        let facts = Facts::load(&tx, theirs, now).await?;
        let (_, giving) = answered(facts.question(&facts.plan, DEFAULT_HORIZON_DAYS)).await?;
        let spares = spare_for(&needing, &giving);
        if !spares.is_empty() {
            all.push(SiteSpares { site: other, spares });
        }
    }
    let products = facts.shelf.products.into_iter().map(|kept| (kept.id, kept)).collect();
    Ok((all, products))
}
