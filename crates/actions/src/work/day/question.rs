//! The question of who does what on a day, from what is known of it.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use fillmark_advice::rounds::{
    Begun, DueCheck, Hygiene, WhyNot, WorkDay, Worker, hindrance, is_qualified, minutes_there,
};
use fillmark_domain::entries::{Reading, Spot};
use fillmark_domain::people::PersonId;
use fillmark_domain::places::{Room, RoomUse};
use fillmark_domain::work::{Check, CheckState, Evidence, Held, Place, Shift, Span, Task};
use fillmark_domain::{Id, Kept};
use fillmark_store::checks::KeptCheck;
use fillmark_store::rounds::KeptRound;

use super::DayAtHand;
use crate::work::share::steps_of;

/// A day to be shared out, and what of it is begun or done.
pub(in crate::work) struct Question {
    /// Its checks, begun or not, and who is there.
    pub day: WorkDay,
    /// What is begun or done, by whom.
    pub begun: Vec<Begun>,
}

impl Question {
    /// Whether all that can be done is begun.
    pub(in crate::work) fn is_answered(&self) -> bool {
        self.day.checks.iter().all(|due| self.begun.iter().any(|begun| begun.check == due.check))
    }
}

impl DayAtHand {
    /// The question as things stand at an instant: checks at places that are in use, of which nothing has become but that
    /// they were begun or done. `published` are the rounds in force, if any.
    pub(in crate::work) fn question(&self, published: &[KeptRound], now: DateTime<Utc>) -> Question {
        let begun = self.begun(published, now);
        let is_begun = |check: Id<Check>| begun.iter().any(|one| one.check == check);
        let due = self.checks.iter().filter_map(|kept| self.due(kept, is_begun(kept.id), now));
        let people: BTreeSet<PersonId> =
            self.shifts.iter().filter(|shift| self.is_near(shift)).map(|shift| shift.person).collect();
        let day = WorkDay {
            date: self.date,
            checks: due.collect(),
            workers: people.into_iter().map(|person| self.worker(person)).collect(),
            walks: self.walks,
            meters: self.meters.clone(),
        };
        Question { day, begun }
    }

    /// What stands against somebody's beginning a check now.
    pub(in crate::work) fn hindrance(
        &self,
        check: &Check,
        person: PersonId,
        now: DateTime<Utc>,
    ) -> Option<WhyNot> {
        let begun = self.begun(&[], now);
        let of = |begun: &Begun| self.checks.iter().find(|kept| kept.id == begun.check);
        let own = begun.iter().filter(|begun| begun.person == person).filter_map(of);
        let been_in = own.map(|kept| self.place(&kept.check).1).max();
        hindrance((check, self.place(check).1), &self.held_by(person), self.date, been_in)
    }

    fn held_by(&self, person: PersonId) -> Vec<Held> {
        self.held.iter().filter(|held| held.person == person).copied().collect()
    }

    /// What is begun or done: said so, or shown by a reading that somebody took for it. What somebody had begun who has
    /// left since, or on a day before, is begun by nobody.
    fn begun(&self, published: &[KeptRound], now: DateTime<Utc>) -> Vec<Begun> {
        let read = self.read(published, now);
        let of = |kept: &KeptCheck| match &kept.check.state {
            CheckState::Open { at, by } => vec![(*by, *at, None)],
            CheckState::Done { at, by, with, .. } => {
                std::iter::once(*by).chain(*with).map(|person| (person, *at, Some(*at))).collect()
            }
            CheckState::Planned => read.get(&kept.id).map(|(by, at)| (*by, *at, None)).into_iter().collect(),
            CheckState::Missed { .. } | CheckState::Excused { .. } => Vec::new(),
        };
        let all = self.checks.iter().flat_map(|kept| of(kept).into_iter().map(move |begun| (kept, begun)));
        let of_day = |kept: &KeptCheck, at| kept.check.date == self.date || at >= self.plan.begins(self.date);
        all.filter(|(kept, (person, at, _))| self.people.contains(person) && of_day(kept, *at))
            .map(|(kept, (person, at, done_at))| Begun { check: kept.id, person, at: at.min(now), done_at })
            .collect()
    }

    /// Who has taken the first reading for a check that shows no other one yet, and when. A reading is for one check, the
    /// nearest due of those it can be for.
    fn read(
        &self,
        published: &[KeptRound],
        now: DateTime<Utc>,
    ) -> BTreeMap<Id<Check>, (PersonId, DateTime<Utc>)> {
        let settled: BTreeSet<Id<Reading>> =
            self.checks.iter().flat_map(|kept| shown_by(&kept.check)).collect();
        let mut read = BTreeMap::new();
        for (_, reading) in self.readings.iter().filter(|(id, _)| !settled.contains(id)) {
            let Some(person) = reading.done_by else { continue };
            let at = reading.recorded_at;
            let can_be_for = |kept: &&KeptCheck| {
                is_for(reading, &kept.check, now) && self.may_begin(published, kept.id, person, at)
            };
            let nearest =
                self.checks.iter().filter(can_be_for).min_by_key(|kept| (kept.check.due_at - at).abs());
            if let Some(kept) = nearest {
                read.entry(kept.id).or_insert((person, at));
            }
        }
        read
    }

    /// Whether what somebody read begins a check: they have it on paper or, where nobody has, were on shift. Whoever passes by
    /// takes no check from a colleague by reading a pH.
    fn may_begin(
        &self,
        published: &[KeptRound],
        check: Id<Check>,
        person: PersonId,
        at: DateTime<Utc>,
    ) -> bool {
        let holders = steps_of(published, check);
        if !holders.is_empty() {
            return holders.iter().any(|(holder, _)| *holder == person);
        }
        let own = self.shifts.iter().filter(|shift| shift.person == person && self.is_near(shift));
        own.filter_map(|shift| shift.span(self.plan.zone).ok()).any(|span| span.holds(at))
    }

