//! A site's plan as it stands: what drinks from which tank on which day, by which step, within which bands.

mod what_if;

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;

use crate::entries::{ChangePlan, EARLY, Spot, tank_change};
use crate::growing::{Cycle, CycleId, Feed, Placement, ProgrammeId, ProgrammeRevision, Step, spans, step_on};
use crate::local::Wall;
use crate::places::{OutOfUse, Room, RoomId, Tank, TankId, TankRoom, WaterSource};
pub use what_if::{NotPlanned, PlanChange};

use crate::{Band, Kept, Metric, OpenDays};

const NOON: NaiveTime = NaiveTime::from_hms_opt(12, 0, 0).expect("noon is a time of day");

/// All that a site has planned, archived records left out.
#[derive(Debug, Clone)]
pub struct SitePlan {
    /// The site's zone; its days are local days.
    pub zone: Tz,
    /// The days on which staff work.
    pub open: OpenDays,
    /// Rooms.
    pub rooms: Vec<Kept<Room>>,
    /// Tanks.
    pub tanks: Vec<Kept<Tank>>,
    /// Which rooms they feed.
    pub tank_rooms: Vec<TankRoom>,
    /// When they are out of use.
    pub outages: Vec<OutOfUse>,
    /// Water.
    pub sources: Vec<Kept<WaterSource>>,
    /// Cycles.
    pub cycles: HashMap<CycleId, Kept<Cycle>>,
    /// Where they stand.
    pub placements: Vec<Placement>,
    /// What they drink from.
    pub feeds: Vec<Feed>,
    /// Revisions of the programmes, by programme, the earliest first.
    pub revisions: HashMap<ProgrammeId, Vec<ProgrammeRevision>>,
    /// What people decided about the days of tank changes.
    pub change_plans: Vec<ChangePlan>,
}

/// The cycle that leads a tank on a day, and the step it is in.
#[derive(Debug, Clone, Copy)]
pub struct Led<'a> {
    /// The feed.
    pub feed: &'a Feed,
    /// Its cycle.
    pub cycle: &'a Kept<Cycle>,
    /// The step in force; none where the programme has none for the stage.
    pub step: Option<&'a Step>,
}

/// Whether changes of a tank come due, and why not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Changes {
    /// Each so many days by the step in force.
    Every(u32),
    /// Not while it is out of use.
    OutOfUse,
    /// No cycle drinks from it.
    NotFed,
    /// The programme has no step for the day, or one without an interval.
    NotByStep,
}

impl SitePlan {
    /// The local day of an instant.
    pub fn day(&self, at: DateTime<Utc>) -> NaiveDate {
        at.with_timezone(&self.zone).date_naive()
    }

    /// The instant at which a local day begins.
    pub fn begins(&self, day: NaiveDate) -> DateTime<Utc> {
        Wall::of(self.zone, day.and_time(chrono::NaiveTime::MIN)).instant_or_after()
    }

    /// Midday, which no change of clocks moves.
    fn noon(&self, day: NaiveDate) -> DateTime<Utc> {
        Wall::of(self.zone, day.and_time(NOON)).instant_or_after()
    }

    /// The tank with this id.
    pub fn tank(&self, tank: TankId) -> Option<&Kept<Tank>> {
        self.tanks.iter().find(|kept| kept.id == tank)
    }

    /// Whether a tank is in use on a day.
    pub fn in_use(&self, tank: TankId, on: NaiveDate) -> bool {
        !self.outages.iter().any(|outage| outage.tank == tank && spans(outage.from, outage.until, on))
    }

    /// The EC of the water a tank is filled with, mS/cm; 0 where its source is unknown.
    pub fn source_ec(&self, tank: &Tank) -> f64 {
        let source = self.sources.iter().find(|source| Some(source.id) == tank.water_source);
        source.map_or(0.0, |source| source.content.ec_ms_cm)
    }

    /// The room a tank feeds on a day, the one with the largest share.
    pub fn room_of(&self, tank: TankId, on: NaiveDate) -> Option<RoomId> {
        let fed = self.tank_rooms.iter().filter(|fed| fed.tank == tank && spans(fed.from, fed.until, on));
        fed.max_by(|one, other| one.share.total_cmp(&other.share)).map(|fed| fed.room)
    }

    /// The steps of a programme in force at an instant; before its first revision that one is meant.
    pub fn steps(&self, programme: ProgrammeId, at: DateTime<Utc>) -> &[Step] {
        let revisions = self.revisions.get(&programme).map(Vec::as_slice).unwrap_or_default();
        let in_force = revisions.iter().rfind(|revision| revision.effective_at <= at).or(revisions.first());
        in_force.map(|revision| revision.steps.as_slice()).unwrap_or_default()
    }

