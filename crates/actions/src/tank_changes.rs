//! Tank changes: drained, refilled, dosed and read in one transaction; and the days they are due.

mod doubt;
mod due;

use chrono::{DateTime, Utc};
use fillmark_domain::entries::{
    AdditionReason, Advice, EARLY, Meter, Poured, Reading, SamplePoint, Spot, TankChange, has_passed,
};
use fillmark_domain::people::{Act, PersonId};
use fillmark_domain::places::{SiteId, TankId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::{LotId, ProductId};
use fillmark_domain::{Amount, Faults, Id, Metric, Quantity};
use fillmark_store::additions::KeptAddition;
use fillmark_store::readings::KeptReading;
use fillmark_store::tank_changes::{self, KeptChange};
use fillmark_store::{
    Page, PageQuery, SiteScope, Stamp, Tx, additions as kept_additions, entries, plan,
    readings as kept_readings,
};
use uuid::Uuid;

use crate::additions::{self, AdditionEntry, follow_up};
use crate::caller::Correcting;
use crate::known::{Known, refuse_unknown};
use crate::readings::{self, Outcome, ReadingEntry};
use crate::retry::until_seen;
use crate::work::changes;
use crate::{App, Caller, Refusal};

pub use due::{DueChange, due};

/// A tank change as somebody enters it.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangeEntry {
    /// Made by the client: the same one twice has one effect.
    pub client_id: Uuid,
    /// Which tank.
    pub tank: TankId,
    /// Part drained, above 0 to 1.
    pub fraction: f64,
    /// Volume drained.
    pub drained: Quantity,
    /// Where it went.
    pub drained_to: Option<String>,
    /// Water filled in.
    pub water_in: Quantity,
    /// What was put in.
    pub products: Vec<PouredIn>,
    /// What was read afterwards.
    pub readings: Vec<ReadAfter>,
    /// The advice it followed.
    pub advice: Option<Id<Advice>>,
    /// When it was done.
    pub recorded_at: DateTime<Utc>,
    /// Who did it, when not the one who enters it.
    pub done_by: Option<PersonId>,
    /// It was asked back and is right all the same.
    pub confirmed: bool,
}

/// A product put in at a change.
#[derive(Debug, Clone, PartialEq)]
pub struct PouredIn {
    /// The product.
    pub product: ProductId,
    /// How much.
    pub amount: Quantity,
    /// The lot on the label.
    pub lot: Option<LotId>,
    /// It was poured though the record holds less.
    pub poured_all_the_same: bool,
}

/// A reading taken after a change.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadAfter {
    /// What was measured.
    pub metric: Metric,
    /// As the meter showed it.
    pub entered: Quantity,
    /// Where the sample was taken.
    pub sample_point: SamplePoint,
    /// The meter.
    pub meter: Option<Id<Meter>>,
    /// It was asked back and is right all the same.
    pub confirmed: bool,
}

/// A change with all that was entered with it.
#[derive(Debug, Clone)]
pub struct ChangeDone {
    /// The change.
    pub change: KeptChange,
    /// What went in.
    pub additions: Vec<KeptAddition>,
    /// What was read afterwards.
    pub readings: Vec<KeptReading>,
}

/// Enters a tank change: all of it or nothing.
/// # Errors
/// When the caller may not, or any part of it cannot be taken.
pub async fn enter(
    app: &App,
    caller: &Caller,
    site: SiteId,
    entry: &ChangeEntry,
) -> Result<ChangeDone, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    until_seen(|| enter_once(app, scope, app.stamp(caller), entry)).await
}

async fn enter_once(
    app: &App,
    scope: SiteScope,
    stamp: Stamp<'_>,
    entry: &ChangeEntry,
) -> Result<ChangeDone, Refusal> {
    let tx = app.store.begin().await?;
    if let Some(earlier) =
        entries::find_by_client_ids::<TankChange>(&tx, scope, &[entry.client_id]).await?.pop()
    {
        return again(&tx, scope, earlier, entry).await;
    }
    let last = last_full(&tx, scope, entry).await?;
    let since = last.unwrap_or(entry.recorded_at);
    let plan = plan::site_plan_since(&tx, scope, since).await?.ok_or(Refusal::NotFound)?;
    let (id, change) = decide(&tx, scope, &stamp, &plan, last, entry).await?;
    doubt::ask_back(&tx, scope, &plan, entry, &change).await?;
    entries::keep(&tx, scope, &stamp, &[(id, change.clone())]).await?;
    additions_of(&tx, scope, &stamp, entry, id).await?;
    readings_of(&tx, scope, &stamp, entry, id).await?;
    follow_up::after_change(&tx, scope, &stamp, plan.zone, entry).await?;
    if entry.fraction >= 1.0 {
        let until = plan.day(entry.recorded_at) + EARLY;
        changes::settle(&tx, scope, &stamp, until, (id, &change)).await?;
    }
    let done = done(&tx, scope, id).await?;
    tx.commit().await?;

    Ok(done)
}

