//! Readings entered one by one or by the hundred, and corrected.

use chrono::{DateTime, Utc};
use fillmark_domain::entries::{Compensation, Meter, Reading, SamplePoint, Spot, TankChange};
use fillmark_domain::people::{Act, PersonId};
use fillmark_domain::places::SiteId;
use fillmark_domain::{Id, Metric, Quantity};
use fillmark_store::readings::KeptReading;
use fillmark_store::{Page, PageQuery, SiteScope, Stamp, Tx, entries};
use uuid::Uuid;

use self::desk::{Desk, Signed};
use crate::caller::Correcting;
use crate::retry::until_seen;
use crate::{App, Caller, Refusal};

mod desk;

/// A reading as somebody enters it.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingEntry {
    /// Made by the client: the same one twice has one effect.
    pub client_id: Uuid,
    /// Of what.
    pub spot: Spot,
    /// Where the sample was taken.
    pub sample_point: SamplePoint,
    /// What was measured.
    pub metric: Metric,
    /// As the meter showed it.
    pub entered: Quantity,
    /// The meter's compensation, where known.
    pub compensation: Option<Compensation>,
    /// The meter.
    pub meter: Option<Id<Meter>>,
    /// The tank change it was taken after, and entered with.
    pub change: Option<Id<TankChange>>,
    /// When it was taken, by the clock of whoever took it.
    pub recorded_at: DateTime<Utc>,
    /// When the client sent it, by the same clock.
    pub sent_at: Option<DateTime<Utc>>,
    /// Who took it, when not the one who enters it.
    pub done_by: Option<PersonId>,
    /// It was asked back and is right all the same.
    pub confirmed: bool,
}

/// What became of an entry.
#[derive(Debug)]
pub enum Outcome<W> {
    /// It was kept.
    Created(Id<W>),
    /// The same entry came before.
    Duplicate(Id<W>),
    /// It was not kept; the others are not touched by that.
    Rejected(Refusal),
}

/// Enters readings, each for itself.
/// # Errors
/// When the caller may not, or the database fails; what is wrong with an entry is its own outcome.
pub async fn enter(
    app: &App,
    caller: &Caller,
    site: SiteId,
    entries: &[ReadingEntry],
) -> Result<Vec<Outcome<Reading>>, Refusal> {
    let scope = may_enter(caller, site, entries)?;
    until_seen(|| async {
        let tx = app.store.begin().await?;
        let outcomes = enter_within(&tx, scope, &app.stamp(caller), entries).await?;
        tx.commit().await?;

        Ok(outcomes)
    })
    .await
}

/// Enters readings all together or not at all.
/// # Errors
/// The first entry that is wrong, by its place; nothing is kept then.
pub async fn enter_together(
    app: &App,
    caller: &Caller,
    site: SiteId,
    entries: &[ReadingEntry],
) -> Result<Vec<Outcome<Reading>>, Refusal> {
    let scope = may_enter(caller, site, entries)?;
    until_seen(|| async {
        let tx = app.store.begin().await?;
        let outcomes = enter_within(&tx, scope, &app.stamp(caller), entries).await?;
        let outcomes = all_or_none(outcomes)?;
        tx.commit().await?;

        Ok(outcomes)
    })
    .await
}

/// Leave to enter readings. A device speaks for nobody.
fn may_enter(caller: &Caller, site: SiteId, entries: &[ReadingEntry]) -> Result<SiteScope, Refusal> {
    let scope = caller.may(Act::EnterReadings, site)?;
    if caller.sent_with().is_some() && entries.iter().any(|entry| entry.done_by.is_some()) {
        return Err(Refusal::NotAllowed(Act::EnterWork));
    }
    Ok(scope)
}

/// The outcomes when none was rejected.
/// # Errors
/// The first that was, by its place.
pub(crate) fn all_or_none<W>(outcomes: Vec<Outcome<W>>) -> Result<Vec<Outcome<W>>, Refusal> {
    let place = |(at, outcome)| match outcome {
        Outcome::Rejected(refusal) => Err(refusal.within(&format!("/items/{at}"))),
        kept => Ok(kept),
    };
    outcomes.into_iter().enumerate().map(place).collect()
}

/// Enters readings inside another action's transaction.
pub(crate) async fn enter_within(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    entries: &[ReadingEntry],
) -> Result<Vec<Outcome<Reading>>, Refusal> {
    let signed: Vec<Signed<'_>> = entries.iter().map(|entry| (*stamp, entry)).collect();
    Ok(desk::enter(tx, scope, &signed).await?.outcomes)
}

/// Enters one reading, in one transaction with those that others enter at the site at the same time.
/// # Errors
/// When the caller may not, or the reading is wrong; what is wrong with another's does not touch it.
pub async fn enter_one(
    app: &App,
    caller: &Caller,
    site: SiteId,
    entry: &ReadingEntry,
) -> Result<KeptReading, Refusal> {
    let scope = may_enter(caller, site, std::slice::from_ref(entry))?;
    // In a unit of work its own transaction is wanted.
    if !app.store.is_within_unit() {
        let own = app.clone();
        // All in a line came with leave for the same site.
        let enter = move |entries: Vec<(Caller, ReadingEntry)>| {
            let app = own.clone();
            async move { enter_signed(&app, scope, &entries).await.inspect_err(untold).ok() }
        };
        let wants = (caller.clone(), entry.clone());
        if let Some(kept) = app.shared().readings.wait(site, app.store.writers(), wants, enter).await {
            return kept;
        }
    }
    let alone = [(caller.clone(), entry.clone())];
    until_seen(|| enter_signed(app, scope, &alone)).await?.pop().ok_or(Refusal::NotFound)?
}

