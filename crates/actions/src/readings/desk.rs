//! Where readings are looked at before they are kept, with what each needs to be compared with at hand.

use std::collections::HashMap;
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_advice::solution::temperature::{NotAt25, shown_at_25};
use fillmark_domain::entries::{
    BandThen, Beside, Compensation, Meter, MeterKind, Reading, SamplePoint, Spot, doubts,
};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::{Coded, Faults, Id, Metric};
use fillmark_store::readings::{self, KeptReading};
use fillmark_store::{Reference, SiteScope, Stamp, Tx, entries, plan, records};
use uuid::Uuid;

use super::{Outcome, ReadingEntry, is_same};
use crate::Refusal;
use crate::known::{Known, refuse_unknown};

/// Clocks of devices may run ahead by so much before a reading's time is held to be suspect.
const AHEAD: TimeDelta = TimeDelta::minutes(5);

/// A solution's temperature is what it is for about so long (common practice, no source).
const NEAR: TimeDelta = TimeDelta::hours(1);

/// An entry with who enters it, and when.
pub(super) type Signed<'a> = (Stamp<'a>, &'a ReadingEntry);

/// What became of entries.
#[derive(Default)]
pub(super) struct Entered {
    /// In their order.
    pub(super) outcomes: Vec<Outcome<Reading>>,
    /// Those that were kept now or before, by their client ids.
    pub(super) kept: HashMap<Uuid, KeptReading>,
}

