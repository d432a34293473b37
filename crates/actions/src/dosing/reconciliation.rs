//! A tank's records held against its readings.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_advice::solution::reconcile::{Apart, Called, Checked, Month, Verdict, additions, months};
use fillmark_advice::solution::record::TankRecord;
use fillmark_domain::Base;
use fillmark_domain::people::Act;
use fillmark_domain::places::{SiteId, TankId};
use fillmark_domain::stock::ProductId;
use fillmark_store::{SiteScope, Tx};

use super::facts::Facts;
use super::{history, meters};
use crate::{App, Caller, Refusal};

/// What a tank's readings make of its records.
#[derive(Debug, Clone)]
pub struct Reconciliation {
    /// Which tank.
    pub tank: TankId,
    /// Since when.
    pub from: DateTime<Utc>,
    /// Until when.
    pub until: DateTime<Utc>,
    /// What was poured from reading to reading, the earliest first, each with its sentence.
    pub checks: Vec<(Checked, String)>,
    /// Meters that do not show the same of it, each pair with its sentence.
    pub meters_apart: Vec<(Apart, String)>,
    /// Products by month of the site, each with its sentence.
    pub months: Vec<(Month, String)>,
    /// What products are counted in.
    pub bases: Vec<(ProductId, Base)>,
    /// What the answer rests on.
    pub reasons: Vec<String>,
    /// What to keep in mind.
    pub cautions: Vec<String>,
}

impl Reconciliation {
    /// What a product is counted in.
    pub fn base(&self, product: ProductId) -> Base {
        let found = self.bases.iter().find(|(of, _)| *of == product);
        found.map_or(Base::Volume, |(_, base)| *base)
    }
}

/// Holds what was entered of a tank in so many days against its readings.
/// # Errors
/// When the caller may not see it or the tank is not there.
pub async fn read_reconciliation(
    app: &App,
    caller: &Caller,
    site: SiteId,
    tank: TankId,
    days: u16,
) -> Result<Reconciliation, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let at = app.now();
    let span = (at - TimeDelta::days(days.into()), at);
    let tx = app.store.look().await?;
    let facts = Facts::load_since(app, &tx, scope, tank, span).await?;
    let checks = checks(&facts, span.0);
    let drawn = history::drawn(&tx, scope, tank, span).await?;
    let movers = facts.moves();
    let months = months(&drawn, &checks, &facts.rises(), facts.plan.zone);
    let called = |product: ProductId| -> Called { facts.called(product) };
    let mut poured: Vec<ProductId> = months.iter().map(|month| month.product).collect();
    poured.extend(checks.iter().flat_map(|check| &check.poured).map(|dose| dose.product));
    poured.sort_unstable();
    poured.dedup();
    let mut reasons = vec![told_of(&checks)];
    reasons.extend(facts.told_neighbours());
    Ok(Reconciliation {
        meters_apart: meters::told_apart(&tx, scope, &since(&facts, span.0)).await?,
        tank,
        from: span.0,
        until: at,
        bases: poured.into_iter().map(|product| (product, facts.base(product))).collect(),
        months: months
            .into_iter()
            .map(|month| {
                with(month, |month| month.told(&called(month.product), movers.contains_key(&month.product)))
            })
            .collect(),
        checks: checks.into_iter().map(|check| with(check, |check| check.told(called))).collect(),
        reasons,
        cautions: cautions(facts.tank.content.mode.is_changed()),
    })
}

/// What a tank's readings make of what was poured in a span of time, each with its sentence.
/// # Errors
/// When the tank is not there.
pub(crate) async fn checks_told(
    app: &App,
    tx: &Tx,
    scope: SiteScope,
    tank: TankId,
    span: (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<(Checked, String)>, Refusal> {
    let facts = Facts::load_since(app, tx, scope, tank, span).await?;
    let told = |check| with(check, |check: &Checked| check.told(|product| facts.called(product)));
    Ok(checks(&facts, span.0).into_iter().map(told).collect())
}

/// The checks of a tank since an instant. What stood before it does not count: a meter may have been put right since.
pub(super) fn checks(facts: &Facts, from: DateTime<Utc>) -> Vec<Checked> {
    let record = since(facts, from);
    let rises = facts.rises_at_hand();
    additions(&record, (&rises, facts.revised()), &facts.moves(), facts.water_ec_ms_cm())
}

/// What is on record of the tank since an instant.
pub(super) fn since(facts: &Facts, from: DateTime<Utc>) -> TankRecord {
    let events = facts.record.events.iter().filter(|event| event.at >= from).copied().collect();
    TankRecord { fill_mark_l: facts.record.fill_mark_l, events }
}

fn with<T>(of: T, told: impl Fn(&T) -> String) -> (T, String) {
    let told = told(&of);
    (of, told)
}

fn told_of(checks: &[Checked]) -> String {
    let count = |so: &dyn Fn(&Verdict) -> bool| checks.iter().filter(|check| so(&check.verdict)).count();
    let (all, off) = (checks.len(), count(&Verdict::wants_a_look));
    let agree = count(&|verdict| *verdict == Verdict::Agrees);
    let untold = all - off - agree;
    format!("Of {all} checks {agree} agree with the records, {off} do not, and {untold} tell nothing.")
}

fn cautions(changed: bool) -> Vec<String> {
    let likeliest = "A cause that is named is the likeliest of the usual ones and no proof: look at the records before any is \
                     corrected.";
    let waste =
        "The tank is filled again and again without a record of each time, so that its readings tell little.";
    [(true, likeliest), (!changed, waste)]
        .into_iter()
        .filter(|(so, _)| *so)
        .map(|(_, one)| one.to_owned())
        .collect()
}
