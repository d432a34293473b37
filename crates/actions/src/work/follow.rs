//! Rounds that the day has overtaken, published anew by the beat.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use fillmark_advice::rounds::{Known, Overtaken};
use fillmark_domain::local::local_day;
use fillmark_domain::work::{Check, Place, Shift};
use fillmark_domain::{Days, Id};
use fillmark_store::checks::{self, KeptCheck};
use fillmark_store::{SiteScope, Tx, plan, rounds};

use super::day::{Staff, absences, carried, shifts};
use super::share::{self, Published, keep, load, on_paper, share_out};
use super::zone_of;
use crate::{App, Caller, Refusal};

/// Publishes anew the days to come whose rounds the day has overtaken: they hold work of somebody who has left or is away, or
/// checks that a change of their plan took back or put to another time, or lack what came since: by a plan, to measure after
/// somebody poured on advice, or late from the days before.
/// # Errors
/// When the database fails.
pub(super) async fn follow(
    app: &App,
    job: &Caller,
    site: SiteScope,
    today: NaiveDate,
) -> Result<(), Refusal> {
    let now = app.now();
    let tx = app.store.look().await?;
    let (staff, zone) = (Staff::load(&tx, site).await?, zone_of(&tx, site).await?);
    let mut overtaken = Vec::new();
    for date in rounds::published_days(&tx, site, today).await? {
        let Some(published) = rounds::in_force(&tx, site, date).await? else { continue };
        let found = of_day(&tx, site, &published, (date, zone), &staff, now).await?;
        if !found.is_empty() {
            overtaken.push((date, found));
        }
    }
    drop(tx);
    for (date, found) in overtaken {
        let (day, before) = load(app, site, date).await?;
        let question = day.question(share::rounds_of(before.as_ref()), now);
        let is_to_mend = |one: &Overtaken| match *one {
            Overtaken::Gone(_) | Overtaken::Left(_) => true,
            Overtaken::New(check) => question.day.checks.iter().any(|due| due.check == check),
            Overtaken::Moved(check) => !question.begun.iter().any(|begun| begun.check == check),
        };
        if found.iter().any(is_to_mend) {
            let shared = share_out(day, before, now).await?;
            keep(app, job, site, &shared).await?;
        }
    }
    Ok(())
}

async fn of_day(
    tx: &Tx,
    site: SiteScope,
    published: &Published,
    (date, zone): (NaiveDate, Tz),
    staff: &Staff,
    now: DateTime<Utc>,
) -> Result<BTreeSet<Overtaken>, Refusal> {
    let (people, day) = (staff.on(zone, date), local_day(zone, date));
    let mut kept = checks::of_day(tx, site, date).await?;
    kept.extend(carried(tx, site, (date, day.start), now).await?);
    let rounds = on_paper(Some(published), Vec::new(), now).rounds;
    let steps = rounds.iter().flat_map(|round| &round.steps).map(|step| step.check);
    // In a round there may be what was carried over and is not any more.
    let told: BTreeSet<Id<Check>> = steps.collect();
    let others: Vec<Id<Check>> =
        told.iter().filter(|check| !kept.iter().any(|kept| kept.id == **check)).copied().collect();
    kept.extend(checks::find_many(tx, site, &others).await?);
    // What is out of use is shared out to nobody, and excused when it is due.
    let plan = plan::site_plan_since(tx, site, day.start).await?.ok_or(Refusal::NotFound)?;
    let is_used = |kept: &KeptCheck| match kept.check.place {
        Place::Tank(tank) => plan.in_use(tank, date),
        Place::Room(_) => true,
    };
    kept.retain(|kept| told.contains(&kept.id) || is_used(kept));
    let near = Days { from: date.pred_opt().unwrap_or(date), until: date };
    let reaches = |shift: &Shift| shift.span(zone).is_ok_and(|span| span.until > day.start);
    let on_shift =
        shifts(tx, site, near).await?.into_iter().filter(reaches).map(|shift| shift.person).collect();
    let known = Known {
        checks: kept.iter().map(|kept| (kept.id, &kept.check)).collect(),
        left: published.0.left.iter().map(|left| left.check).collect(),
        absences: &absences(tx, site, &people, (now, day.end + TimeDelta::days(1))).await?,
        people: &people,
        on_shift: &on_shift,
        now,
    };
    Ok(known.overtaken(&rounds))
}
