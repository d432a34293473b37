//! Readings entered one by one or by the hundred, and corrected.

use std::collections::HashMap;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::entries::{
    BandThen, Beside, Compensation, Meter, MeterKind, Reading, SamplePoint, Spot, TankChange, doubts,
};
use fillmark_domain::people::{Act, PersonId};
use fillmark_domain::places::SiteId;
use fillmark_domain::plan::SitePlan;
use fillmark_domain::{Coded, Faults, Id, Metric, Quantity};
use fillmark_store::readings::{self, KeptReading};
use fillmark_store::{Page, PageQuery, Reference, SiteScope, Stamp, Tx, entries, plan, records};
use uuid::Uuid;

use crate::caller::Correcting;
use crate::known::Known;
use crate::retry::once_more;
use crate::{App, Caller, Refusal};

/// Clocks of devices may run ahead by so much before a reading's time is held to be suspect.
const AHEAD: TimeDelta = TimeDelta::minutes(5);

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
    once_more(|| async {
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
    once_more(|| async {
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
    if entries.is_empty() {
        return Ok(Vec::new());
    }
    let mut desk = Desk::open(tx, scope, stamp, entries).await?;
    let mut outcomes = Vec::with_capacity(entries.len());
    for entry in entries {
        outcomes.push(match desk.take(entry).await {
            Ok(outcome) => outcome,
            Err(refusal) if refusal.is_about_the_entry() => Outcome::Rejected(refusal),
            Err(refusal) => return Err(refusal),
        });
    }
    entries::keep(tx, scope, stamp, &desk.kept).await?;
    crate::bands::watch(tx, scope, stamp, &desk.kept).await?;
    Ok(outcomes)
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
    once_more(|| correct_once(app, leave, app.stamp(caller), reading, entry, reason)).await
}

async fn correct_once(
    app: &App,
    leave: Correcting,
    stamp: Stamp<'_>,
    reading: Id<Reading>,
    entry: &ReadingEntry,
    reason: &str,
) -> Result<KeptReading, Refusal> {
    let (tx, scope) = (app.store.begin().await?, leave.scope);
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
    let mut desk = Desk::open(&tx, scope, &stamp, std::slice::from_ref(&entry)).await?;
    let mut new = desk.checked(&entry).await.map_err(|refusal| refusal.within("/reading"))?;
    new.supersedes = Some((reading, reason.to_owned()));
    let kept = (stamp.fresh(), new);
    entries::keep(&tx, scope, &stamp, std::slice::from_ref(&kept)).await?;
    crate::bands::watch(&tx, scope, &stamp, std::slice::from_ref(&kept)).await?;
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

/// Where entries are looked at one after the other, with what each needs to be compared with at hand.
struct Desk<'a> {
    tx: &'a Tx,
    scope: SiteScope,
    stamp: &'a Stamp<'a>,
    plan: SitePlan,
    earlier: HashMap<Uuid, KeptReading>,
    last: HashMap<(Spot, SamplePoint, Metric), Option<f64>>,
    known: Known,
    kinds: HashMap<Id<Meter>, Option<MeterKind>>,
    kept: Vec<KeptReading>,
}

impl<'a> Desk<'a> {
    async fn open(
        tx: &'a Tx,
        scope: SiteScope,
        stamp: &'a Stamp<'a>,
        entries: &[ReadingEntry],
    ) -> Result<Desk<'a>, Refusal> {
        let ids: Vec<Uuid> = entries.iter().map(|entry| entry.client_id).collect();
        let earlier = entries::find_by_client_ids::<Reading>(tx, scope, &ids).await?;
        let first = entries.iter().map(|entry| entry.recorded_at).min().unwrap_or(stamp.at);
        Ok(Desk {
            tx,
            scope,
            stamp,
            plan: plan::site_plan_since(tx, scope, first).await?.ok_or(Refusal::NotFound)?,
            earlier: earlier.into_iter().map(|kept| (kept.1.client_id, kept)).collect(),
            last: HashMap::new(),
            known: Known::default(),
            kinds: HashMap::new(),
            kept: Vec::new(),
        })
    }

    async fn take(&mut self, entry: &ReadingEntry) -> Result<Outcome<Reading>, Refusal> {
        if let Some((id, earlier)) = self.earlier.get(&entry.client_id) {
            return if is_same(earlier, entry) {
                Ok(Outcome::Duplicate(*id))
            } else {
                Err(Refusal::ClientIdReused)
            };
        }
        let reading = self.checked(entry).await?;
        let id = self.stamp.fresh();
        self.earlier.insert(entry.client_id, (id, reading.clone()));
        self.kept.push((id, reading));
        Ok(Outcome::Created(id))
    }

    /// The reading of an entry that is right, or that was confirmed.
    async fn checked(&mut self, entry: &ReadingEntry) -> Result<Reading, Refusal> {
        let mut faults = Faults::default();
        let value = faults.take("/value", "not_a_value", entry.metric.canonical(entry.entered));
        faults.take("/sample_point", "not_measured_there", entry.sample_point.of(entry.metric));
        self.look_up(entry, &mut faults).await?;
        let value = faults.or(value)?;

        let at = entry.recorded_at;
        let band = self.plan.band(entry.spot, entry.metric, at);
        let band = band.filter(|_| entry.sample_point.is_banded());
        let band = band.map(|band| BandThen { low: band.low, aim: band.aim, high: band.high });
        if !entry.confirmed {
            let last = self.last_value(entry).await?;
            let beside = Beside { last, band, mark_l: self.mark_l(entry.spot) };
            let doubt = doubts(entry.metric, entry.entered, value, beside);
            Refusal::unless_confirmed("/value", "looks_mis_keyed", doubt)?;
        }
        self.last.insert((entry.spot, entry.sample_point, entry.metric), Some(value));
        Ok(self.reading(entry, value, band))
    }

    fn reading(&self, entry: &ReadingEntry, value: f64, band: Option<BandThen>) -> Reading {
        let offset = entry.sent_at.map(|sent_at| self.stamp.at - sent_at);
        let corrected = entry.recorded_at + offset.unwrap_or_default();
        Reading {
            client_id: entry.client_id,
            spot: entry.spot,
            sample_point: entry.sample_point,
            metric: entry.metric,
            entered: entry.entered,
            value,
            compensation: entry.compensation,
            meter: entry.meter,
            change: entry.change,
            recorded_at: entry.recorded_at,
            received_at: self.stamp.at,
            clock_offset_ms: offset.map(|offset| offset.num_milliseconds()),
            clock_suspect: corrected > self.stamp.at + AHEAD,
            done_by: entry.done_by.or(self.stamp.by),
            entered_by: self.stamp.by,
            entered_with: self.stamp.with,
            band,
            superseded: None,
            supersedes: None,
        }
    }

    fn mark_l(&self, spot: Spot) -> Option<f64> {
        match spot {
            Spot::Tank(tank) => self.plan.tank(tank).map(|tank| tank.content.fill_mark_l),
            Spot::Room(_) => None,
        }
    }

    async fn last_value(&mut self, entry: &ReadingEntry) -> Result<Option<f64>, Refusal> {
        let (spot, point, metric) = (entry.spot, entry.sample_point, entry.metric);
        if let Some(last) = self.last.get(&(spot, point, metric)) {
            return Ok(*last);
        }
        Ok(readings::last_before(self.tx, self.scope, spot, point, metric, entry.recorded_at).await?)
    }

    async fn look_up(&mut self, entry: &ReadingEntry, faults: &mut Faults) -> Result<(), Refusal> {
        let mut named = vec![match entry.spot {
            Spot::Tank(tank) => Reference::of_site("/tank_id", "tanks", tank.uuid()),
            Spot::Room(room) => Reference::of_site("/room_id", "rooms", room.uuid()),
        }];
        named.extend(entry.meter.map(|meter| Reference::of_site("/meter_id", "meters", meter.uuid())));
        self.known.look_up(self.tx, self.scope, named, faults).await?;
        self.known.look_up_doer(self.tx, self.scope, "/done_by", entry.done_by, faults).await?;
        let kind = self.kind_of(entry.meter).await?;
        if let Some(kind) = kind.filter(|kind| !kind.measures(entry.metric)) {
            let told = format!("expected a meter of {}, found one of {}", entry.metric.code(), kind.code());
            faults.add("/meter_id", "other_kind", told);
        }
        Ok(())
    }

    async fn kind_of(&mut self, meter: Option<Id<Meter>>) -> Result<Option<MeterKind>, Refusal> {
        let Some(meter) = meter else { return Ok(None) };
        if let Some(kind) = self.kinds.get(&meter) {
            return Ok(*kind);
        }
        let kind = records::find(self.tx, self.scope, meter).await?.map(|kept| kept.content.kind);
        self.kinds.insert(meter, kind);
        Ok(kind)
    }
}

fn is_same(earlier: &Reading, entry: &ReadingEntry) -> bool {
    (earlier.spot, earlier.sample_point, earlier.metric) == (entry.spot, entry.sample_point, entry.metric)
        && (earlier.entered, earlier.compensation) == (entry.entered, entry.compensation)
        && (earlier.recorded_at, earlier.meter, earlier.change)
            == (entry.recorded_at, entry.meter, entry.change)
        && entry.done_by.is_none_or(|person| earlier.done_by == Some(person))
}
