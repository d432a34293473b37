//! How plans make checks: a fortnight ahead, each once, remade while nobody has opened it.

use std::collections::BTreeMap;

use chrono::{Days as ChronoDays, NaiveDate};
use chrono_tz::Tz;
use fillmark_domain::work::{Check, CheckPlan};
use fillmark_domain::{Days, Id, Kept};
use fillmark_store::planning::{self, plans_behind};
use fillmark_store::{SiteScope, Stamp, Tx};

use super::{changes, local_day, zone_of};
use crate::{App, Refusal};

/// Checks are made so many days ahead.
const AHEAD: u64 = 14;
/// After a time without a server so many days are made up for at once…
const DAYS_AT_ONCE: u64 = 31;
/// …and so many times in one beat.
const MOST_BATCHES: usize = 12;

/// Makes the checks of plans that have not been followed a fortnight ahead yet.
/// # Errors
/// When the database fails.
pub(super) async fn follow_plans(app: &App, site: SiteScope) -> Result<(), Refusal> {
    let tx = app.store.look().await?;
    let today = local_day(zone_of(&tx, site).await?, app.now());
    let behind = plans_behind(&tx, site, after(today, AHEAD)).await?;
    drop(tx);
    for plan in behind {
        for _ in 0..MOST_BATCHES {
            if !follow_on(app, site, plan).await? {
                break;
            }
        }
    }
    Ok(())
}

/// Follows a plan some days on; says whether there is more to do.
async fn follow_on(app: &App, site: SiteScope, plan: Id<CheckPlan>) -> Result<bool, Refusal> {
    let stamp = app.unsigned();
    let tx = app.store.begin().await?;
    // Held by another beat or by whoever is changing it: they see to it.
    let Some(kept) = planning::lock_plan(&tx, site, plan).await? else { return Ok(false) };
    // Asked only now: whoever changes the site's clock holds its plans meanwhile.
    let zone = zone_of(&tx, site).await?;
    let today = local_day(zone, stamp.at);
    let until = planning::planned_until(&tx, site, plan).await?;
    let from = until.map_or(today, |until| after(until, 1));
    let goal = after(today, AHEAD);
    if kept.archived_at.is_some() || from > goal {
        return Ok(false);
    }
    let until = goal.min(after(from, DAYS_AT_ONCE));
    let checks = checks_of(&kept, zone, Days { from, until });
    let made = planning::claim(&tx, site, &stamp, &checks).await?;
    planning::note_planned(&tx, site, &stamp, plan, until, made).await?;
    tx.commit().await?;
    Ok(until < goal)
}

/// Remakes the checks of a plan that was made, changed or archived: those to come that nobody opened. What is
/// still due then keeps its id, and so its place in rounds.
/// # Errors
/// When the database fails.
pub(crate) async fn remake(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    plan: &Kept<CheckPlan>,
) -> Result<(), Refusal> {
    let zone = zone_of(tx, site).await?;
    let today = local_day(zone, stamp.at);
    let until = after(today, AHEAD);
    let mut wanted: BTreeMap<_, Check> = BTreeMap::new();
    if plan.archived_at.is_none() {
        let checks = checks_of(plan, zone, Days { from: today, until });
        let coming = checks.into_iter().filter(|check| check.due_at > stamp.at);
        wanted.extend(coming.map(|check| ((check.date, check.time), check)));
    }
    let mut withdrawn = Vec::new();
    for kept in planning::lock_coming(tx, site, plan.id, stamp.at).await? {
        match wanted.remove(&(kept.check.date, kept.check.time)) {
            Some(check) if check != kept.check => {
                planning::remake(tx, site, stamp, kept.id, &check).await?;
            }
            Some(_) => {}
            None => withdrawn.push(kept.id),
        }
    }
    planning::withdraw(tx, site, &withdrawn).await?;
    let new: Vec<Check> = wanted.into_values().collect();
    let made = planning::claim(tx, site, stamp, &new).await?;
    Ok(planning::note_planned(tx, site, stamp, plan.id, until, made).await?)
}

/// Remakes the checks of all plans and programmes of a site whose clock has changed.
/// # Errors
/// When the database fails.
pub(crate) async fn remake_all(tx: &Tx, site: SiteScope, stamp: &Stamp<'_>) -> Result<(), Refusal> {
    for plan in planning::plans(tx, site).await? {
        let kept = fillmark_store::records::find(tx, site, plan).await?;
        if let Some(kept) = kept {
            remake(tx, site, stamp, &kept).await?;
        }
    }
    changes::remake(tx, site, stamp).await
}

/// The checks of a plan; one whose rule leads nowhere makes none, and the log says so.
fn checks_of(plan: &Kept<CheckPlan>, zone: Tz, days: Days) -> Vec<Check> {
    plan.content.checks(plan.id, zone, days).unwrap_or_else(|error| {
        tracing::error!(error = &error as &dyn std::error::Error, plan = %plan.id, "a plan makes no checks");
        Vec::new()
    })
}

fn after(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(ChronoDays::new(days)).unwrap_or(day)
}
