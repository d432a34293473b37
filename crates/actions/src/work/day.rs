//! A day as it is shared out: its checks in their rooms, and who is there.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{DateTime, Days as ChronoDays, NaiveDate, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use fillmark_advice::rounds::{DueCheck, Hygiene, Walks, WorkDay, Worker};
use fillmark_domain::local::local_day;
use fillmark_domain::people::{Membership, Person, PersonId};
use fillmark_domain::places::{Room, RoomUse, SiteId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::work::{Absence, Check, CheckState, Held, Place, Shift, Span};
use fillmark_domain::{Days, Id, Kept};
use fillmark_store::checks::{self, KeptCheck};
use fillmark_store::{Filter, PageQuery, SiteScope, Tx, plan, records};

use crate::Refusal;

/// Fair minutes are looked at over four weeks.
const WEEKS_LOOKED_AT: u64 = 4;
/// No site has more absences at a time.
const MOST_ABSENCES: u64 = 5_000;

/// What is known of a day before it is shared out.
pub(super) struct DayAtHand {
    /// The site.
    pub plan: Arc<SitePlan>,
    /// The local day.
    pub date: NaiveDate,
    /// All its checks.
    pub checks: Vec<KeptCheck>,
    /// Who works here on the day.
    pub people: BTreeSet<PersonId>,
    shifts: Vec<Shift>,
    absences: Vec<Absence>,
    held: Vec<Held>,
    worked: BTreeMap<PersonId, i64>,
}

impl DayAtHand {
    /// Loads a day.
    /// # Errors
    /// When the database fails.
    pub(super) async fn load(tx: &Tx, site: SiteScope, date: NaiveDate) -> Result<DayAtHand, Refusal> {
        // By then the day has begun nowhere.
        let before = date.and_time(NaiveTime::MIN).and_utc() - TimeDelta::days(1);
        let plan = plan::site_plan_since(tx, site, before).await?.ok_or(Refusal::NotFound)?;
        let first = date.checked_sub_days(ChronoDays::new(7 * WEEKS_LOOKED_AT)).unwrap_or(date);
        let days = Days { from: first, until: date }.each().map(Into::into).collect();
        let people = Staff::load(tx, site).await?.on(plan.zone, date);
        let mut shifts = open(records::find_many::<Shift>(tx, site, "day_on", days).await?);
        shifts.retain(|shift| people.contains(&shift.person));
        let (begins, ends) = (plan.begins(date), plan.begins(date) + TimeDelta::days(2));
        Ok(DayAtHand {
            checks: checks::of_day(tx, site, date).await?,
            absences: absences(tx, site, begins - TimeDelta::days(1), ends).await?,
            held: records::all::<Held>(tx, site.in_business())
                .await?
                .into_iter()
                .map(|kept| kept.content)
                .collect(),
            worked: checks::minutes_done(tx, site, plan.begins(first), begins).await?,
            people,
            shifts,
            plan,
            date,
        })
    }

    /// Whether anybody has a shift that reaches into the day.
    pub(super) fn has_shifts(&self) -> bool {
        let day = Span {
            from: self.plan.begins(self.date),
            until: self.plan.begins(self.date.succ_opt().unwrap_or(self.date)),
        };
        self.shifts
            .iter()
            .filter_map(|shift| shift.span(self.plan.zone).ok())
            .any(|span| span.overlap(day).is_some())
    }

    /// The question of who does what, as things stand at an instant: checks of which nobody has begun, at tanks
    /// that are in use.
    pub(super) fn question(&self, now: DateTime<Utc>) -> WorkDay {
        let due = self.checks.iter().filter_map(|kept| self.due(kept, now));
        let people: BTreeSet<PersonId> =
            self.shifts.iter().filter(|shift| self.is_near(shift)).map(|shift| shift.person).collect();
        WorkDay {
            date: self.date,
            checks: due.collect(),
            workers: people.into_iter().map(|person| self.worker(person)).collect(),
            walks: Walks::default(),
            meters: vec![],
        }
    }

    /// The room a check is done in, where that is known.
    pub(super) fn room(&self, check: &Check) -> Option<&Kept<Room>> {
        let room = match check.place {
            Place::Room(room) => room,
            Place::Tank(tank) => self.plan.room_of(tank, check.date)?,
        };
        self.plan.rooms.iter().find(|kept| kept.id == room)
    }

    fn due(&self, kept: &KeptCheck, now: DateTime<Utc>) -> Option<DueCheck> {
        let check = &kept.check;
        let in_use = match check.place {
            Place::Tank(tank) => self.plan.in_use(tank, check.date),
            Place::Room(_) => true,
        };
        let is_free = match check.state {
            CheckState::Planned => true,
            // What somebody had begun who has left since is begun by nobody.
            CheckState::Open { by, .. } => !self.people.contains(&by),
            CheckState::Done { .. } | CheckState::Missed { .. } | CheckState::Excused { .. } => false,
        };
        if !is_free || !in_use {
            return None;
        }
        let (room, hygiene) = self.place(check);
        Some(DueCheck {
            check: kept.id,
            room,
            hygiene,
            name: self.name(check),
            window: window(check, now)?,
            minutes: check.work_min,
            qualification: check.qualification,
            two_people: check.two_people,
            limit: None,
            weight: 1,
            meter: None,
            building: 0,
            is_unpleasant: false,
            may_wait: false,
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

    /// The name of its tank or room.
    pub(super) fn name(&self, check: &Check) -> String {
        let name = match check.place {
            Place::Tank(tank) => self.plan.tank(tank).map(|tank| tank.content.name.clone()),
            Place::Room(_) => self.room(check).map(|room| room.content.name.clone()),
        };
        name.unwrap_or_default()
    }

    /// A shift of the day itself, or of the one before, which may reach into it.
    fn is_near(&self, shift: &Shift) -> bool {
        shift.day >= self.date.pred_opt().unwrap_or(self.date)
    }

    fn worker(&self, person: PersonId) -> Worker {
        let own = || self.shifts.iter().filter(|shift| shift.person == person);
        let span = |shift: &Shift| shift.span(self.plan.zone).ok();
        Worker {
            person,
            shifts: own().filter(|shift| self.is_near(shift)).filter_map(span).collect(),
            absences: self
                .absences
                .iter()
                .filter(|away| away.person == person)
                .map(|away| away.span)
                .collect(),
            held: self.held.iter().filter(|held| held.person == person).copied().collect(),
            been_in: self.been_in(person),
            worked_min: self.worked.get(&person).copied().unwrap_or_default(),
            available_min: own().filter_map(span).map(Span::minutes).sum(),
            breaks: vec![],
            familiar: vec![],
            unpleasant_min: 0,
            begun_min: 0,
            begun_unpleasant_min: 0,
            begun_rooms: vec![],
        }
    }

    /// The dirtiest room a person has been in this day already.
    fn been_in(&self, person: PersonId) -> Option<Hygiene> {
        let was_there = |check: &Check| match &check.state {
            CheckState::Open { by, .. } => *by == person,
            CheckState::Done { by, with, .. } => *by == person || *with == Some(person),
            CheckState::Planned | CheckState::Missed { .. } | CheckState::Excused { .. } => false,
        };
        let been = self.checks.iter().filter(|kept| was_there(&kept.check));
        been.map(|kept| self.place(&kept.check).1).max()
    }
}

/// Who works at a site: everybody with a role there that has to do with work. Whoever is put away has left.
pub(super) struct Staff {
    site: SiteId,
    people: BTreeSet<PersonId>,
    roles: Vec<Membership>,
}

impl Staff {
    /// Loads them.
    /// # Errors
    /// When the database fails.
    pub(super) async fn load(tx: &Tx, site: SiteScope) -> Result<Staff, Refusal> {
        let people = records::all::<Person>(tx, site.in_business()).await?;
        let roles = records::all::<Membership>(tx, site.in_business()).await?;
        Ok(Staff {
            site: site.id(),
            people: people.into_iter().map(|person| person.id).collect(),
            roles: roles.into_iter().map(|kept| kept.content).collect(),
        })
    }

    /// Who works there on a local day.
    pub(super) fn on(&self, zone: Tz, date: NaiveDate) -> BTreeSet<PersonId> {
        let day = local_day(zone, date);
        let working = self.roles.iter().filter(|role| role.works(self.site, &day)).map(|role| role.person);
        working.filter(|person| self.people.contains(person)).collect()
    }
}

/// Whether there are shifts of a day or of the one before, which may reach into it: without, the rest of the day need
/// not be looked at.
/// # Errors
/// When the database fails.
pub(super) async fn has_shifts_near(tx: &Tx, site: SiteScope, date: NaiveDate) -> Result<bool, Refusal> {
    let near = [date.pred_opt().unwrap_or(date), date].map(Into::into).to_vec();
    Ok(!open(records::find_many::<Shift>(tx, site, "day_on", near).await?).is_empty())
}

fn hygiene(room: &Room) -> Hygiene {
    Hygiene { quarantine: room.room_use == RoomUse::Quarantine, rank: room.hygiene_rank.into() }
}

/// What is left of a check's window; where that is too short for the work, what is left up to its limit.
fn window(check: &Check, now: DateTime<Utc>) -> Option<Span> {
    let from = check.due_at.max(now);
    let in_time = Span::new(from, check.window_until).ok();
    in_time
        .filter(|span| span.minutes() >= i64::from(check.work_min))
        .or_else(|| Span::new(from, check.limit).ok())
}

async fn absences(
    tx: &Tx,
    site: SiteScope,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<Vec<Absence>, Refusal> {
    let query = PageQuery {
        limit: MOST_ABSENCES,
        filters: vec![
            Filter::IsNull("archived_at", true),
            Filter::From("until_at", from.into()),
            Filter::Before("from_at", until.into()),
        ],
        ..PageQuery::default()
    };
    let page = records::page::<Absence>(tx, site, &query).await?;
    Ok(page.items.into_iter().map(|kept| kept.content).collect())
}

fn open<W>(kept: Vec<Kept<W>>) -> Vec<W> {
    kept.into_iter().filter(|kept| kept.archived_at.is_none()).map(|kept| kept.content).collect()
}