/// Looks at entries and keeps those that are right.
pub(super) async fn enter(tx: &Tx, scope: SiteScope, entries: &[Signed<'_>]) -> Result<Entered, Refusal> {
    if entries.is_empty() {
        return Ok(Entered::default());
    }
    let mut desk = Desk::open(tx, scope, entries).await?;
    let mut outcomes = Vec::with_capacity(entries.len());
    for entry in entries {
        outcomes.push(match desk.take(*entry).await {
            Ok(outcome) => outcome,
            Err(refusal) if refusal.is_about_the_entry() => Outcome::Rejected(refusal),
            Err(refusal) => return Err(refusal),
        });
    }
    entries::keep_signed(tx, scope, desk.kept.iter().map(|(stamp, kept)| (*stamp, kept))).await?;
    crate::bands::watch(tx, scope, &desk.kept).await?;
    Ok(Entered { outcomes, kept: desk.earlier })
}

/// Where entries are looked at one after the other.
pub(super) struct Desk<'a> {
    tx: &'a Tx,
    scope: SiteScope,
    plan: Arc<SitePlan>,
    earlier: HashMap<Uuid, KeptReading>,
    last: HashMap<(Spot, SamplePoint, Metric), Option<f64>>,
    known: Known,
    kinds: HashMap<Id<Meter>, Option<MeterKind>>,
    /// Temperatures of solutions that come along: where, when, and how many °C.
    temperatures: Vec<((Spot, SamplePoint), DateTime<Utc>, f64)>,
    kept: Vec<(Stamp<'a>, KeptReading)>,
}

impl<'a> Desk<'a> {
    pub(super) async fn open(
        tx: &'a Tx,
        scope: SiteScope,
        entries: &[Signed<'_>],
    ) -> Result<Desk<'a>, Refusal> {
        let ids: Vec<Uuid> = entries.iter().map(|(_, entry)| entry.client_id).collect();
        let earlier = entries::find_by_client_ids::<Reading>(tx, scope, &ids).await?;
        let first = entries.iter().map(|(_, entry)| entry.recorded_at).min().ok_or(Refusal::NotFound)?;
        Ok(Desk {
            tx,
            scope,
            plan: plan::site_plan_since(tx, scope, first).await?.ok_or(Refusal::NotFound)?,
            earlier: earlier.into_iter().map(|kept| (kept.1.client_id, kept)).collect(),
            last: HashMap::new(),
            known: Known::default(),
            kinds: HashMap::new(),
            temperatures: entries.iter().filter_map(|(_, entry)| temperature(entry)).collect(),
            kept: Vec::new(),
        })
    }

    async fn take(&mut self, (stamp, entry): Signed<'a>) -> Result<Outcome<Reading>, Refusal> {
        if let Some((id, earlier)) = self.earlier.get(&entry.client_id) {
            return if is_same(earlier, entry) {
                Ok(Outcome::Duplicate(*id))
            } else {
                Err(Refusal::ClientIdReused)
            };
        }
        let reading = self.checked((stamp, entry)).await?;
        let id = stamp.fresh();
        self.earlier.insert(entry.client_id, (id, reading.clone()));
        self.kept.push((stamp, (id, reading)));
        Ok(Outcome::Created(id))
    }

    /// The reading of an entry that is right, or that was confirmed.
    pub(super) async fn checked(&mut self, (stamp, entry): Signed<'_>) -> Result<Reading, Refusal> {
        let mut faults = Faults::default();
        let value = faults.take("/value", "not_a_value", entry.metric.canonical(entry.entered));
        faults.take("/sample_point", "not_measured_there", entry.sample_point.of(entry.metric));
        self.look_up(entry, &mut faults).await?;
        let value = self.at_25(entry, faults.or(value)?).await?;

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
        Ok(reading(stamp, entry, value, band))
    }

    /// A conductivity as it would be at 25 °C; whatever else was measured as it is.
    async fn at_25(&self, entry: &ReadingEntry, shown: f64) -> Result<f64, Refusal> {
        if entry.metric != Metric::Ec {
            return Ok(shown);
        }
        let temperature_c = match entry.compensation {
            Some(Compensation::None) => self.temperature_of(entry).await?,
            Some(Compensation::Linear { .. }) | None => None,
        };
        let refused = |why: NotAt25| Refusal::invalid("/compensation", "not_at_25", why.to_string());
        shown_at_25(entry.compensation, shown, temperature_c).map_err(refused)
    }

    /// The temperature of what an entry is about, sent along or on record.
    async fn temperature_of(&self, entry: &ReadingEntry) -> Result<Option<f64>, Refusal> {
        let (of, at) = ((entry.spot, entry.sample_point), entry.recorded_at);
        let near =
            self.temperatures.iter().filter(|(there, when, _)| *there == of && (*when - at).abs() <= NEAR);
        if let Some((.., temperature_c)) = near.min_by_key(|(_, when, _)| (*when - at).abs()) {
            return Ok(Some(*temperature_c));
        }
        let of = (entry.spot, entry.sample_point, Metric::SolutionTemperature);
        Ok(readings::nearest(self.tx, self.scope, of, at, NEAR).await?)
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
        let (pointer, there) = match entry.spot {
            Spot::Tank(tank) => ("/tank_id", self.plan.tank(tank).is_some()),
            Spot::Room(room) => ("/room_id", self.plan.rooms.iter().any(|kept| kept.id == room)),
        };
        refuse_unknown(faults, pointer, there);
        let meter = entry.meter.map(|meter| Reference::of_site("/meter_id", "meters", meter.uuid()));
        self.known.look_up(self.tx, self.scope, meter, faults).await?;
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

fn temperature(entry: &ReadingEntry) -> Option<((Spot, SamplePoint), DateTime<Utc>, f64)> {
    let value = entry.metric.canonical(entry.entered).ok();
    let value = value.filter(|_| entry.metric == Metric::SolutionTemperature)?;
    Some(((entry.spot, entry.sample_point), entry.recorded_at, value))
}

fn reading(stamp: Stamp<'_>, entry: &ReadingEntry, value: f64, band: Option<BandThen>) -> Reading {
    let offset = entry.sent_at.map(|sent_at| stamp.at - sent_at);
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
        received_at: stamp.at,
        clock_offset_ms: offset.map(|offset| offset.num_milliseconds()),
        clock_suspect: corrected > stamp.at + AHEAD,
        done_by: entry.done_by.or(stamp.by),
        entered_by: stamp.by,
        entered_with: stamp.with,
        band,
        superseded: None,
        supersedes: None,
    }
}
