//! The days on which tank changes are due.

use chrono::{NaiveDate, TimeDelta};
use fillmark_domain::Kept;
use fillmark_domain::people::Act;
use fillmark_domain::places::{SiteId, Tank};
use fillmark_store::{plan, tank_changes};

use crate::{App, Caller, Refusal};

/// A programme further ahead than this is not known, and each of its days costs a look.
const LONGEST_LOOK_DAYS: i64 = 366;

/// A day on which a tank's change is due.
#[derive(Debug, Clone, PartialEq)]
pub struct DueChange {
    /// The tank.
    pub tank: Kept<Tank>,
    /// The day.
    pub due_on: NaiveDate,
    /// Days it is late by.
    pub days_late: i64,
    /// The last full change done.
    pub last_done_on: Option<NaiveDate>,
}

/// The changes that are due up to a day: by the programme from the last change done, as people moved or skipped them.
/// # Errors
/// When the caller may not see them, or the day lies more than a year ahead.
pub async fn due(
    app: &App,
    caller: &Caller,
    site: SiteId,
    until: Option<NaiveDate>,
) -> Result<Vec<DueChange>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let plan = plan::site_plan(&tx, scope).await?.ok_or(Refusal::NotFound)?;
    let last = tank_changes::last_full(&tx, scope, app.now() + TimeDelta::days(1)).await?;
    let today = plan.day(app.now());
    let until = until.unwrap_or(today + TimeDelta::days(14));
    if !(0..=LONGEST_LOOK_DAYS).contains(&(until - today).num_days()) {
        let told = format!("expected today or a day at most {LONGEST_LOOK_DAYS} days ahead");
        return Err(Refusal::invalid("/until_on", "out_of_range", told));
    }

    let mut due = Vec::new();
    for tank in &plan.tanks {
        let last_done_on = last.get(&tank.id).map(|last| plan.day(*last));
        // From the day after the last change, so that one that is overdue shows the day it was due.
        let from = last_done_on.map_or(today, |last| (last + TimeDelta::days(1)).min(today));
        let overdue = plan.due_changes(tank, last_done_on, from, today).into_iter().next();
        let coming = plan.due_changes(
            tank,
            overdue.map_or(last_done_on, |_| Some(today)),
            today + TimeDelta::days(1),
            until,
        );
        due.extend(overdue.into_iter().chain(coming).map(|due_on| DueChange {
            tank: tank.clone(),
            due_on,
            days_late: (today - due_on).num_days().max(0),
            last_done_on,
        }));
    }
    due.sort_by(|one, other| {
        (one.due_on, &one.tank.content.name).cmp(&(other.due_on, &other.tank.content.name))
    });
    Ok(due)
}
