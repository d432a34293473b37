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
mod tests;
