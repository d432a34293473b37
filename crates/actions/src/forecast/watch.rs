//! The job of each night: the forecast of the day is issued, and what it warns of is told.

use std::collections::BTreeSet;

use chrono::{NaiveTime, TimeDelta};
use fillmark_advice::supply::warnings::{
    OrderOut, PriceStep, SUPPLY_ALERTS, Warning, of_forecast, of_orders, of_prices,
};
use fillmark_advice::supply::{Forecast, SupplierAsked, lead_time};
use fillmark_domain::people::Act;
use fillmark_domain::places::{Site, SiteId};
use fillmark_domain::stock::Product;
use fillmark_domain::work::ClosedBy;
use fillmark_domain::{Base, Kept};
use fillmark_store::{SiteScope, Stamp, Tx, alerts as kept_alerts, forecasts, plan, records};
use uuid::Uuid;

use super::Facts;
use crate::{App, Caller, Refusal, alerts};

/// From this time of a site's own day on its forecast is issued (our own judgement): before anybody comes to work.
const AFTER: NaiveTime = NaiveTime::from_hms_opt(3, 0, 0).unwrap();

/// What a person closed is not told again for so long (our own judgement).
const CLOSED_FOR: TimeDelta = TimeDelta::days(7);

/// Issues the forecast of each site whose day has none yet. What goes wrong at one site leaves the others alone.
/// # Errors
/// When the sites cannot be read.
pub async fn watch_supply(app: &App) -> Result<(), Refusal> {
    let business = Caller::job().may_in_business(Act::Read)?;
    let tx = app.store.look().await?;
    let sites = records::all::<Site>(&tx, business).await?;
    drop(tx);
    for site in sites {
        let local = app.now().with_timezone(&site.content.time_zone).naive_local();
        if local.time() < AFTER {
            continue;
        }
        if let Err(refusal) = watch_supply_at(app, site.id).await {
            tracing::error!(error = &refusal as &dyn std::error::Error, site = %site.id, "no forecast was issued");
        }
    }
    Ok(())
}

/// The same at one site, at any time of its day.
/// # Errors
/// When the site is not there or the database fails.
pub async fn watch_supply_at(app: &App, site: SiteId) -> Result<(), Refusal> {
    let scope = Caller::job().may(Act::Manage, site)?;
    let stamp = app.unsigned();

    let look = app.store.look().await?;
    let zone = plan::site(&look, scope).await?.ok_or(Refusal::NotFound)?.content.time_zone;
    let today = stamp.at.with_timezone(&zone).date_naive();
    if forecasts::has_night(&look, scope, today).await? {
        return Ok(());
    }
    let facts = Facts::load(&look, scope, stamp.at).await?;
    drop(look);
    let (made, issued) = facts.issued(None).await?;
    let warnings = facts.warnings(&made);
    let tx = app.store.begin().await?;
    // Another server may have been quicker; then it has told as well.
    if forecasts::keep(&tx, scope, &stamp, &issued).await?.is_some() {
        tell(&tx, scope, &stamp, &warnings).await?;
        tx.commit().await?;
    }
    Ok(())
}

/// Raises what is not told yet, tells what is told as it is now, and closes what is over.
pub(super) async fn tell(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    warnings: &[Warning],
) -> Result<(), Refusal> {
    for kind in SUPPLY_ALERTS {
        let of_kind = || warnings.iter().filter(|warning| warning.kind == kind);
        let still: BTreeSet<Uuid> = of_kind().map(|warning| warning.about).collect();
        for about in kept_alerts::about_unclosed(tx, scope, kind).await? {
            if !still.contains(&about) {
                alerts::close_for(tx, scope, stamp, kind, about, ClosedBy::Over).await?;
            }
        }
        let hushed = kept_alerts::closed_by_people(tx, scope, kind, stamp.at - CLOSED_FOR).await?;
        for warning in of_kind().filter(|warning| !hushed.contains(&warning.about)) {
            alerts::raise(tx, scope, stamp, kind, warning.about, &warning.text).await?;
            kept_alerts::retell(tx, scope, stamp, kind, warning.about, &warning.text).await?;
        }
    }
    Ok(())
}

impl Facts {
    pub(super) fn warnings(&self, made: &Forecast) -> Vec<Warning> {
        let shelf = &self.shelf;
        let named = |product| {
            let found = shelf.products.iter().find(|kept| kept.id == product);
            let told = |kept: &Kept<Product>| (kept.content.name.clone(), kept.content.base);
            found.map_or((String::new(), Base::Volume), told)
        };
        let placed = shelf.placed().filter_map(|(order, supplier, (placed_on, expected_on))| {
            let supplier = shelf.suppliers.iter().find(|kept| kept.id == supplier)?;
            // What is waited for would make the supplier slower the later it is, and so never late.
            let terms =
                SupplierAsked { waited_for: Vec::new(), ..shelf.supplier(supplier, &self.plan, self.now) };
            let lead_time = lead_time(&terms, &self.plan.open, self.today);
            Some(OrderOut { id: order, supplier: &supplier.content, placed_on, expected_on, lead_time })
        });
        let steps = shelf.prices().filter_map(|(offer, before)| {
            let product = shelf.products.iter().find(|kept| kept.id == offer.content.product)?;
            let supplier = shelf.suppliers.iter().find(|kept| kept.id == offer.content.supplier)?;
            Some(PriceStep {
                offer: offer.id,
                product: &product.content,
                pack: offer.content.pack,
                supplier: &supplier.content.name,
                before,
                now: offer.content.price,
            })
        });
        let mut warnings = of_forecast(made, self.today, named, |lot| shelf.lot_number(lot));
        warnings.extend(of_orders(&placed.collect::<Vec<_>>(), self.today));
        warnings.extend(of_prices(&steps.collect::<Vec<_>>()));
        warnings
    }
}
