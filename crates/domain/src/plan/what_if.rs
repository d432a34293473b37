//! A plan with changes that are tried and not kept: what would be used, if.

use chrono::{Days as ChronoDays, NaiveDate};
use uuid::Uuid;

use super::SitePlan;
use crate::growing::{Cycle, CycleId, Feed, ProgrammeId, ProgrammeRevision, StageDate, Step};
use crate::places::{OutOfUse, RoomId, TankId};
use crate::{Id, Kept};

/// A change of the plan that is tried.
#[derive(Debug, Clone, PartialEq)]
pub enum PlanChange {
    /// A cycle is fed by another programme.
    Programme {
        /// Which cycle.
        cycle: CycleId,
        /// The other programme.
        programme: ProgrammeId,
    },
    /// Tanks of a programme are changed at another interval.
    Interval {
        /// Of which programme.
        programme: ProgrammeId,
        /// Days between tank changes.
        days: u32,
    },
    /// A programme is given so many times as strong, its EC aims with it.
    Strength {
        /// Which programme.
        programme: ProgrammeId,
        /// Times.
        factor: f64,
    },
    /// A cycle more.
    NewCycle {
        /// The tank that it drinks from, and leads.
        tank: TankId,
        /// How it is fed.
        programme: ProgrammeId,
        /// Its first day.
        starts_on: NaiveDate,
        /// Plants.
        plants: u32,
    },
    /// A room stands empty: the tanks that feed it more than others are out of use.
    RoomClosed {
        /// Which room.
        room: RoomId,
        /// First day.
        from: NaiveDate,
        /// Last day.
        until: NaiveDate,
    },
}

impl PlanChange {
    /// The programme that it names, which the site may not have grown by yet.
    pub fn programme(&self) -> Option<ProgrammeId> {
        match self {
            PlanChange::Programme { programme, .. }
            | PlanChange::Interval { programme, .. }
            | PlanChange::Strength { programme, .. }
            | PlanChange::NewCycle { programme, .. } => Some(*programme),
            PlanChange::RoomClosed { .. } => None,
        }
    }
}

/// A change that names what there is not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotPlanned {
    /// No programme with steps.
    #[error("expected the id of a programme with steps")]
    Programme,
    /// No cycle of the site.
    #[error("expected the id of a cycle of the site's plan")]
    Cycle,
    /// No tank of the site.
    #[error("expected the id of a tank of the site's plan")]
    Tank,
    /// No room of the site.
    #[error("expected the id of a room of the site's plan")]
    Room,
}

impl SitePlan {
    /// The plan with a change in it from a day on; what was before stays as it was.
    /// # Errors
    /// [`NotPlanned`].
    pub fn with(mut self, change: &PlanChange, today: NaiveDate) -> Result<SitePlan, NotPlanned> {
        match change {
            PlanChange::Programme { cycle, programme } => self.refeed(*cycle, *programme, today)?,
            PlanChange::Interval { programme, days } => {
                self.revise(*programme, today, |step| {
                    let every = step.change_every_days.map(|_| *days);
                    Step { change_every_days: every, ..step }
                })?;
            }
            PlanChange::Strength { programme, factor } => {
                self.revise(*programme, today, |step| stronger(step, *factor))?;
            }
            PlanChange::NewCycle { tank, programme, starts_on, plants } => {
                self.tank(*tank).ok_or(NotPlanned::Tank)?;
                self.plant(*tank, *programme, (*starts_on, today), *plants)?;
            }
            PlanChange::RoomClosed { room, from, until } => {
                self.rooms.iter().find(|kept| kept.id == *room).ok_or(NotPlanned::Room)?;
                self.close(*room, (*from).max(today), *until);
            }
        }
        Ok(self)
    }

