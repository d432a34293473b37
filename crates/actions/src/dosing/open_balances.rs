//! The job that looks for balances which do not close, and says so once.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use fillmark_advice::solution::reconcile::{Checked, Loss, LossCause};
use fillmark_domain::Id;
use fillmark_domain::entries::{Addition, Reading, Spot};
use fillmark_domain::people::Act;
use fillmark_domain::places::{Site, SiteId, TankId};
use fillmark_domain::work::{AlertKind, ClosedBy};
use fillmark_store::alerts::{about_unclosed_since, ever_about};
use fillmark_store::{SiteScope, Tx, entries, plan, records};
use uuid::Uuid;

use super::facts::Facts;
use super::{meters, reconciliation, uptake};
use crate::{App, Caller, Refusal, alerts};

/// Records older than this were looked at often enough.
const LOOKED_AT: TimeDelta = TimeDelta::days(14);

/// What plants usually drink is learnt from so many days.
const USUAL_OF: TimeDelta = TimeDelta::days(28);

/// What lies so long before a record tells what to make of it.
const LOOKED_BESIDE: TimeDelta = TimeDelta::days(7);

/// Something that somebody should look at.
struct Finding {
    about: Uuid,
    /// When it came to be.
    at: DateTime<Utc>,
    /// Whether it can come again once it was put right: a meter that is out can, an addition that was mis-keyed cannot.
    comes_again: bool,
    text: String,
}

/// Holds the records of each tank of each site against its readings, and raises an alert where they do not fit. What goes
/// wrong at one site leaves the others alone.
/// # Errors
/// When the sites cannot be read.
pub async fn watch_balances(app: &App) -> Result<(), Refusal> {
    let business = Caller::job().may_in_business(Act::Read)?;
    let tx = app.store.look().await?;
    let sites = records::all::<Site>(&tx, business).await?;
    drop(tx);
    for site in sites {
        if let Err(refusal) = watch_balances_at(app, site.id).await {
            tracing::error!(error = &refusal as &dyn std::error::Error, site = %site.id, "balances were not looked at");
        }
    }
    Ok(())
}

/// The same at one site. While one server looks at it, others pass it over; looked at twice, nothing is raised twice.
/// # Errors
/// When the site is not there or the database fails.
pub async fn watch_balances_at(app: &App, site: SiteId) -> Result<(), Refusal> {
    let scope = Caller::job().may(Act::Manage, site)?;
    let tx = app.store.look().await?;
    if !tx.try_turn(&format!("balances of {site}")).await? {
        return Ok(());
    }
    let at = app.now();
    let plan = plan::site_plan_since(&tx, scope, at - USUAL_OF).await?.ok_or(Refusal::NotFound)?;
    let today = plan.day(at);
    let (mut still, mut looked_at) = (Vec::new(), Vec::new());
    // One after the other, so that no more than one tank's records are in memory.
    for tank in plan.tanks.iter().filter(|tank| tank.content.mode.is_changed() && plan.in_use(tank.id, today))
    {
        let found = findings(app, &tx, scope, tank.id, at).await;
        let raised = match &found {
            Ok(found) => raise_new(app, scope, found).await,
            Err(_) => Ok(()),
        };
        // The others are looked at all the same.
        match found.and_then(|found| raised.map(|()| found)) {
            Ok(found) => {
                looked_at.push(tank.id);
                still.extend(found.iter().map(|finding| finding.about));
            }
            Err(error) => {
                tracing::error!(tank = %tank.id, error = &error as &dyn std::error::Error, "a tank could not be reconciled");
            }
        }
    }
    drop(tx);
    close_mended(app, scope, &still, &looked_at).await
}

/// Closes what was raised lately and is no more, since somebody corrected the entry. What is about a tank that was not looked at, or
/// about records so old that others beside them are looked at no more, stays: whoever settles it closes it.
async fn close_mended(
    app: &App,
    scope: SiteScope,
    still: &[Uuid],
    looked_at: &[TankId],
) -> Result<(), Refusal> {
    let stamp = app.unsigned();
    let kind = AlertKind::BalanceOpen;
    let tx = app.store.begin().await?;
    for about in about_unclosed_since(&tx, scope, kind, stamp.at - LOOKED_AT).await? {
        let seen = match where_and_when(&tx, scope, about).await? {
            Some((tank, at)) => looked_at.contains(&tank) && at >= stamp.at - LOOKED_AT - LOOKED_BESIDE,
            None => false,
        };
        if seen && !still.contains(&about) {
            alerts::close_for(&tx, scope, &stamp, kind, about, ClosedBy::Over).await?;
        }
    }
    tx.commit().await?;
    Ok(())
}

