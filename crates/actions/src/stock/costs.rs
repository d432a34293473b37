//! What products were bought for, and what was poured cost.

use std::collections::HashMap;

use chrono::NaiveDate;
use fillmark_advice::supply::TakenOut;
use fillmark_advice::supply::costs::{self, Costs, PricePaid};
use fillmark_domain::entries::Addition;
use fillmark_domain::people::Act;
use fillmark_domain::places::{Room, Site, SiteId, Tank};
use fillmark_domain::stock::{Offer, Order, Product, ProductId};
use fillmark_domain::{Currency, Days, Id, Kept};
use fillmark_store::{SiteScope, Tx, entries, movements, plan, records};

use crate::{App, Caller, Refusal};

/// What a product was bought for at a site, and what is asked for it now.
/// # Errors
/// When the caller may not see it, or there is no such product.
pub async fn price_history(
    app: &App,
    caller: &Caller,
    site: SiteId,
    product: ProductId,
) -> Result<(Currency, Vec<PricePaid>), Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    records::find::<Product>(&tx, scope.in_business(), product).await?.ok_or(Refusal::NotFound)?;
    let site = plan::site(&tx, scope).await?.ok_or(Refusal::NotFound)?.content;
    let mut prices = prices(&tx, scope, &site).await?;
    prices.retain(|price| price.product == product);
    Ok((site.currency, prices))
}

/// Costs with the names they speak of.
#[derive(Debug, Clone)]
pub struct SiteCosts {
    /// The sums.
    pub costs: Costs,
    /// Of the sums.
    pub currency: Currency,
    /// Names of products.
    pub products: HashMap<ProductId, String>,
    /// Names of tanks.
    pub tanks: HashMap<Id<Tank>, String>,
    /// Names of rooms.
    pub rooms: HashMap<Id<Room>, String>,
}

/// A solution that is poured was made within so long before (our own judgement): a year and a month.
const MADE_BEFORE: chrono::TimeDelta = chrono::TimeDelta::days(400);

/// The longest span that is summed up.
const MOST_DAYS: i64 = 731;

/// What was poured on some days cost.
/// # Errors
/// When the caller may not see it, or the days cannot be summed up.
pub async fn read_costs(app: &App, caller: &Caller, site: SiteId, days: Days) -> Result<SiteCosts, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let span = (days.until - days.from).num_days() + 1;
    if !(1..=MOST_DAYS).contains(&span) {
        let detail = "expected a day from from_on on, and at most two years";
        return Err(Refusal::invalid("/until_on", "out_of_range", detail));
    }
    let tx = app.store.look().await?;
    let site = plan::site(&tx, scope).await?.ok_or(Refusal::NotFound)?.content;
    let begins = |day: NaiveDate| day.and_time(chrono::NaiveTime::MIN).and_utc();
    // A day more on either side, since those of the site are not those of UTC.
    let (from, until) =
        (begins(days.from) - chrono::TimeDelta::days(1), begins(days.until) + chrono::TimeDelta::days(2));
    let plan = plan::site_plan_since(&tx, scope, from).await?.ok_or(Refusal::NotFound)?;
    let additions = entries::standing::<Addition>(&tx, scope, from, until).await?;
    let additions: Vec<Addition> = additions.into_iter().map(|(_, addition)| addition).collect();
    let prices = prices(&tx, scope, &site).await?;
    // What was poured may have been made long before.
    let taken = movements::taken_out_since(&tx, scope, from - MADE_BEFORE).await?;
    let products = records::all::<Product>(&tx, scope.in_business()).await?;
    let named = |kept: Kept<Product>| (kept.id, kept.content.name);
    Ok(SiteCosts {
        costs: costs::costs(&additions, (&prices, &TakenOut::new(taken)), &plan, days),
        currency: site.currency,
        products: products.into_iter().map(named).collect(),
        tanks: plan.tanks.iter().map(|kept| (kept.id, kept.content.name.clone())).collect(),
        rooms: plan.rooms.iter().map(|kept| (kept.id, kept.content.name.clone())).collect(),
    })
}

pub(super) async fn prices(tx: &Tx, scope: SiteScope, site: &Site) -> Result<Vec<PricePaid>, Refusal> {
    let orders = records::all::<Order>(tx, scope).await?;
    let offers = records::all::<Offer>(tx, scope).await?;
    Ok(costs::prices(&orders, &offers, site.currency))
}
