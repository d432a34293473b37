//! Work: checks that plans make, who does them, and the heartbeat that keeps it going.

pub(crate) mod changes;
pub mod checks;
mod day;
mod follow;
pub mod handing;
pub mod notes;
pub mod outlook;
mod overdue;
pub(crate) mod planning;
pub mod rounds;
pub mod settle;
mod share;
mod sheet;
pub mod templates;

use chrono::{DateTime, Days, NaiveDate, Utc};
use chrono_tz::Tz;
use fillmark_domain::Id;
use fillmark_domain::people::Act;
use fillmark_domain::places::{Site, SiteId};
use fillmark_domain::work::{AlertKind, Check, CheckState, ClosedBy};
use fillmark_store::checks::{self as checks_store, Typed};
use fillmark_store::{SiteScope, Stamp, StoreError, Tx, plan, records};

use crate::{App, Caller, Refusal, alerts, answers, sessions, tries};

/// Does at every site what is due: makes checks, excuses those of tanks out of use, finds those that were
/// missed, and publishes rounds. A beat that is missed or doubled does no harm: all that is due is found in
/// the database and claimed there. What goes wrong at one site leaves the others alone.
/// # Errors
/// When the sites cannot be read.
pub async fn beat(app: &App) -> Result<(), Refusal> {
    let job = Caller::job();
    let business = job.may_in_business(Act::Read)?;
    let tx = app.store.look().await?;
    let sites = records::all::<Site>(&tx, business).await?;
    drop(tx);
    for site in sites {
        if let Err(refusal) = beat_at(app, &job, site.id, site.content.time_zone).await {
            tracing::error!(error = &refusal as &dyn std::error::Error, site = %site.id, "a beat failed");
        }
    }
    answers::forget_old(app).await?;
    sessions::forget_spent(app).await?;
    tries::forget_old(app).await
}

/// Does at one site what a beat does there.
/// # Errors
/// When the site is not there or the database fails.
pub async fn beat_once(app: &App, site: SiteId) -> Result<(), Refusal> {
    let job = Caller::job();
    let tx = app.store.look().await?;
    let zone = zone_of(&tx, job.may(Act::Manage, site)?).await?;
    drop(tx);
    beat_at(app, &job, site, zone).await
}

async fn beat_at(app: &App, job: &Caller, site: SiteId, zone: Tz) -> Result<(), Refusal> {
    let scope = job.may(Act::Manage, site)?;
    let today = local_day(zone, app.now());
    let tomorrow = today.checked_add_days(Days::new(1)).unwrap_or(today);
    // Each is done whatever became of those before it: a plan that cannot be followed hides no missed check.
    let done = [
        planning::follow_plans(app, scope).await,
        changes::follow_programmes(app, scope).await,
        overdue::excuse_out_of_use(app, scope).await,
        overdue::warn(app, scope, zone).await,
        overdue::miss(app, scope, zone).await,
        handing::lapse(app, scope, today).await,
        rounds::publish_first(app, job, scope, today).await,
        rounds::publish_first(app, job, scope, tomorrow).await,
        follow::follow(app, job, scope, today).await,
    ];
    done.into_iter().collect()
}

/// Keeps what became of a check. The warning that it is overdue, or was missed, closes with it.
/// # Errors
/// When the database fails.
pub(crate) async fn keep_state(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    id: Id<Check>,
    state: &CheckState,
    typed: Option<Typed>,
) -> Result<(), StoreError> {
    checks_store::settle(tx, site, stamp, id, state, typed).await?;
    let (by, closed): (ClosedBy, &[AlertKind]) = match state {
        CheckState::Planned | CheckState::Open { .. } => return Ok(()),
        CheckState::Done { .. } | CheckState::Excused { .. } => {
            (ClosedBy::Record(id.uuid()), &[AlertKind::CheckOverdue, AlertKind::CheckMissed])
        }
        CheckState::Missed { .. } => (ClosedBy::Over, &[AlertKind::CheckOverdue]),
    };
    for kind in closed {
        alerts::close_for(tx, site, stamp, *kind, id.uuid(), by).await?;
    }
    Ok(())
}

/// The local day of an instant.
pub(crate) fn local_day(zone: Tz, at: DateTime<Utc>) -> NaiveDate {
    at.with_timezone(&zone).date_naive()
}

/// The zone of a site.
pub(crate) async fn zone_of(tx: &Tx, site: SiteScope) -> Result<Tz, Refusal> {
    Ok(plan::site(tx, site).await?.ok_or(Refusal::NotFound)?.content.time_zone)
}