/// When the tank was last changed as a whole before this change, if this is one as a whole.
async fn last_full(tx: &Tx, scope: SiteScope, entry: &ChangeEntry) -> Result<Option<DateTime<Utc>>, Refusal> {
    if entry.fraction < 1.0 {
        return Ok(None);
    }
    Ok(tank_changes::last_full(tx, scope, entry.recorded_at).await?.get(&entry.tank).copied())
}

async fn decide(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    plan: &SitePlan,
    last: Option<DateTime<Utc>>,
    entry: &ChangeEntry,
) -> Result<KeptChange, Refusal> {
    let mut faults = Faults::default();
    faults.range("/fraction", entry.fraction, 0.01, 1.0);
    let drained_l = faults.take("/drained", "not_a_volume", Metric::Volume.canonical(entry.drained));
    let water_in_l = faults.take("/water_in", "not_a_volume", Metric::Volume.canonical(entry.water_in));
    let tank = plan.tank(entry.tank);
    refuse_unknown(&mut faults, "/tank_id", tank.is_some());
    let mut known = Known::default();
    known.look_up_doer(tx, scope, "/done_by", entry.done_by, &mut faults).await?;
    known.look_up_advice(tx, scope, entry.advice, entry.tank, &mut faults).await?;
    let past = has_passed(entry.recorded_at, stamp.at);
    faults.unless(past, "/recorded_at", "in_the_future", "expected an instant that has passed");
    let volumes = faults.or(drained_l.zip(water_in_l))?;
    let due_on = match tank {
        Some(tank) if entry.fraction >= 1.0 => {
            plan.change_done(tank, last.map(|last| plan.day(last)), plan.day(entry.recorded_at))
        }
        _ => None,
    };
    let change = TankChange {
        client_id: entry.client_id,
        tank: entry.tank,
        fraction: entry.fraction,
        drained_l: volumes.0,
        drained_to: entry.drained_to.clone(),
        water_in_l: volumes.1,
        due_on,
        recorded_at: entry.recorded_at,
        received_at: stamp.at,
        done_by: entry.done_by.or(stamp.by),
        entered_by: stamp.by,
        reverses: None,
        reversed: None,
    };
    Ok((stamp.fresh(), change))
}

async fn additions_of(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    entry: &ChangeEntry,
    change: Id<TankChange>,
) -> Result<(), Refusal> {
    let entries: Vec<AdditionEntry> = entry
        .products
        .iter()
        .map(|poured| AdditionEntry {
            client_id: stamp.fresh::<KeptAddition>().uuid(),
            tank: entry.tank,
            product: Some(poured.product),
            amount: poured.amount,
            lot: poured.lot,
            reason: AdditionReason::Change,
            change: Some(change),
            advice: entry.advice,
            recorded_at: entry.recorded_at,
            done_by: entry.done_by,
            poured_all_the_same: poured.poured_all_the_same,
            confirmed: entry.confirmed,
        })
        .collect();
    refuse_rejected(additions::enter_within(tx, scope, stamp, &entries).await?, "/products")
}

async fn readings_of(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    entry: &ChangeEntry,
    change: Id<TankChange>,
) -> Result<(), Refusal> {
    let entries: Vec<ReadingEntry> = entry
        .readings
        .iter()
        .map(|read| ReadingEntry {
            client_id: stamp.fresh::<Reading>().uuid(),
            spot: Spot::Tank(entry.tank),
            sample_point: read.sample_point,
            metric: read.metric,
            entered: read.entered,
            compensation: None,
            meter: read.meter,
            change: Some(change),
            recorded_at: entry.recorded_at,
            sent_at: None,
            done_by: entry.done_by,
            confirmed: read.confirmed,
        })
        .collect();
    refuse_rejected(readings::enter_within(tx, scope, stamp, &entries).await?, "/readings")
}

fn refuse_rejected<W>(outcomes: Vec<Outcome<W>>, part: &str) -> Result<(), Refusal> {
    for (at, outcome) in outcomes.into_iter().enumerate() {
        if let Outcome::Rejected(refusal) = outcome {
            return Err(refusal.within(&format!("{part}/{at}")));
        }
    }
    Ok(())
}

async fn again(
    tx: &Tx,
    scope: SiteScope,
    earlier: KeptChange,
    entry: &ChangeEntry,
) -> Result<ChangeDone, Refusal> {
    let before = done(tx, scope, earlier.0).await?;
    if is_same(&before, entry) { Ok(before) } else { Err(Refusal::ClientIdReused) }
}