/// Those who were served together go alone then, and may fare better: the log keeps why.
fn untold(refusal: &Refusal) {
    tracing::warn!(error = refusal as &dyn std::error::Error, "entries could not be kept together");
}

/// Enters readings of several people, each for itself.
async fn enter_signed(
    app: &App,
    scope: SiteScope,
    entries: &[(Caller, ReadingEntry)],
) -> Result<Vec<Result<KeptReading, Refusal>>, Refusal> {
    let tx = app.store.begin().await?;
    let signed: Vec<Signed<'_>> = entries.iter().map(|(caller, entry)| (app.stamp(caller), entry)).collect();
    let entered = desk::enter(&tx, scope, &signed).await?;
    tx.commit().await?;

    let kept = |(outcome, (_, entry)): (Outcome<Reading>, &Signed<'_>)| match outcome {
        Outcome::Rejected(refusal) => Err(refusal),
        Outcome::Created(_) | Outcome::Duplicate(_) => {
            entered.kept.get(&entry.client_id).cloned().ok_or(Refusal::NotFound)
        }
    };
    Ok(entered.outcomes.into_iter().zip(&signed).map(kept).collect())
}

/// Corrects a reading: a new one stands in its place, with a reason; the old one stays readable.
/// # Errors
/// When the caller may not, the reading is not there or was corrected before, or the new one is wrong.
pub async fn correct(
    app: &App,
    caller: &Caller,
    site: SiteId,
    reading: Id<Reading>,
    entry: &ReadingEntry,
    reason: &str,
) -> Result<KeptReading, Refusal> {
    let leave = caller.may_correct(site)?;
    until_seen(|| correct_once(app, leave, caller, reading, entry, reason)).await
}

async fn correct_once(
    app: &App,
    leave: Correcting,
    caller: &Caller,
    reading: Id<Reading>,
    entry: &ReadingEntry,
    reason: &str,
) -> Result<KeptReading, Refusal> {
    let (tx, scope) = (app.store.begin().await?, leave.scope);
    let stamp = app.stamp(caller);
    if let Some(earlier) = entries::find_by_client_ids::<Reading>(&tx, scope, &[entry.client_id]).await?.pop()
    {
        leave.refuse_anothers(earlier.1.entered_by)?;
        let again = earlier.1.supersedes.as_ref().is_some_and(|(old, why)| *old == reading && why == reason);
        let again = again && is_same(&earlier.1, &ReadingEntry { change: earlier.1.change, ..entry.clone() });
        return if again { Ok(earlier) } else { Err(Refusal::ClientIdReused) };
    }
    let found = entries::find_many::<Reading>(&tx, scope, &[reading.uuid()]).await?;
    let (_, old) = found.into_iter().next().ok_or(Refusal::NotFound)?;
    leave.refuse_others(old.entered_by, old.received_at, stamp.at)?;
    if old.superseded.is_some() {
        return Err(Refusal::Conflict(
            "the reading was corrected before; correct the one in its place".into(),
        ));
    }
    let entry = ReadingEntry { change: old.change, ..entry.clone() };
    let signed = (stamp, &entry);
    let mut desk = Desk::open(&tx, scope, &[signed]).await?;
    let mut new = desk.checked(signed).await.map_err(|refusal| refusal.within("/reading"))?;
    new.supersedes = Some((reading, reason.to_owned()));
    let kept = (stamp.fresh(), new);
    entries::keep(&tx, scope, &stamp, std::slice::from_ref(&kept)).await?;
    crate::bands::watch(&tx, scope, &[(stamp, kept.clone())]).await?;
    tx.commit().await?;

    Ok(kept)
}

/// One reading. A device is told what it sent itself.
/// # Errors
/// When the caller may not see it or it is not there.
pub async fn read(app: &App, caller: &Caller, site: SiteId, id: Id<Reading>) -> Result<KeptReading, Refusal> {
    let device = caller.sent_with();
    let scope = caller.may(if device.is_some() { Act::EnterReadings } else { Act::Read }, site)?;
    let tx = app.store.look().await?;
    let kept = entries::find(&tx, scope, id).await?;
    if device.is_some() && kept.as_ref().is_none_or(|(_, reading)| reading.entered_with != device) {
        return Err(Refusal::NotAllowed(Act::Read));
    }
    kept.ok_or(Refusal::NotFound)
}

/// A page of a site's readings.
/// # Errors
/// When the caller may not see them.
pub async fn list(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<KeptReading>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok(entries::page(&tx, scope, query).await?)
}

fn is_same(earlier: &Reading, entry: &ReadingEntry) -> bool {
    (earlier.spot, earlier.sample_point, earlier.metric) == (entry.spot, entry.sample_point, entry.metric)
        && (earlier.entered, earlier.compensation) == (entry.entered, entry.compensation)
        && (earlier.recorded_at, earlier.meter, earlier.change)
            == (entry.recorded_at, entry.meter, entry.change)
        && entry.done_by.is_none_or(|person| earlier.done_by == Some(person))
}
