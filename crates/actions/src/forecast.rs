//! The purchase forecast of a site, and draft orders from it.

mod issued;
mod ledger;
mod shelf;
mod spares;
mod watch;

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_advice::supply::{
    DEFAULT_HORIZON_DAYS, DEFAULT_REVIEW_DAYS, Forecast, Giver, Purchase, PurchaseLine, Question, SiteUse,
    answer, answer_with, issued as issued_forecast, sought, use_of,
};
use fillmark_domain::people::{Act, PersonId};
use fillmark_domain::places::{Site, SiteId, Tank};
use fillmark_domain::plan::{NotPlanned, PlanChange, SitePlan};
use fillmark_domain::stock::{
    IssuedForecast, Offer, Order, OrderLine, OrderState, Product, ProductId, Supplier,
};
use fillmark_domain::{Base, Id, Kept};
use fillmark_store::{SiteScope, Tx, plan, records};

pub use self::issued::{TrackRecord, issue, list, read_issued, read_track_record};
use self::ledger::Ledger;
use self::shelf::Shelf;
use self::spares::givers;
pub use self::spares::{SiteSpares, Spares, read_spares};
pub use self::watch::{watch_supply, watch_supply_at};
use crate::refusal::Failure;
use crate::stock::SupplierOrder;
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
    /// The sites it speaks of: those that can give something first.
    pub sites: HashMap<SiteId, Kept<Site>>,
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
    let horizon_days = horizon(horizon_days)?;
    let tx = app.store.look().await?;
    make(&tx, caller, (site, scope), app.now(), horizon_days).await
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
) -> Result<Vec<SupplierOrder>, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let stamp = app.stamp(caller);

    let tx = app.store.begin().await?;
    tx.take_turn(&format!("drafts of {}", site.uuid())).await?;
    let made = make(&tx, caller, (site, scope), stamp.at, DEFAULT_HORIZON_DAYS).await?;
    let offers = records::all::<Offer>(&tx, scope).await?;
    let drafted = drafted(&tx, scope).await?;
    let mut drafts = Vec::new();
    for proposed in made.forecast.orders.iter().filter(|proposed| proposed.order_by.date() <= by) {
        let ordered =
            made.forecast.products.iter().filter(|product| proposed.products.contains(&product.product));
        let purchases = ordered
            .filter(|product| !drafted.contains(&product.product))
            .filter_map(|product| product.purchase.as_ref());
        let lines: Vec<OrderLine> = purchases.flat_map(|purchase| lines(purchase, &offers)).collect();
        if !lines.is_empty() {
            let draft = Order::draft(proposed.supplier, lines);
            let kept = records::create(&tx, scope, &stamp, &draft).await?;
            drafts.push(SupplierOrder::of(&tx, scope, kept).await?);
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

fn lines(purchase: &Purchase, offers: &[Kept<Offer>]) -> Vec<OrderLine> {
    let line = |bought: &PurchaseLine| {
        let offer = offers.iter().find(|kept| kept.content == bought.offer)?;
        Some(OrderLine {
            product: purchase.product,
            offer: offer.id,
            packs: u32::try_from(bought.packs.count).ok().filter(|packs| *packs > 0)?,
            pack: offer.content.pack,
            base: offer.content.base,
            price: offer.content.price,
            why: Some(purchase.told()),
        })
    };
    purchase.lines.iter().filter_map(line).collect()
}

/// The forecast as planned, and as it would be with some changes of the plan, of which nothing is kept.
#[derive(Debug, Clone)]
pub struct WhatIf {
    /// As planned.
    pub planned: SiteForecast,
    /// With the changes.
    pub changed: SiteForecast,
}

/// Forecasts what a site would use if its plan were changed, beside what it will as planned.
/// # Errors
/// When the caller may not see it, the horizon is out of range, or a change names what the plan does not have.
pub async fn what_if(
    app: &App,
    caller: &Caller,
    site: SiteId,
    horizon_days: Option<u16>,
    changes: &[PlanChange],
) -> Result<WhatIf, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let horizon_days = horizon(horizon_days)?;
    let tx = app.store.look().await?;
    let facts = Facts::load(&tx, scope, app.now()).await?;
    let mut plan = facts.plan.clone();
    let named: Vec<_> = changes.iter().filter_map(PlanChange::programme).collect();
    for (programme, revisions) in plan::revisions(&tx, scope.in_business(), &named).await? {
        plan.revisions.entry(programme).or_insert(revisions);
    }
    for (place, change) in changes.iter().enumerate() {
        plan = plan.with(change, facts.today).map_err(|unknown| {
            let field = match unknown {
                NotPlanned::Programme => "programme_id",
                NotPlanned::Cycle => "cycle_id",
                NotPlanned::Tank => "tank_id",
                NotPlanned::Room => "room_id",
            };
            Refusal::invalid(&format!("/changes/{place}/{field}"), "unknown_id", unknown.to_string())
        })?;
    }
    drop(tx);
    let changed = facts.forecast(&plan, horizon_days).await?;
    Ok(WhatIf { planned: facts.forecast(&facts.plan, horizon_days).await?, changed })
}

fn horizon(asked: Option<u16>) -> Result<u16, Refusal> {
    let days = asked.unwrap_or(DEFAULT_HORIZON_DAYS);
    if (1..=365).contains(&days) {
        return Ok(days);
    }
    Err(Refusal::invalid("/horizon_days", "out_of_range", "expected 1 to 365"))
}

/// The forecast as planned, with what other sites can give of what must soon be bought.
async fn make(
    tx: &Tx,
    caller: &Caller,
    (site, scope): (SiteId, SiteScope),
    now: DateTime<Utc>,
    horizon_days: u16,
) -> Result<SiteForecast, Refusal> {
    let facts = Facts::load(tx, scope, now).await?;
    let (asked, made) = used_and_answered(facts.question(&facts.plan, horizon_days)).await?;
    let givers = givers(tx, caller, (site, scope), &sought(&made, facts.today), now).await?;
    if givers.is_empty() {
        return Ok(facts.told(&facts.plan, made, horizon_days));
    }
    let can_give: Vec<Giver<'_>> =
        givers.iter().map(|(site, forecast)| Giver { site: site.id, forecast }).collect();
    let made = answer_with(&asked.question, asked.used, &can_give);
    let told = facts.told(&facts.plan, made, horizon_days);
    Ok(SiteForecast { sites: givers.into_iter().map(|(site, _)| (site.id, site)).collect(), ..told })
}

/// A question with what will be used by it, so that it can be answered once more.
struct Asked {
    question: Question,
    used: SiteUse,
}

/// The forecast is work for a thread of its own: a large site takes a part of a second.
async fn used_and_answered(question: Question) -> Result<(Asked, Forecast), Refusal> {
    let work = move || {
        let used = use_of(&question);
        let made = answer(&question, used.clone());
        (Asked { question, used }, made)
    };
    tokio::task::spawn_blocking(work).await.map_err(|error| Refusal::Failed(Failure::CutOff(error)))
}

async fn answered(question: Question) -> Result<(Question, Forecast), Refusal> {
    let (asked, made) = used_and_answered(question).await?;
    Ok((asked.question, made))
}

/// What a forecast stands on.
struct Facts {
    site: Site,
    plan: SitePlan,
    shelf: Shelf,
    ledger: Ledger,
    now: DateTime<Utc>,
    today: NaiveDate,
}

impl Facts {
    async fn load(tx: &Tx, scope: SiteScope, now: DateTime<Utc>) -> Result<Facts, Refusal> {
        let plan = plan::site_plan(tx, scope).await?.ok_or(Refusal::NotFound)?;
        Ok(Facts {
            site: plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?.content,
            shelf: Shelf::load(tx, scope, &plan, now).await?,
            ledger: Ledger::load(tx, scope, now).await?,
            now,
            today: plan.day(now),
            plan,
        })
    }

    /// What comes of it by a plan.
    async fn forecast(&self, plan: &SitePlan, horizon_days: u16) -> Result<SiteForecast, Refusal> {
        let (_, made) = answered(self.question(plan, horizon_days)).await?;
        Ok(self.told(plan, made, horizon_days))
    }

    fn told(&self, plan: &SitePlan, made: Forecast, horizon_days: u16) -> SiteForecast {
        let kept = |products: &[Kept<Product>]| products.iter().map(|kept| (kept.id, kept.clone())).collect();
        SiteForecast {
            today: self.today,
            made_at: self.now,
            service_level: self.site.service_level,
            forecast: made.first_days(horizon_days),
            tanks: plan.tanks.clone(),
            products: kept(&self.shelf.products),
            suppliers: self.shelf.suppliers.iter().map(|kept| (kept.id, kept.clone())).collect(),
            sites: HashMap::new(),
        }
    }

    /// The forecast as planned, and what is kept of it.
    async fn issued(&self, by: Option<PersonId>) -> Result<(Forecast, IssuedForecast), Refusal> {
        let (question, made) = answered(self.question(&self.plan, DEFAULT_HORIZON_DAYS)).await?;
        let base = |product| {
            let found = self.shelf.products.iter().find(|kept| kept.id == product);
            found.map_or(Base::Volume, |kept| kept.content.base)
        };
        let issued = issued_forecast(&question, &made, self.now, by, base);
        Ok((made, issued))
    }

    fn question(&self, plan: &SitePlan, horizon_days: u16) -> Question {
        let (shelf, ledger, today) = (&self.shelf, &self.ledger, self.today);
        let rises = shelf.ec_rises();
        // What must be ordered soon may run out later than the days that are shown.
        let looked_at = horizon_days.max(DEFAULT_HORIZON_DAYS);
        let product = |product| shelf.product(product, ledger, plan, &self.site, &rises);
        Question {
            today,
            horizon_days: looked_at,
            open: plan.open.clone(),
            service_level: self.site.service_level,
            review_days: DEFAULT_REVIEW_DAYS,
            tanks: plan.tanks.iter().map(|tank| ledger.tank(plan, tank, today, looked_at, &rises)).collect(),
            products: shelf.products.iter().map(product).collect(),
            suppliers: shelf
                .suppliers
                .iter()
                .map(|supplier| shelf.supplier(supplier, plan, self.now))
                .collect(),
            in_step: shelf.in_step(),
        }
    }
}
