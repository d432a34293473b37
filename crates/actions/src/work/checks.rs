//! Reading checks, opening and excusing them.

use chrono::NaiveDate;
use chrono_tz::Tz;
use fillmark_advice::rounds::WhyNot;
use fillmark_domain::Id;
use fillmark_domain::people::{Act, PersonId};
use fillmark_domain::places::SiteId;
use fillmark_domain::work::{Check, NotAllowed};
use fillmark_store::checks::{self, KeptCheck};
use fillmark_store::{Page, PageQuery, SiteScope};

use super::day::DayAtHand;
use super::{keep_state, local_day, zone_of};
use crate::{App, Caller, Refusal};

/// A page of a site's checks, and the zone of its local times.
/// # Errors
/// When the caller may not read them.
pub async fn list(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<(Page<KeptCheck>, Tz), Refusal> {
    let site = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok((checks::page(&tx, site, query).await?, zone_of(&tx, site).await?))
}

/// The checks of a local day, in the order they are due.
/// # Errors
/// When the caller may not see them.
pub async fn of_day(
    app: &App,
    caller: &Caller,
    site: SiteId,
    day: NaiveDate,
) -> Result<Vec<KeptCheck>, Refusal> {
    let site = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok(checks::of_day(&tx, site, day).await?)
}

/// A check, and the zone of its local times.
/// # Errors
/// When the caller may not read it or it is not there.
pub async fn read(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Check>,
) -> Result<(KeptCheck, Tz), Refusal> {
    let site = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let check = checks::find(&tx, site, id).await?.ok_or(Refusal::NotFound)?;
    Ok((check, zone_of(&tx, site).await?))
}

/// The caller begins a check.
/// # Errors
/// When the caller may not, or the check is not there, settled, not nearly due, or past its limit; when they are not qualified
/// for it, or have been in a dirtier room on the day.
pub async fn open(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Check>,
) -> Result<(KeptCheck, Tz), Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    let person = caller.person().ok_or(Refusal::NotSignedIn)?;
    refuse_hindered(app, scope, person, id).await?;
    become_of(app, caller, Act::EnterWork, site, id, |check| check.open(app.now(), person)).await
}

/// The caller excuses a check: it need not be done.
/// # Errors
/// When the caller may not, the check is not there or settled, or there is no reason.
pub async fn excuse(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Check>,
    reason: String,
) -> Result<(KeptCheck, Tz), Refusal> {
    become_of(app, caller, Act::Manage, site, id, |check| check.excused(app.now(), caller.person(), reason))
        .await
}

async fn refuse_hindered(app: &App, site: SiteScope, person: PersonId, id: Id<Check>) -> Result<(), Refusal> {
    let (tx, now) = (app.store.look().await?, app.now());
    let kept = checks::find(&tx, site, id).await?.ok_or(Refusal::NotFound)?;
    let today = local_day(zone_of(&tx, site).await?, now);
    let day = DayAtHand::load(&tx, site, today, now).await?;
    match day.hindrance(&kept.check, person, now) {
        None => Ok(()),
        Some(WhyNot::NotQualified) => Err(Refusal::Conflict("you are not qualified for it".to_owned())),
        Some(_) => Err(Refusal::Conflict(
            "you have been in a dirtier room today: who goes into a clean one all the same types it in when it is done".to_owned(),
        )),
    }
}

async fn become_of(
    app: &App,
    caller: &Caller,
    act: Act,
    site: SiteId,
    id: Id<Check>,
    change: impl FnOnce(Check) -> Result<Check, NotAllowed>,
) -> Result<(KeptCheck, Tz), Refusal> {
    let site = caller.may(act, site)?;
    let tx = app.store.begin().await?;
    let kept = checks::lock(&tx, site, id).await?.ok_or(Refusal::NotFound)?;
    let zone = zone_of(&tx, site).await?;
    let check = change(kept.check).map_err(|why| Refusal::Conflict(why.told(zone)))?;
    keep_state(&tx, site, &app.stamp(caller), id, &check.state, None).await?;
    tx.commit().await?;
    Ok((KeptCheck { check, ..kept }, zone))
}