    /// The steps of a programme as they would be from a day on.
    fn revise(
        &mut self,
        programme: ProgrammeId,
        today: NaiveDate,
        revised: impl Fn(Step) -> Step,
    ) -> Result<(), NotPlanned> {
        let effective_at = self.begins(today);
        let steps: Vec<Step> = self.steps(programme, effective_at).iter().cloned().map(&revised).collect();
        let revisions = self.revisions.get_mut(&programme).ok_or(NotPlanned::Programme)?;
        for later in revisions.iter_mut().filter(|revision| revision.effective_at > effective_at) {
            later.steps = later.steps.iter().cloned().map(&revised).collect();
        }
        let place = revisions.partition_point(|revision| revision.effective_at <= effective_at);
        revisions.insert(place, ProgrammeRevision { programme, effective_at, steps });
        Ok(())
    }

    /// A cycle under a programme of its own, which is the old one until today and then the other.
    fn refeed(&mut self, cycle: CycleId, programme: ProgrammeId, today: NaiveDate) -> Result<(), NotPlanned> {
        let effective_at = self.begins(today);
        let others = self.revisions.get(&programme).ok_or(NotPlanned::Programme)?.clone();
        let begins = ProgrammeRevision {
            programme,
            effective_at,
            steps: self.steps(programme, effective_at).to_vec(),
        };
        let refed = self.cycles.get_mut(&cycle).ok_or(NotPlanned::Cycle)?;
        let before = self.revisions.get(&refed.content.programme).cloned().unwrap_or_default();
        let own = tried(self.revisions.len());
        refed.content.programme = own;
        let before = before.into_iter().filter(|revision| revision.effective_at < effective_at);
        let after = others.into_iter().filter(|revision| revision.effective_at > effective_at);
        self.revisions.insert(own, before.chain([begins]).chain(after).collect());
        Ok(())
    }

    /// A cycle of a programme in its steps' own stages.
    fn plant(
        &mut self,
        tank: TankId,
        programme: ProgrammeId,
        (starts_on, today): (NaiveDate, NaiveDate),
        plants: u32,
    ) -> Result<(), NotPlanned> {
        self.revisions.get(&programme).ok_or(NotPlanned::Programme)?;
        let at = self.begins(starts_on);
        let mut stages: Vec<StageDate> = Vec::new();
        let mut day = starts_on;
        for step in self.steps(programme, at) {
            if stages.last().is_none_or(|last| last.stage != step.stage) {
                stages.push(StageDate { stage: step.stage, from: day });
            }
            day = day.checked_add_days(ChronoDays::new(step.days.into())).unwrap_or(day);
        }
        let id = tried(self.cycles.len());
        let content = Cycle {
            name: String::new(),
            crop: tried(0),
            programme,
            plants,
            starts_on,
            ends_on: Some(day.pred_opt().unwrap_or(day).max(starts_on)),
            stages,
        };
        let ends_on = content.ends_on;
        let cycle = Kept { id, version: 1, created_at: at, updated_at: at, archived_at: None, content };
        self.cycles.insert(id, cycle);
        let from = starts_on.max(today);
        self.feeds.push(Feed { tank, cycle: id, from, until: ends_on, leads: true, plants });
        Ok(())
    }

    fn close(&mut self, room: RoomId, from: NaiveDate, until: NaiveDate) {
        if until < from {
            return;
        }
        let feeds_it = |tank: &TankId| self.room_of(*tank, from) == Some(room);
        let tanks: Vec<TankId> = self.tanks.iter().map(|tank| tank.id).filter(feeds_it).collect();
        let outage = |tank| OutOfUse { tank, from, until: Some(until), reason: String::new() };
        self.outages.extend(tanks.into_iter().map(outage));
    }
}

fn stronger(step: Step, factor: f64) -> Step {
    let bands = step.bands.iter().map(|band| {
        let times = if band.metric == crate::Metric::Ec { factor } else { 1.0 };
        let (low, aim, high) = (band.low * times, band.aim * times, band.high * times);
        crate::Band { low, aim, high, ..*band }
    });
    let bands = bands.collect();
    let (strength, top_up_strength) = (step.strength * factor, step.top_up_strength * factor);
    Step { strength, top_up_strength, bands, ..step }
}

