//! What the pH tells of a bottle: who took the other one sees it move the other way.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::Metric;
use fillmark_domain::entries::SamplePoint;
use fillmark_domain::stock::ProductId;

use super::group::Group;
use super::{Verdict, Whose};
use crate::solution::record::{Event, MIXING, TankRecord, What};
use crate::solution::turnover::Moves;

/// What moves the pH, by product.
pub type Movers = BTreeMap<ProductId, Moves>;

/// Two readings are off by less together, and nutrients move a pH by no more (our own judgement).
const SHOWS: f64 = 0.4;

/// So far none but acid or alkali moves a tank at once (our own judgement).
const NOTHING_ELSE: f64 = 1.0;

/// Both readings are of the same visit as what was poured, or plants have moved the pH themselves (our own judgement).
const SAME_VISIT: TimeDelta = TimeDelta::hours(6);

/// What the pH of a tank did as a group was poured, and which products move it.
#[derive(Clone, Copy)]
pub(super) struct Seen<'a> {
    moved: Option<f64>,
    movers: &'a Movers,
}

impl<'a> Seen<'a> {
    /// By the last reading before the first dose and the first one after all had mixed.
    pub(super) fn of(record: &TankRecord, group: &Group, movers: &'a Movers) -> Seen<'a> {
        // Water moves a pH too, and what was drained tells nothing of what was filled in.
        let alone = group.water.is_empty() && !group.is_fresh() && !group.doses.is_empty();
        let moved = ph_before(record, group.begun()).zip(ph_after(record, group.ended() + MIXING));
        Seen { moved: moved.map(|(before, after)| after - before).filter(|_| alone), movers }
    }

    /// How far it moved, where it shows that something moved it.
    pub(super) fn shown(&self) -> Option<f64> {
        self.moved.filter(|moved| moved.abs() >= SHOWS)
    }

    /// Whether one bottle was taken for the other: what is recorded moves the pH one way, and it went the other.
    pub(super) fn other_bottle(&self, group: &Group) -> Option<Verdict> {
        let went = way(self.shown()?);
        let recorded: BTreeSet<ProductId> = group.doses.iter().map(|dose| dose.product).collect();
        let mut movers = recorded.iter().filter_map(|product| Some((*product, *self.movers.get(product)?)));
        let (Some((product, moves)), None) = (movers.next(), movers.next()) else { return None };
        let poured = self.movers.iter().find(|(_, way)| **way == went)?;
        let whose = group.doses.iter().filter(|dose| dose.product == product).map(|dose| dose.id).collect();
        (moves != went).then_some(Verdict::WrongProduct { whose: Whose::OneOf(whose), poured: *poured.0 })
    }

    /// Whether the pH lets another product have been poured in the place of one: an acid or alkali has moved it its way.
    pub(super) fn allows(&self, poured: ProductId, recorded: ProductId) -> bool {
        let Some(moved) = self.moved else { return true };
        match self.movers.get(&poured) {
            Some(moves) => moved.abs() >= SHOWS && way(moved) == *moves,
            None => !self.unexplained_by(recorded),
        }
    }

    /// Whether it moved as none but acid or alkali moves it, and a recorded product is neither.
    pub(super) fn unexplained_by(&self, recorded: ProductId) -> bool {
        self.moved.is_some_and(|moved| moved.abs() >= NOTHING_ELSE) && !self.movers.contains_key(&recorded)
    }
}

/// The last pH before an instant, or at it: who reads and pours in the same minute reads first. Nothing that was poured or
/// changed since, or had not mixed by then, tells of it.
fn ph_before(record: &TankRecord, begun: DateTime<Utc>) -> Option<f64> {
    let split = |at| record.events.partition_point(|event| event.at < at);
    let (earlier, at_once) = (split(begun), split(begun + TimeDelta::nanoseconds(1)));
    let now = &record.events[earlier..at_once];
    if now.iter().any(|event| matches!(event.what, What::Changed { .. })) {
        return None;
    }
    let deed = record.events[..earlier].iter().rposition(|event| !is_read(event));
    let mixed = deed.map_or(DateTime::<Utc>::MIN_UTC, |place| record.events[place].at + MIXING);
    let since = &record.events[deed.map_or(0, |place| place + 1)..earlier];
    let read = since.iter().chain(now).rev();
    let young = read.take_while(|event| begun - event.at <= SAME_VISIT && event.at >= mixed);
    young.into_iter().find_map(ph_of)
}

/// The first pH from an instant on, before anything else is done.
fn ph_after(record: &TankRecord, mixed: DateTime<Utc>) -> Option<f64> {
    let from = record.events.partition_point(|event| event.at < mixed);
    let read = record.events[from..].iter();
    read.take_while(|event| event.at - mixed <= SAME_VISIT && is_read(event)).find_map(ph_of)
}

fn ph_of(event: &Event) -> Option<f64> {
    match event.what {
        What::Read { metric: Metric::Ph, point: SamplePoint::Tank, value, .. } => Some(value),
        _ => None,
    }
}

fn is_read(event: &Event) -> bool {
    matches!(event.what, What::Read { .. })
}

fn way(moved: f64) -> Moves {
    if moved < 0.0 { Moves::Down } else { Moves::Up }
}