    fn due(&self, kept: &KeptCheck, is_begun: bool, now: DateTime<Utc>) -> Option<DueCheck> {
        let check = &kept.check;
        if !is_begun && (check.is_settled() || !self.is_in_use(check)) {
            return None;
        }
        let (room, hygiene) = self.place(check);
        let window = if is_begun { check.time_left(check.due_at) } else { window(check, now) };
        let meter = check.task.meter();
        Some(DueCheck {
            check: kept.id,
            room,
            hygiene,
            name: self.name(check),
            window: window?,
            minutes: check.work_min,
            qualification: check.qualification,
            two_people: check.two_people,
            limit: Some(check.limit),
            weight: check.sharing.weight,
            meter: meter.filter(|kind| self.meters.iter().any(|meters| meters.kind == *kind)),
            building: self.building(check),
            is_unpleasant: check.sharing.is_unpleasant,
            may_wait: self.may_wait(check),
        })
    }

    /// A tank that feeds no room is a clean place of its own.
    fn place(&self, check: &Check) -> (Id<Room>, Hygiene) {
        match (self.room(check), check.place) {
            (Some(room), _) => (room.id, hygiene(&room.content)),
            (None, Place::Room(room)) => (room, Hygiene { quarantine: false, rank: 0 }),
            (None, Place::Tank(tank)) => (Id::new(tank.uuid()), Hygiene { quarantine: false, rank: 0 }),
        }
    }

    /// Buildings by the order of their names; 0 stands for rooms that name none.
    fn building(&self, check: &Check) -> u32 {
        let name = |room: &Kept<Room>| room.content.building.clone();
        let Some(own) = self.room(check).and_then(name) else { return 0 };
        let names: BTreeSet<String> = self.plan.rooms.iter().filter_map(name).collect();
        names.iter().zip(1..).find(|(name, _)| **name == own).map_or(0, |(_, number)| number)
    }

    /// Whether somebody who may do it is there tomorrow before its limit.
    fn may_wait(&self, check: &Check) -> bool {
        let tomorrow = self.date.succ_opt().unwrap_or(self.date);
        let Ok(rest) = Span::new(self.plan.begins(tomorrow), check.limit) else { return false };
        let is_qualified = |person| is_qualified(&self.held_by(person), check.qualification, tomorrow);
        let has_time = |shift: &Shift| {
            let both = shift.span(self.plan.zone).ok().and_then(|span| span.overlap(rest));
            both.is_some_and(|both| both.minutes() >= i64::from(check.work_min))
        };
        let there = self.shifts.iter().filter(|shift| shift.day == tomorrow);
        there.filter(|shift| is_qualified(shift.person) && has_time(shift)).count()
            > usize::from(check.two_people)
    }

    /// A shift of the day itself, or of the one before, which may reach into it.
    fn is_near(&self, shift: &Shift) -> bool {
        (self.date.pred_opt().unwrap_or(self.date)..=self.date).contains(&shift.day)
    }

    fn worker(&self, person: PersonId) -> Worker {
        let own = || self.shifts.iter().filter(|shift| shift.person == person && shift.day <= self.date);
        let span = |shift: &Shift| shift.span(self.plan.zone).ok();
        let past = self.past.get(&person).cloned().unwrap_or_default();
        let of_four_weeks = Worker {
            shifts: own().filter_map(span).collect(),
            absences: self
                .absences
                .iter()
                .filter(|away| away.person == person)
                .map(|away| away.span)
                .collect(),
            held: self.held_by(person),
            worked_min: past.minutes,
            breaks: own().filter_map(|shift| shift.rests(self.plan.zone)).collect(),
            familiar: past.familiar,
            unpleasant_min: past.unpleasant_min,
            ..Worker::new(person)
        };
        Worker {
            available_min: minutes_there(&of_four_weeks),
            shifts: own().filter(|shift| self.is_near(shift)).filter_map(span).collect(),
            ..of_four_weeks
        }
    }
}

/// Whether a reading is one of those that a check wants.
fn is_for(reading: &Reading, check: &Check, now: DateTime<Utc>) -> bool {
    let Task::Measure { metrics, point } = &check.task else { return false };
    let place = match reading.spot {
        Spot::Tank(tank) => Place::Tank(tank),
        Spot::Room(room) => Place::Room(room),
    };
    place == check.place
        && reading.sample_point == *point
        && metrics.contains(&reading.metric)
        && check.can_be_shown_by(reading.recorded_at, now)
        && reading.recorded_at <= check.limit
}

fn hygiene(room: &Room) -> Hygiene {
    Hygiene { quarantine: room.room_use == RoomUse::Quarantine, rank: room.hygiene_rank.into() }
}

/// The readings that show that a check was done.
fn shown_by(check: &Check) -> Vec<Id<Reading>> {
    let CheckState::Done { evidence, .. } = &check.state else { return Vec::new() };
    let reading = |one: &Evidence| if let Evidence::Reading(id) = one { Some(*id) } else { None };
    evidence.iter().filter_map(reading).collect()
}

/// What is left of a check's window; where that is too short for the work, what is left up to its limit.
fn window(check: &Check, now: DateTime<Utc>) -> Option<Span> {
    let from = check.due_at.max(now);
    let in_time = Span::new(from, check.window_until).ok();
    in_time.filter(|span| span.minutes() >= i64::from(check.work_min)).or_else(|| check.time_left(now))
}
