//! Forecasts that are issued: kept as they are, read again, and scored once their days are over.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_advice::supply::{Scored, track_record};
use fillmark_domain::people::Act;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{IssuedForecast, Product, ProductId};
use fillmark_domain::{Days, Id, Kept};
use fillmark_store::forecasts::{self, KeptForecast};
use fillmark_store::{Page, PageQuery, records};

use super::Facts;
use super::ledger::MEMORY;
use super::watch::tell;
use crate::{App, Caller, Refusal};

/// Issues a forecast now, and keeps it. What it warns of is told as after a night.
/// # Errors
/// When the caller may not, or the database fails.
pub async fn issue(app: &App, caller: &Caller, site: SiteId) -> Result<KeptForecast, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let stamp = app.stamp(caller);

    let look = app.store.look().await?;
    let facts = Facts::load(&look, scope, stamp.at).await?;
    drop(look);
    let (made, issued) = facts.issued(stamp.by).await?;
    let warnings = facts.warnings(&made);
    let tx = app.store.begin().await?;
    let id = forecasts::keep(&tx, scope, &stamp, &issued).await?.ok_or(Refusal::Taken)?;
    tell(&tx, scope, &stamp, &warnings).await?;
    tx.commit().await?;

    Ok((id, issued))
}

/// A page of the forecasts that were issued.
/// # Errors
/// When the caller may not see them.
pub async fn list(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<KeptForecast>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok(forecasts::page(&tx, scope, query).await?)
}

/// A forecast as it was issued.
/// # Errors
/// When the caller may not see it or it is not there.
pub async fn read_issued(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<IssuedForecast>,
) -> Result<KeptForecast, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let found = forecasts::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    Ok((id, found))
}

/// How the forecasts of past nights came out.
#[derive(Debug, Clone)]
pub struct TrackRecord {
    /// Up to which day their days are over.
    pub today: NaiveDate,
    /// Nights that were looked at.
    pub nights: usize,
    /// By product and days ahead.
    pub scored: Vec<Scored>,
    /// The products it speaks of.
    pub products: HashMap<ProductId, Kept<Product>>,
}

/// Holds the forecasts of past nights against what was used since.
/// # Errors
/// When the caller may not see them.
pub async fn read_track_record(app: &App, caller: &Caller, site: SiteId) -> Result<TrackRecord, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let now: DateTime<Utc> = app.now();
    let tx = app.store.look().await?;
    let facts = Facts::load(&tx, scope, now).await?;
    let days = Days { from: facts.today - MEMORY, until: facts.today - TimeDelta::days(1) };
    let nights = forecasts::of_nights(&tx, scope, days).await?;
    let products = records::all::<Product>(&tx, scope.in_business()).await?;
    let used = facts.ledger.used(&facts.plan, products.iter().map(|kept| kept.id));
    Ok(TrackRecord {
        today: facts.today,
        nights: nights.len(),
        scored: track_record(&nights, &used, facts.today),
        products: products.into_iter().map(|kept| (kept.id, kept)).collect(),
    })
}
