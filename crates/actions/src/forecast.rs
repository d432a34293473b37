//! The purchase forecast of a site, and draft orders from it.

mod ledger;
mod shelf;

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_advice::supply::{
    DEFAULT_HORIZON_DAYS, DEFAULT_REVIEW_DAYS, Forecast, Purchase, Question, forecast,
};
use fillmark_domain::people::Act;
use fillmark_domain::places::{SiteId, Tank};
use fillmark_domain::stock::{Offer, Order, OrderLine, OrderState, Product, ProductId, Supplier};
use fillmark_domain::{Id, Kept};
use fillmark_store::{SiteScope, Tx, plan, records};

use self::ledger::Ledger;
use self::shelf::Shelf;
use crate::{App, Caller, Refusal};

/// A forecast with the words it speaks of.
#[derive(Debug, Clone)]
pub struct SiteForecast {
    /// The first day forecast.
    pub today: NaiveDate,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// Chance of not running out that it plans for.
    pub service_level: f64,
    /// The answer.
    pub forecast: Forecast,
    /// The products it speaks of.
    pub products: HashMap<ProductId, Kept<Product>>,
    /// The suppliers it speaks of.
    pub suppliers: HashMap<Id<Supplier>, Kept<Supplier>>,
    /// The tanks in the order of the question.
    pub tanks: Vec<Kept<Tank>>,
}

/// Forecasts what a site will use and what to order by when.
/// # Errors
/// When the caller may not see it, or the horizon is out of range.
pub async fn read(
    app: &App,
    caller: &Caller,
    site: SiteId,
    horizon_days: Option<u16>,
) -> Result<SiteForecast, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let horizon_days = horizon_days.unwrap_or(DEFAULT_HORIZON_DAYS);
    if !(1..=365).contains(&horizon_days) {
        return Err(Refusal::invalid("/horizon_days", "out_of_range", "expected 1 to 365"));
    }
    let tx = app.store.look().await?;
    make(&tx, scope, app.now(), horizon_days).await
}

/// Makes draft orders of what the forecast says to order by a day, one for each supplier. What a draft has already
/// is not drafted again.
/// # Errors
/// When the caller may not.
pub async fn draft_orders(
    app: &App,
    caller: &Caller,
    site: SiteId,
    by: NaiveDate,
) -> Result<Vec<Kept<Order>>, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let stamp = app.stamp(caller);

    let tx = app.store.begin().await?;
    tx.take_turn(&format!("drafts of {}", site.uuid())).await?;
    let made = make(&tx, scope, stamp.at, DEFAULT_HORIZON_DAYS).await?;
    let offers = records::all::<Offer>(&tx, scope).await?;
    let drafted = drafted(&tx, scope).await?;
    let mut drafts = Vec::new();
    for proposed in made.forecast.orders.iter().filter(|proposed| proposed.order_by.date() <= by) {
        let ordered =
            made.forecast.products.iter().filter(|product| proposed.products.contains(&product.product));
        let purchases = ordered
            .filter(|product| !drafted.contains(&product.product))
            .filter_map(|product| product.purchase.as_ref());
        let lines: Vec<OrderLine> = purchases.filter_map(|purchase| line(purchase, &offers)).collect();
        if !lines.is_empty() {
            let draft = Order::draft(proposed.supplier, lines);
            drafts.push(records::create(&tx, scope, &stamp, &draft).await?);
        }
    }
    tx.commit().await?;

    Ok(drafts)
}

async fn drafted(tx: &Tx, scope: SiteScope) -> Result<HashSet<ProductId>, Refusal> {
    let mut orders = records::all::<Order>(tx, scope).await?;
    orders.retain(|kept| kept.content.state == OrderState::Draft);
    Ok(orders.iter().flat_map(|kept| &kept.content.lines).map(|line| line.product).collect())
}

fn line(purchase: &Purchase, offers: &[Kept<Offer>]) -> Option<OrderLine> {
    let offer = offers.iter().find(|kept| kept.content == purchase.offer)?;
    Some(OrderLine {
        product: purchase.product,
        offer: offer.id,
        packs: u32::try_from(purchase.packs.count).ok().filter(|packs| *packs > 0)?,
        pack: offer.content.pack,
        base: offer.content.base,
        price: offer.content.price,
    })
}

async fn make(
    tx: &Tx,
    scope: SiteScope,
    now: DateTime<Utc>,
    horizon_days: u16,
) -> Result<SiteForecast, Refusal> {
    let site = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?.content;
    let plan = plan::site_plan(tx, scope).await?.ok_or(Refusal::NotFound)?;
    let today = plan.day(now);
    let shelf = Shelf::load(tx, scope, &plan, now).await?;
    let ledger = Ledger::load(tx, scope, now).await?;
    let rises = shelf.ec_rises();
    // What must be ordered soon may run out later than the days that are shown.
    let looked_at = horizon_days.max(DEFAULT_HORIZON_DAYS);
    let question = Question {
        today,
        horizon_days: looked_at,
        open: plan.open.clone(),
        service_level: site.service_level,
        review_days: DEFAULT_REVIEW_DAYS,
        tanks: plan.tanks.iter().map(|tank| ledger.tank(&plan, tank, today, looked_at, &rises)).collect(),
        products: shelf
            .products
            .iter()
            .map(|product| shelf.product(product, &ledger, &plan, &site, &rises))
            .collect(),
        suppliers: shelf.suppliers.iter().map(|supplier| shelf.supplier(supplier, &plan, now)).collect(),
        in_step: shelf.in_step(),
    };
    Ok(SiteForecast {
        today,
        made_at: now,
        service_level: question.service_level,
        forecast: forecast(&question).first_days(horizon_days),
        tanks: plan.tanks,
        products: shelf.products.into_iter().map(|kept| (kept.id, kept)).collect(),
        suppliers: shelf.suppliers.into_iter().map(|kept| (kept.id, kept)).collect(),
    })
}