    /// Who leads a tank on a day; of several feeds the one that says it leads, else the one with the most plants. Steps are those
    /// in force at noon: what comes into force in the small hours is fed that day.
    pub fn led(&self, tank: TankId, on: NaiveDate) -> Option<Led<'_>> {
        self.led_by(tank, on, self.noon(on))
    }

    /// Who leads a tank at an instant, with the step in force then.
    pub fn led_at(&self, tank: TankId, at: DateTime<Utc>) -> Option<Led<'_>> {
        self.led_by(tank, self.day(at), at)
    }

    fn led_by(&self, tank: TankId, on: NaiveDate, at: DateTime<Utc>) -> Option<Led<'_>> {
        let (feed, cycle) = self
            .feeds
            .iter()
            .filter(|feed| feed.tank == tank && spans(feed.from, feed.until, on))
            .filter_map(|feed| Some((feed, self.cycles.get(&feed.cycle)?)))
            .filter(|(_, cycle)| cycle.content.stage_on(on).is_some())
            .max_by_key(|(feed, _)| (feed.leads, feed.plants))?;
        let steps = self.steps(cycle.content.programme, at);
        Some(Led { feed, cycle, step: step_on(steps, &cycle.content, on) })
    }

    /// What drinks from which tank, each no longer than its cycle grows.
    pub fn feeds_while_they_grow(&self) -> Vec<Feed> {
        let while_it_grows = |feed: &Feed| {
            let ends_on = self.cycles.get(&feed.cycle).and_then(|cycle| cycle.content.ends_on);
            let until = feed.until.into_iter().chain(ends_on).min();
            Feed { until, ..feed.clone() }
        };
        self.feeds.iter().map(while_it_grows).collect()
    }

    /// Plants that drink from a tank on a day.
    pub fn plants(&self, tank: TankId, on: NaiveDate) -> u32 {
        let drinking = self.feeds.iter().filter(|feed| feed.tank == tank && spans(feed.from, feed.until, on));
        drinking.fold(0, |plants, feed| plants.saturating_add(feed.plants))
    }

    /// The band of a metric in force for a tank or room at an instant: the leading cycle's step, else the
    /// place's own.
    pub fn band(&self, spot: Spot, metric: Metric, at: DateTime<Utc>) -> Option<Band> {
        let day = self.day(at);
        let of = |bands: &[Band]| bands.iter().find(|band| band.metric == metric).copied();
        match spot {
            Spot::Tank(tank) => {
                let step = self.led_by(tank, day, at).and_then(|led| led.step);
                step.and_then(|step| of(&step.bands)).or_else(|| of(&self.tank(tank)?.content.bands))
            }
            Spot::Room(room) => {
                let step = self.step_of_room(room, day, at);
                let own = || of(&self.rooms.iter().find(|kept| kept.id == room)?.content.bands);
                step.and_then(|step| of(&step.bands)).or_else(own)
            }
        }
    }

    /// The step of the cycle with the most plants in a room.
    fn step_of_room(&self, room: RoomId, on: NaiveDate, at: DateTime<Utc>) -> Option<&Step> {
        let standing = self
            .placements
            .iter()
            .filter(|placed| placed.room == room && spans(placed.from, placed.until, on));
        let cycles = standing.filter_map(|placed| Some((placed.plants, self.cycles.get(&placed.cycle)?)));
        let (_, cycle) = cycles
            .filter(|(_, cycle)| cycle.content.stage_on(on).is_some())
            .max_by_key(|(plants, _)| *plants)?;
        step_on(self.steps(cycle.content.programme, at), &cycle.content, on)
    }

    /// Whether changes of a tank come due on a day; none where it is of a mode that is not changed.
    pub fn changes(&self, tank: &Kept<Tank>, on: NaiveDate) -> Option<Changes> {
        if !tank.content.mode.is_changed() {
            return None;
        }
        if !self.in_use(tank.id, on) {
            return Some(Changes::OutOfUse);
        }
        let Some(led) = self.led(tank.id, on) else { return Some(Changes::NotFed) };
        Some(led.step.and_then(|step| step.change_every_days).map_or(Changes::NotByStep, Changes::Every))
    }

    /// Days between changes of a tank by its programme on a day; none where none come due.
    pub fn change_interval(&self, tank: &Kept<Tank>, on: NaiveDate) -> Option<u32> {
        match self.changes(tank, on)? {
            Changes::Every(days) => Some(days),
            Changes::OutOfUse | Changes::NotFed | Changes::NotByStep => None,
        }
    }

    /// The days on which a tank's changes are due from one day to another.
    pub fn due_changes(
        &self,
        tank: &Kept<Tank>,
        last_done: Option<NaiveDate>,
        from: NaiveDate,
        until: NaiveDate,
    ) -> Vec<NaiveDate> {
        let plans: Vec<ChangePlan> =
            self.change_plans.iter().filter(|plan| plan.tank == tank.id).cloned().collect();
        tank_change::due_days(last_done, &plans, from, until, |on| self.change_interval(tank, on))
    }

    /// The day that a change done on a day was due: the first since the last one, so that one done late is late by
    /// all its days; else one that comes within [`EARLY`].
    pub fn change_done(
        &self,
        tank: &Kept<Tank>,
        last_done: Option<NaiveDate>,
        on: NaiveDate,
    ) -> Option<NaiveDate> {
        let from = last_done.and_then(|last| last.succ_opt()).unwrap_or(on);
        self.due_changes(tank, last_done, from, on + EARLY).into_iter().next()
    }
}
