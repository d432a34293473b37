//! What becomes of checks that nobody settled.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use fillmark_domain::Kept;
use fillmark_domain::people::PersonId;
use fillmark_domain::places::OutOfUse;
use fillmark_domain::plan::SitePlan;
use fillmark_domain::work::{AlertKind, Check, CheckState, Place};
use fillmark_store::checks::{self, KeptCheck};
use fillmark_store::rounds::{self, KeptRound};
use fillmark_store::{SiteScope, plan, records};

use super::day::{Staff, absences, name_of};
use super::keep_state;
use super::share::steps_of;
use crate::{App, Refusal, alerts};

/// So many are settled in one transaction…
const AT_ONCE: u64 = 200;
/// …and so many times in one beat.
const MOST_BATCHES: usize = 50;

/// Excuses the checks that are due at tanks which are out of use. Not before they are due: the tank may be
/// back earlier than was thought.
/// # Errors
/// When the database fails.
pub(super) async fn excuse_out_of_use(app: &App, site: SiteScope) -> Result<(), Refusal> {
    for _ in 0..MOST_BATCHES {
        let stamp = app.unsigned();
        let tx = app.store.begin().await?;
        let due = checks::lock_out_of_use(&tx, site, stamp.at, AT_ONCE).await?;
        if due.is_empty() {
            return Ok(());
        }
        let outages = records::all::<OutOfUse>(&tx, site).await?;
        for kept in due {
            let reason = format!("tank out of use: {}", why(&outages, &kept.check));
            if let Ok(excused) = kept.check.excused(stamp.at, None, reason) {
                keep_state(&tx, site, &stamp, kept.id, &excused.state, None).await?;
            }
        }
        tx.commit().await?;
    }
    Ok(())
}

fn why<'a>(outages: &'a [Kept<OutOfUse>], check: &Check) -> &'a str {
    let holds = |outage: &OutOfUse| {
        Place::Tank(outage.tank) == check.place
            && outage.from <= check.date
            && outage.until.is_none_or(|until| check.date <= until)
    };
    outages.iter().find(|kept| holds(&kept.content)).map_or("", |kept| &kept.content.reason)
}

/// Warns of checks whose window is over and that can still be done, once: whoever has it in their round and is there, or whoever
/// manages where nobody is. What passes its limit all the same is missed, and that goes to whoever manages.
/// # Errors
/// When the database fails.
pub(super) async fn warn(app: &App, site: SiteScope, zone: Tz) -> Result<(), Refusal> {
    for _ in 0..MOST_BATCHES {
        let stamp = app.unsigned();
        let tx = app.store.begin().await?;
        let late = checks::lock_unwarned(&tx, site, stamp.at, AT_ONCE).await?;
        if late.is_empty() {
            return Ok(());
        }
        let plan = plan::site_plan_since(&tx, site, stamp.at).await?.ok_or(Refusal::NotFound)?;
        let people = Staff::load(&tx, site).await?.on(zone, plan.day(stamp.at));
        let away: Vec<PersonId> = absences(&tx, site, &people, (stamp.at, stamp.at + TimeDelta::seconds(1)))
            .await?
            .into_iter()
            .filter(|away| away.span.holds(stamp.at))
            .map(|away| away.person)
            .collect();
        let mut published: BTreeMap<NaiveDate, Vec<KeptRound>> = BTreeMap::new();
        for KeptCheck { id, check, .. } in late {
            let rounds = match published.entry(check.date) {
                Entry::Occupied(known) => known.into_mut(),
                Entry::Vacant(unknown) => {
                    let rounds = rounds::in_force(&tx, site, check.date).await?;
                    unknown.insert(rounds.map(|(_, rounds)| rounds).unwrap_or_default())
                }
            };
            let holders = steps_of(rounds, id);
            let whom = holders.iter().map(|(person, _)| *person).find(|person| !away.contains(person));
            let clock = |at: DateTime<Utc>| at.with_timezone(&zone).format("%Y-%m-%d %H:%M").to_string();
            let (window, limit) = (clock(check.window_until), clock(check.limit));
            let text = format!(
                "{} was to be done by {window}; it can still be done until {limit}",
                called(&plan, &check)
            );
            let kind = AlertKind::CheckOverdue;
            alerts::raise_for(&tx, site, &stamp, kind, id.uuid(), (whom, &text)).await?;
        }
        tx.commit().await?;
    }
    Ok(())
}

/// Finds the checks whose limit has passed: each is missed for good, and raises an alert.
/// # Errors
/// When the database fails.
pub(super) async fn miss(app: &App, site: SiteScope, zone: Tz) -> Result<(), Refusal> {
    for _ in 0..MOST_BATCHES {
        let stamp = app.unsigned();
        let tx = app.store.begin().await?;
        let overdue = checks::lock_overdue(&tx, site, stamp.at, AT_ONCE).await?;
        if overdue.is_empty() {
            return Ok(());
        }
        let plan = plan::site_plan_since(&tx, site, stamp.at).await?.ok_or(Refusal::NotFound)?;
        for KeptCheck { id, check, .. } in overdue {
            let limit = check.limit.with_timezone(&zone).format("%Y-%m-%d %H:%M");
            let text = format!("{} was not done by {limit}", called(&plan, &check));
            if let Ok(Check { state: state @ CheckState::Missed { .. }, .. }) = check.missed(stamp.at) {
                keep_state(&tx, site, &stamp, id, &state, None).await?;
                alerts::raise(&tx, site, &stamp, AlertKind::CheckMissed, id.uuid(), &text).await?;
            }
        }
        tx.commit().await?;
    }
    Ok(())
}

/// The name of a check and of where it is done, unless its own ends with that.
fn called(plan: &SitePlan, check: &Check) -> String {
    match name_of(plan, check.place) {
        Some(place) if !check.name.ends_with(&place) => format!("{} ({place})", check.name),
        _ => check.name.clone(),
    }
}
