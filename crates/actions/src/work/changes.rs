//! How the feeding programme makes checks: one for each tank change that is due within a fortnight, remade while
//! nobody has opened it, settled by the change that somebody enters.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Days as ChronoDays, NaiveDate, TimeDelta, Utc};
use fillmark_domain::entries::TankChange;
use fillmark_domain::places::TankId;
use fillmark_domain::plan::SitePlan;
use fillmark_domain::work::{Check, CheckState, Place, change_check};
use fillmark_domain::{Days, Id};
use fillmark_store::checks::{self, KeptCheck, Typed};
use fillmark_store::{SiteScope, Stamp, StoreError, Tx, plan, planning, tank_changes};

use super::keep_state;
use crate::{App, Refusal};

/// Checks are made so many days ahead.
const AHEAD: u64 = 14;

/// What is to be done so that the checks to come are those that the programme wants.
#[derive(Debug, Default)]
struct Remaking {
    new: Vec<Check>,
    other: Vec<(Id<Check>, Check)>,
    withdrawn: Vec<Id<Check>>,
}

/// Makes the checks of the tank changes that are due, in a transaction of its own and only where one is wanting.
/// # Errors
/// When the database fails.
pub(super) async fn follow_programmes(app: &App, site: SiteScope) -> Result<(), Refusal> {
    let stamp = app.unsigned();
    let tx = app.store.look().await?;
    let remaking =
        wanting(&tx, site, &stamp, checks::coming_of_programme(&tx, site, stamp.at).await?).await?;
    drop(tx);
    if remaking.is_nothing() {
        return Ok(());
    }
    let tx = app.store.begin().await?;
    remake(&tx, site, &stamp).await?;
    Ok(tx.commit().await?)
}

/// Remakes the checks of tank changes to come that nobody opened. What is still due then keeps its id, and so its
/// place in rounds.
/// # Errors
/// When the database fails.
pub(crate) async fn remake(tx: &Tx, site: SiteScope, stamp: &Stamp<'_>) -> Result<(), Refusal> {
    let coming = checks::lock_coming_of_programme(tx, site, stamp.at).await?;
    let remaking = wanting(tx, site, stamp, coming).await?;
    for (id, check) in &remaking.other {
        planning::remake(tx, site, stamp, *id, check).await?;
    }
    planning::withdraw(tx, site, &remaking.withdrawn).await?;
    planning::claim(tx, site, stamp, &remaking.new).await?;
    Ok(())
}

impl Remaking {
    fn is_nothing(&self) -> bool {
        self.new.is_empty() && self.other.is_empty() && self.withdrawn.is_empty()
    }
}

async fn wanting(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    coming: Vec<KeptCheck>,
) -> Result<Remaking, Refusal> {
    let plan = plan::site_plan_since(tx, site, stamp.at).await?.ok_or(Refusal::NotFound)?;
    let today = plan.day(stamp.at);
    let (done, latest) = so_far(tx, site, &plan, stamp.at).await?;
    let mut wanted = wanted(&plan, &done, &latest, Days { from: today, until: after(today, AHEAD) });
    let mut remaking = Remaking::default();
    for KeptCheck { id, check, .. } in coming {
        let Place::Tank(tank) = check.place else { continue };
        match (wanted.remove(&(tank, check.date)), check.state == CheckState::Planned) {
            (Some(now), true) if now != check => remaking.other.push((id, now)),
            (None, true) => remaking.withdrawn.push(id),
            _ => {}
        }
    }
    remaking.new.extend(wanted.into_values());
    Ok(remaking)
}

/// The checks of the tank changes that the programme wants from an instant up to a day, as it stands.
/// # Errors
/// When the database fails.
pub(super) async fn expected(
    tx: &Tx,
    site: SiteScope,
    at: DateTime<Utc>,
    until: NaiveDate,
) -> Result<Vec<Check>, Refusal> {
    let plan = plan::site_plan_since(tx, site, at).await?.ok_or(Refusal::NotFound)?;
    let today = plan.day(at);
    let (done, latest) = so_far(tx, site, &plan, at).await?;
    Ok(wanted(&plan, &done, &latest, Days { from: today, until }).into_values().collect())
}

type ByTank = HashMap<TankId, NaiveDate>;

/// The days of the last change of each tank, and of the last one that was due.
async fn so_far(
    tx: &Tx,
    site: SiteScope,
    plan: &SitePlan,
    at: DateTime<Utc>,
) -> Result<(ByTank, ByTank), Refusal> {
    let done = tank_changes::last_full(tx, site, at + TimeDelta::days(1)).await?;
    let done = done.into_iter().map(|(tank, at)| (tank, plan.day(at))).collect();
    let tanks: Vec<TankId> = plan.tanks.iter().map(|tank| tank.id).collect();
    Ok((done, checks::latest_of_programme(tx, site, &tanks, plan.day(at), at).await?))
}

fn after(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(ChronoDays::new(days)).unwrap_or(day)
}

/// The checks of the changes due from today on. The interval counts from the last change done or, where that day
/// passed without one, from the day it was due: the next is not put off for ever by one that was missed.
fn wanted(
    plan: &SitePlan,
    done: &HashMap<TankId, NaiveDate>,
    latest: &HashMap<TankId, NaiveDate>,
    Days { from: today, until }: Days,
) -> BTreeMap<(TankId, NaiveDate), Check> {
    let mut wanted = BTreeMap::new();
    for tank in &plan.tanks {
        let last = done.get(&tank.id).max(latest.get(&tank.id)).copied();
        let due = plan.due_changes(tank, last, today, until);
        for day in due.into_iter().filter(|day| *day >= today && plan.in_use(tank.id, *day)) {
            wanted.insert((tank.id, day), change_check(tank, day, plan.zone));
        }
    }
    wanted
}

/// Settles the first check that a change does: due by then, or within a few days.
/// # Errors
/// When the database fails, or the change's client id settled another check.
pub(crate) async fn settle(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    until: NaiveDate,
    (id, change): (Id<TankChange>, &TankChange),
) -> Result<(), Refusal> {
    let Some(by) = change.done_by else { return Ok(()) };
    let due = checks::lock_due_of_programme(tx, site, change.tank, until, change.recorded_at).await?;
    let Some(kept) = due else { return Ok(()) };
    // What was settled meanwhile stays as it is: the change was done all the same.
    let Ok(settled) = kept.check.changed(change.recorded_at, by, id) else { return Ok(()) };
    let typed = Typed { client_id: change.client_id, by: change.entered_by, received_at: change.received_at };
    keep_state(tx, site, stamp, kept.id, &settled.state, Some(typed)).await.map_err(|error| match error {
        StoreError::Taken(_) => Refusal::ClientIdReused,
        error => error.into(),
    })
}