/// An id for something tried, which no record has: ids of records hold a time that is not the last there is.
fn tried<W>(number: usize) -> Id<W> {
    Id::new(Uuid::from_u128(u128::MAX - number as u128))
}

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use chrono::{DateTime, Utc};
    use chrono_tz::Europe::Berlin;

    use super::*;
    use crate::places::{Room, RoomUse, Tank, TankMode, TankRoom};
    use crate::{Band, Metric, OpenDays, Stage};

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn id<W>(number: u128) -> Id<W> {
        Id::new(Uuid::from_u128(number))
    }

    fn step(days: u32, every: u32) -> Step {
        Step {
            stage: Stage::Vegetative,
            days,
            doses: Vec::new(),
            strength: 0.8,
            bands: vec![Band { metric: Metric::Ec, low: 1.0, aim: 1.4, high: 1.8 }],
            change_every_days: Some(every),
            top_up_strength: 0.4,
        }
    }

    fn kept<W>(number: u128, content: W) -> Kept<W> {
        let at = DateTime::<Utc>::UNIX_EPOCH;
        Kept { id: id(number), version: 1, created_at: at, updated_at: at, archived_at: None, content }
    }

    /// Cycle 1 leads tank 1, which feeds room 1, by programme 1; programme 2 changes twice as often.
    fn plan() -> SitePlan {
        let revision = |programme, every| ProgrammeRevision {
            programme: id(programme),
            effective_at: "2031-01-01T00:00:00Z".parse().unwrap(),
            steps: vec![step(14, every), step(28, every)],
        };
        let tank = Tank {
            name: "North 1".into(),
            mode: TankMode::Recirculating,
            fill_mark_l: 200.0,
            water_source: None,
            two_people_change: false,
            bands: Vec::new(),
        };
        let room = Room {
            name: "North room".into(),
            room_use: RoomUse::Growing,
            growing_area_m2: None,
            plant_places: None,
            hygiene_rank: 1,
            building: None,
            bands: Vec::new(),
        };
        let cycle = Cycle {
            name: "Basil 1".into(),
            crop: id(1),
            programme: id(1),
            plants: 100,
            starts_on: day("2031-03-01"),
            ends_on: None,
            stages: vec![StageDate { stage: Stage::Vegetative, from: day("2031-03-01") }],
        };
        SitePlan {
            zone: Berlin,
            open: OpenDays::EVERY_DAY,
            rooms: vec![kept(1, room)],
            tanks: vec![kept(1, tank)],
            tank_rooms: vec![TankRoom {
                tank: id(1),
                room: id(1),
                from: day("2031-01-01"),
                until: None,
                share: 1.0,
            }],
            outages: Vec::new(),
            sources: Vec::new(),
            cycles: HashMap::from([(id(1), kept(1, cycle))]),
            placements: Vec::new(),
            feeds: vec![Feed {
                tank: id(1),
                cycle: id(1),
                from: day("2031-03-01"),
                until: None,
                leads: true,
                plants: 100,
            }],
            revisions: HashMap::from([(id(1), vec![revision(1, 14)]), (id(2), vec![revision(2, 7)])]),
            change_plans: Vec::new(),
        }
    }

    fn step_on(plan: &SitePlan, on: &str) -> Option<Step> {
        plan.led(id(1), day(on)).and_then(|led| led.step).cloned()
    }

    #[track_caller]
    fn check(change: PlanChange, on: &str, expected: impl Fn(&Step) -> bool) {
        let tried = plan().with(&change, day("2031-03-10")).unwrap();
        assert!(expected(&step_on(&tried, on).unwrap()), "{change:?}");
        let unchanged = step_on(&plan(), "2031-03-09");
        assert_eq!(step_on(&tried, "2031-03-09"), unchanged, "what was before today stays");
    }

    #[test]
    fn a_change_holds_from_today_on() {
        let programme = id(1);
        check(PlanChange::Interval { programme, days: 5 }, "2031-03-10", |step| {
            step.change_every_days == Some(5)
        });
        check(PlanChange::Strength { programme, factor: 0.5 }, "2031-03-10", |step| {
            (step.strength, step.top_up_strength, step.bands[0].aim) == (0.4, 0.2, 0.7)
        });
        let other = PlanChange::Programme { cycle: id(1), programme: id(2) };
        check(other, "2031-03-10", |step| step.change_every_days == Some(7));
    }

    #[test]
    fn a_room_that_is_closed_rests_its_tanks() {
        let change =
            PlanChange::RoomClosed { room: id(1), from: day("2031-03-20"), until: day("2031-03-25") };
        let tried = plan().with(&change, day("2031-03-10")).unwrap();
        let in_use = |on| tried.in_use(id(1), day(on));
        assert!(
            in_use("2031-03-19") && !in_use("2031-03-20") && !in_use("2031-03-25") && in_use("2031-03-26")
        );
    }

    #[test]
    fn what_was_before_today_stays_whatever_is_tried() {
        let (from, until) = (day("2031-02-01"), day("2031-03-12"));
        let tried =
            plan().with(&PlanChange::RoomClosed { room: id(1), from, until }, day("2031-03-10")).unwrap();
        let in_use = |on| tried.in_use(id(1), day(on));
        assert!(
            in_use("2031-03-09") && !in_use("2031-03-10") && !in_use("2031-03-12") && in_use("2031-03-13")
        );
        let over = PlanChange::RoomClosed { room: id(1), from, until: day("2031-03-01") };
        let tried = plan().with(&over, day("2031-03-10")).unwrap();
        assert!(tried.in_use(id(1), day("2031-03-10")) && tried.in_use(id(1), day("2031-02-15")));
        let (tank, programme, starts_on) = (id(1), id(2), day("2031-03-01"));
        let more = PlanChange::NewCycle { tank, programme, starts_on, plants: 50 };
        let tried = plan().with(&more, day("2031-03-10")).unwrap();
        assert_eq!(
            (tried.plants(tank, day("2031-03-09")), tried.plants(tank, day("2031-03-10"))),
            (100, 150)
        );
    }

    /// A revision of one in the morning, as midnight in Greenwich is in Berlin.
    #[test]
    fn what_comes_into_force_in_the_small_hours_is_fed_that_day() {
        let mut plan = plan();
        let (programme, effective_at) = (id(1), "2031-03-14T00:00:00Z".parse().unwrap());
        let revision = ProgrammeRevision { programme, effective_at, steps: vec![step(200, 3)] };
        plan.revisions.get_mut(&programme).unwrap().push(revision);
        let every = |on| step_on(&plan, on).unwrap().change_every_days;
        assert_eq!((every("2031-03-13"), every("2031-03-14")), (Some(14), Some(3)));
        let at = |at: &str| plan.led_at(id(1), at.parse().unwrap()).unwrap().step.unwrap().change_every_days;
        assert_eq!((at("2031-03-13T23:30:00Z"), at("2031-03-14T00:00:00Z")), (Some(14), Some(3)));
    }

    #[test]
    fn a_cycle_more_goes_through_its_steps() {
        let mut empty = plan();
        empty.feeds.clear();
        let (tank, programme, starts_on) = (id(1), id(2), day("2031-04-01"));
        let change = PlanChange::NewCycle { tank, programme, starts_on, plants: 50 };
        let tried = empty.with(&change, day("2031-03-10")).unwrap();
        assert!(step_on(&tried, "2031-03-31").is_none());
        assert_eq!(step_on(&tried, "2031-04-01").unwrap().change_every_days, Some(7));
        assert_eq!(tried.plants(id(1), day("2031-05-12")), 50);
        assert_eq!(tried.plants(id(1), day("2031-05-13")), 0, "6 weeks of steps");
    }

    #[test]
    fn what_is_not_in_the_plan_is_named() {
        let refused = |change| plan().with(&change, day("2031-03-10")).unwrap_err();
        assert_eq!(refused(PlanChange::Interval { programme: id(9), days: 5 }), NotPlanned::Programme);
        assert_eq!(refused(PlanChange::Programme { cycle: id(9), programme: id(2) }), NotPlanned::Cycle);
        let (from, until) = (day("2031-03-20"), day("2031-03-25"));
        assert_eq!(refused(PlanChange::RoomClosed { room: id(9), from, until }), NotPlanned::Room);
    }
}
