//! A day as it is shared out: its checks in their rooms, and who is there.

mod question;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{DateTime, Days as ChronoDays, NaiveDate, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use fillmark_advice::rounds::{Meters, Past, Walks, Worked, past, shared_meters};
use fillmark_domain::entries::{Meter, Reading};
use fillmark_domain::local::local_day;
use fillmark_domain::people::{Membership, Person, PersonId};
use fillmark_domain::places::{Closure, Room, RoomId, SiteId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::work::{Absence, Check, Held, Place, Shift, Span};
use fillmark_domain::{Days, Id, Kept};
use fillmark_store::checks::{self, KeptCheck};
use fillmark_store::{SiteScope, Tx, plan, readings, records, rounds, staff};

pub(super) use question::Question;

use super::share::steps_of;
use crate::Refusal;

/// Fair minutes are looked at over four weeks.
pub(super) const WEEKS_LOOKED_AT: u64 = 4;

/// What is known of a day before it is shared out.
pub(super) struct DayAtHand {
    /// The site.
    pub plan: Arc<SitePlan>,
    /// The local day.
    pub date: NaiveDate,
    /// All its checks, and those of days before that are late and may still be done.
    pub checks: Vec<KeptCheck>,
    /// Who works here on the day.
    pub people: BTreeSet<PersonId>,
    /// Who had what is carried over, the day before.
    had: BTreeMap<Id<Check>, Vec<PersonId>>,
    /// Of the four weeks, the day itself and the day after.
    shifts: Vec<Shift>,
    absences: Vec<Absence>,
    held: Vec<Held>,
    past: BTreeMap<PersonId, Past>,
    readings: Vec<(Id<Reading>, Reading)>,
    meters: Vec<Meters>,
    walks: Walks,
}

impl DayAtHand {
    /// Loads a day.
    /// # Errors
    /// When the database fails.
    pub(super) async fn load(
        tx: &Tx,
        site: SiteScope,
        date: NaiveDate,
        now: DateTime<Utc>,
    ) -> Result<DayAtHand, Refusal> {
        // By then the day has begun nowhere.
        let before = date.and_time(NaiveTime::MIN).and_utc() - TimeDelta::days(1);
        let plan = plan::site_plan_since(tx, site, before).await?.ok_or(Refusal::NotFound)?;
        let here = plan::site(tx, site).await?.ok_or(Refusal::NotFound)?.content;
        let first = date.checked_sub_days(ChronoDays::new(7 * WEEKS_LOOKED_AT)).unwrap_or(date);
        let next = date.succ_opt().unwrap_or(date);
        let people = Staff::load(tx, site).await?.on(plan.zone, date);
        let mut shifts = shifts(tx, site, Days { from: first, until: next }).await?;
        shifts.retain(|shift| people.contains(&shift.person));
        let (begins, ends) = (plan.begins(date), plan.begins(date) + TimeDelta::days(2));
        let mut checks = checks::of_day(tx, site, date).await?;
        let carried = carried(tx, site, (date, begins), now).await?;
        let had = had_before(tx, site, date, &carried).await?;
        checks.extend(carried);
        Ok(DayAtHand {
            checks,
            had,
            absences: absences(tx, site, &people, (plan.begins(first) - TimeDelta::days(1), ends)).await?,
            held: held(tx, site).await?,
            past: past(&worked(tx, site, &plan, (plan.begins(first), begins)).await?),
            readings: readings::by_people(tx, site, begins - TimeDelta::days(1), ends).await?,
            meters: shared_meters(&meters(tx, site).await?),
            walks: Walks { rooms_min: here.walk_rooms_min, buildings_min: here.walk_buildings_min },
            people,
            shifts,
            plan,
            date,
        })
    }

    /// Its checks of days before.
    pub(super) fn carried(&self) -> Vec<Id<Check>> {
        self.checks.iter().filter(|kept| kept.check.date < self.date).map(|kept| kept.id).collect()
    }

    /// Who had a check that is carried over, the day before.
    pub(super) fn had_before(&self, check: Id<Check>) -> &[PersonId] {
        self.had.get(&check).map_or(&[], Vec::as_slice)
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

    /// Whether somebody has left, or an absence reaches into what is left of the time of a check.
    pub(super) fn is_away_for(&self, check: Id<Check>, person: PersonId, now: DateTime<Utc>) -> bool {
        let of_day = self.checks.iter().find(|kept| kept.id == check);
        let time = of_day.and_then(|kept| kept.check.time_left(now));
        let reaches = |away: &Absence| time.is_some_and(|time| away.span.overlap(time).is_some());
        let is_absent = self.absences.iter().any(|away| away.person == person && reaches(away));
        is_absent || !self.people.contains(&person)
    }

    /// Whether a check's tank is in use on the day; a room always is.
    pub(super) fn is_in_use(&self, check: &Check) -> bool {
        match check.place {
            Place::Tank(tank) => self.plan.in_use(tank, self.date),
            Place::Room(_) => true,
        }
    }

    /// The room a check is done in, where that is known.
    pub(super) fn room(&self, check: &Check) -> Option<&Kept<Room>> {
        let room = room_of(&self.plan, check.place, self.date)?;
        self.plan.rooms.iter().find(|kept| kept.id == room)
    }

    /// The name of its tank or room.
    pub(super) fn name(&self, check: &Check) -> String {
        name_of(&self.plan, check.place).unwrap_or_default()
    }
}

/// Who had these in the rounds of the day before.
async fn had_before(
    tx: &Tx,
    site: SiteScope,
    date: NaiveDate,
    carried: &[KeptCheck],
) -> Result<BTreeMap<Id<Check>, Vec<PersonId>>, Refusal> {
    let Some(before) = date.pred_opt().filter(|_| !carried.is_empty()) else { return Ok(BTreeMap::new()) };
    let Some((_, rounds)) = rounds::in_force(tx, site, before).await? else { return Ok(BTreeMap::new()) };
    let holders = |check| steps_of(&rounds, check).into_iter().map(|(person, _)| person).collect();
    Ok(carried.iter().map(|kept| (kept.id, holders(kept.id))).collect())
}

/// What is left over from days before, once a day has begun: what is due today is tomorrow's only when it was not done today.
/// # Errors
/// When the database fails.
pub(super) async fn carried(
    tx: &Tx,
    site: SiteScope,
    (date, begins): (NaiveDate, DateTime<Utc>),
    now: DateTime<Utc>,
) -> Result<Vec<KeptCheck>, Refusal> {
    match begins <= now {
        true => Ok(checks::carried_into(tx, site, date, begins).await?),
        false => Ok(Vec::new()),
    }
}

/// What a place is called; none where it was put away.
pub(super) fn name_of(plan: &SitePlan, place: Place) -> Option<String> {
    match place {
        Place::Tank(tank) => plan.tank(tank).map(|tank| tank.content.name.clone()),
        Place::Room(room) => {
            plan.rooms.iter().find(|kept| kept.id == room).map(|kept| kept.content.name.clone())
        }
    }
}

/// The room of a place on a day: a tank stands in the room it feeds.
pub(super) fn room_of(plan: &SitePlan, place: Place, date: NaiveDate) -> Option<RoomId> {
    match place {
        Place::Room(room) => Some(room),
        Place::Tank(tank) => plan.room_of(tank, date),
    }
}

/// What people did in some instants; tanks stood where they stand now.
/// # Errors
/// When the database fails.
pub(super) async fn worked(
    tx: &Tx,
    site: SiteScope,
    plan: &SitePlan,
    (from, until): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<Worked>, Refusal> {
    let today = plan.day(until);
    let done = checks::done_between(tx, site, from, until).await?.into_iter().map(|done| Worked {
        person: done.person,
        at: done.at,
        minutes: done.minutes,
        is_unpleasant: done.is_unpleasant,
        room: room_of(plan, done.place, today),
    });
    Ok(done.collect())
}

/// The shifts of some days that are not put away. On a day on which the site is closed nobody works.
/// # Errors
/// When the database fails.
pub(super) async fn shifts(tx: &Tx, site: SiteScope, days: Days) -> Result<Vec<Shift>, Refusal> {
    let days = days.each().map(Into::into).collect();
    let mut shifts: Vec<Shift> = open(records::find_many::<Shift>(tx, site, "day_on", days).await?);
    if !shifts.is_empty() {
        let closures: Vec<Closure> = open(records::all::<Closure>(tx, site).await?);
        shifts.retain(|shift| !closures.iter().any(|closure| closure.days.hold(shift.day)));
    }
    Ok(shifts)
}

/// What people are qualified in.
/// # Errors
/// When the database fails.
pub(super) async fn held(tx: &Tx, site: SiteScope) -> Result<Vec<Held>, Refusal> {
    Ok(open(records::all::<Held>(tx, site.in_business()).await?))
}

async fn meters(tx: &Tx, site: SiteScope) -> Result<Vec<fillmark_domain::entries::MeterKind>, Refusal> {
    Ok(open(records::all::<Meter>(tx, site).await?).into_iter().map(|meter: Meter| meter.kind).collect())
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
        self.ever_on(zone, date).intersection(&self.people).copied().collect()
    }

    /// Who worked there on a local day, with those who have left since: leaving ends a role, it does not undo it.
    pub(super) fn ever_on(&self, zone: Tz, date: NaiveDate) -> BTreeSet<PersonId> {
        let day = local_day(zone, date);
        self.roles.iter().filter(|role| role.works(self.site, &day)).map(|role| role.person).collect()
    }
}

/// Whether there are shifts of a day or of the one before, which may reach into it: without, the rest of the day need
/// not be looked at.
/// # Errors
/// When the database fails.
pub(super) async fn has_shifts_near(tx: &Tx, site: SiteScope, date: NaiveDate) -> Result<bool, Refusal> {
    let near = Days { from: date.pred_opt().unwrap_or(date), until: date };
    Ok(!shifts(tx, site, near).await?.is_empty())
}

/// Who of these people is away in a span of time: whoever is ill at one site is ill at all of them.
/// # Errors
/// When the database fails.
pub(super) async fn absences(
    tx: &Tx,
    site: SiteScope,
    people: &BTreeSet<PersonId>,
    within: (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<Absence>, Refusal> {
    Ok(staff::absences_of(tx, site.in_business(), people.iter().copied(), within).await?)
}

fn open<W>(kept: Vec<Kept<W>>) -> Vec<W> {
    kept.into_iter().filter(|kept| kept.archived_at.is_none()).map(|kept| kept.content).collect()
}