/// The tank that an addition or a reading is of, and when it was made; none of a meter.
async fn where_and_when(
    tx: &Tx,
    scope: SiteScope,
    about: Uuid,
) -> Result<Option<(TankId, DateTime<Utc>)>, Refusal> {
    if let Some((_, addition)) = entries::find::<Addition>(tx, scope, Id::new(about)).await? {
        return Ok(Some((addition.tank, addition.recorded_at)));
    }
    let reading = entries::find::<Reading>(tx, scope, Id::new(about)).await?;
    Ok(reading.and_then(|(_, reading)| match reading.spot {
        Spot::Tank(tank) => Some((tank, reading.taken_at())),
        Spot::Room(_) => None,
    }))
}

async fn findings(
    app: &App,
    tx: &Tx,
    scope: SiteScope,
    tank: TankId,
    at: DateTime<Utc>,
) -> Result<Vec<Finding>, Refusal> {
    let span = (at - USUAL_OF, at);
    let facts = Facts::load_since(app, tx, scope, tank, span).await?;
    let (name, zone) = (&facts.tank.content.name, facts.plan.zone);
    let checks = reconciliation::checks(&facts, span.0);
    let mistakes = checks.iter().filter_map(|check| {
        let text =
            format!("{name}, {}: {}", local(check.at, zone), check.told(|product| facts.called(product)));
        of_check(check, text)
    });
    let losses = uptake::of_tank(tx, scope, &facts, span).await?.losses;
    let leaks = losses.iter().filter(|loss| loss.cause == LossCause::Leak);
    let apart = meters::told_apart(tx, scope, &reconciliation::since(&facts, span.0)).await?;
    let leaks = leaks.map(|loss| of_leak(loss, name, zone));
    let mut found: Vec<Finding> = mistakes.chain(leaks).collect();
    // Of one meter many checks tell the same; the last of them counts.
    found.sort_by_key(|finding| (finding.about, std::cmp::Reverse(finding.at)));
    found.dedup_by_key(|finding| finding.about);
    for (apart, told) in apart {
        let (about, at) = (apart.meters[0].uuid(), apart.at);
        let text = format!("{name}, {}: {told}", local(at, zone));
        match found.iter_mut().find(|finding| finding.about == about) {
            Some(finding) => {
                finding.text = format!("{} {text}", finding.text);
                finding.at = finding.at.max(at);
            }
            None => found.push(Finding { about, at, comes_again: true, text }),
        }
    }
    Ok(found)
}

/// About the first of the additions, whichever of them it was: the likeliest may be another one once more is known.
fn of_check(check: &Checked, text: String) -> Option<Finding> {
    if !check.verdict.wants_a_look() {
        return None;
    }
    if let Some(meter) = check.verdict.meter() {
        return Some(Finding { about: meter.uuid(), at: check.at, comes_again: true, text });
    }
    let addition = check.poured.first().map(|dose| dose.id).or(check.water.first().copied());
    let about = addition.map(|id| id.uuid()).or(check.readings.last().map(|after| after.uuid()))?;
    Some(Finding { about, at: check.at, comes_again: false, text })
}

fn of_leak(loss: &Loss, name: &str, zone: Tz) -> Finding {
    let [from, until] = loss.between.map(|at| local(at, zone));
    let text = format!("{name}, {from} to {until}: {}", loss.told());
    Finding { about: loss.readings[0].uuid(), at: loss.between[1], comes_again: false, text }
}

fn local(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).format("%Y-%m-%d %H:%M").to_string()
}

/// Raises what nobody was ever told, or what has come again since it was put right.
async fn raise_new(app: &App, scope: SiteScope, found: &[Finding]) -> Result<(), Refusal> {
    let stamp = app.unsigned();
    let found: Vec<&Finding> = found.iter().filter(|finding| finding.at >= stamp.at - LOOKED_AT).collect();
    if found.is_empty() {
        return Ok(());
    }
    let about: Vec<Uuid> = found.iter().map(|finding| finding.about).collect();

    let tx = app.store.begin().await?;
    let told = ever_about(&tx, scope, AlertKind::BalanceOpen, &about).await?;
    // While records from before it was put right are still looked at, they show the same.
    let over = |closed: Option<DateTime<Utc>>| closed.is_some_and(|closed| closed < stamp.at - LOOKED_AT);
    let is_new = |finding: &&Finding| {
        let mut of_it = told.iter().filter(|(about, _)| *about == finding.about);
        of_it.all(|(_, closed)| finding.comes_again && over(*closed))
    };
    for finding in found.into_iter().filter(is_new) {
        alerts::raise(&tx, scope, &stamp, AlertKind::BalanceOpen, finding.about, &finding.text).await?;
    }
    tx.commit().await?;

    Ok(())
}