/// Whether what is sent again is what was kept, with all that went in and was read, whatever was corrected since.
fn is_same(before: &ChangeDone, entry: &ChangeEntry) -> bool {
    let (_, change) = &before.change;
    let additions: Vec<_> = before.additions.iter().filter(|(_, kept)| kept.reverses.is_none()).collect();
    let readings: Vec<_> = before.readings.iter().filter(|(_, kept)| kept.supersedes.is_none()).collect();
    let volumes = [(entry.drained, change.drained_l), (entry.water_in, change.water_in_l)];
    let poured = |(kept, sent): (&KeptAddition, &PouredIn)| match &kept.1.poured {
        Poured::Product { product, amount, base, .. } => {
            *product == sent.product && Amount::entered(sent.amount, *base).as_ref() == Ok(amount)
        }
        Poured::Water { .. } => false,
    };
    let read = |(kept, sent): (&KeptReading, &ReadAfter)| {
        (kept.1.metric, kept.1.entered, kept.1.sample_point, kept.1.meter)
            == (sent.metric, sent.entered, sent.sample_point, sent.meter)
    };
    (change.tank, change.recorded_at, change.fraction, change.drained_to.as_ref())
        == (entry.tank, entry.recorded_at, entry.fraction, entry.drained_to.as_ref())
        && volumes.iter().all(|(sent, kept)| Metric::Volume.canonical(*sent).as_ref() == Ok(kept))
        && entry.done_by.is_none_or(|person| change.done_by == Some(person))
        && additions.len() == entry.products.len()
        && additions.into_iter().zip(&entry.products).all(poured)
        && readings.len() == entry.readings.len()
        && readings.into_iter().zip(&entry.readings).all(read)
}

async fn done(tx: &Tx, scope: SiteScope, id: Id<TankChange>) -> Result<ChangeDone, Refusal> {
    let change = entries::find(tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    let additions = kept_additions::of_change(tx, scope, id).await?;
    let readings = kept_readings::of_change(tx, scope, id).await?;
    Ok(ChangeDone { change, additions, readings })
}

/// One tank change with all that was entered with it.
/// # Errors
/// When the caller may not see it or it is not there.
pub async fn read(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<TankChange>,
) -> Result<ChangeDone, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    done(&tx, scope, id).await
}

/// A page of a site's tank changes.
/// # Errors
/// When the caller may not see them.
pub async fn list(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<KeptChange>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok(entries::page(&tx, scope, query).await?)
}

/// Takes a tank change back with all that went in; its readings stay, since they were taken.
/// # Errors
/// When the caller may not, it is not there, or was taken back before.
pub async fn reverse(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<TankChange>,
    client_id: Uuid,
    reason: &str,
) -> Result<ChangeDone, Refusal> {
    let leave = caller.may_correct(site)?;
    until_seen(|| reverse_once(app, leave, app.stamp(caller), id, client_id, reason)).await
}

async fn reverse_once(
    app: &App,
    leave: Correcting,
    stamp: Stamp<'_>,
    id: Id<TankChange>,
    client_id: Uuid,
    reason: &str,
) -> Result<ChangeDone, Refusal> {
    let (tx, scope) = (app.store.begin().await?, leave.scope);
    if let Some((earlier, change)) =
        entries::find_by_client_ids::<TankChange>(&tx, scope, &[client_id]).await?.pop()
    {
        leave.refuse_anothers(change.entered_by)?;
        let same = change.reverses.is_some_and(|(reversed, _)| reversed == id);
        return if same { done(&tx, scope, earlier).await } else { Err(Refusal::ClientIdReused) };
    }
    let (_, change) = entries::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    leave.refuse_others(change.entered_by, change.received_at, stamp.at)?;
    if change.reversed.is_some() || change.reverses.is_some() {
        return Err(Refusal::Conflict("it was taken back before".into()));
    }
    for addition in kept_additions::of_change(&tx, scope, id).await? {
        let own = stamp.fresh::<KeptAddition>().uuid();
        additions::reverse_within(&tx, scope, &stamp, addition, own, reason).await?;
    }
    let opposite = TankChange {
        client_id,
        drained_l: -change.drained_l,
        water_in_l: -change.water_in_l,
        received_at: stamp.at,
        entered_by: stamp.by,
        reverses: Some((id, reason.to_owned())),
        ..change
    };
    let opposite = (stamp.fresh(), opposite);
    entries::keep(&tx, scope, &stamp, std::slice::from_ref(&opposite)).await?;
    follow_up::forgo_at(&tx, scope, (opposite.1.tank, opposite.1.recorded_at)).await?;
    let done = done(&tx, scope, opposite.0).await?;
    tx.commit().await?;

    Ok(done)
}
