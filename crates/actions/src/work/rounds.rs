//! Rounds: a day shared out and published, read, and printed.

use std::collections::HashMap;

use chrono::{Days, NaiveDate};
use chrono_tz::Tz;
use fillmark_domain::Id;
use fillmark_domain::growing::is_keepable;
use fillmark_domain::people::{Act, Person, PersonId};
use fillmark_domain::places::{Room, SiteId, Tank};
use fillmark_domain::work::{Check, HandoverNote, Publication, Qualification, Round};
use fillmark_store::checks::{self, KeptCheck};
use fillmark_store::rounds::{self, InHand, KeptRound};
use fillmark_store::{SiteScope, Tx, handover_notes, plan, records};
use uuid::Uuid;

use super::day::{DayAtHand, has_shifts_near};
use super::share::{keep, load, share_out};
use super::{local_day, sheet, zone_of};
use crate::{App, Caller, Refusal};

/// Rounds are published at most so many days ahead, as far as checks are made.
const AHEAD: u64 = 14;

/// The rounds of a day as published, with the checks they name and the zone of local times.
#[derive(Debug, Clone, PartialEq)]
pub struct DayOfRounds {
    /// What was published.
    pub publication: Publication,
    /// Its rounds by person.
    pub rounds: Vec<KeptRound>,
    /// The checks of the rounds and those left. One that was withdrawn since is not among them.
    pub checks: HashMap<Id<Check>, KeptCheck>,
    /// The site's zone.
    pub zone: Tz,
    /// What people and qualifications that are spoken of are called.
    pub names: Names,
}

/// Names for what rounds say.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Names {
    /// Of people.
    pub people: HashMap<PersonId, String>,
    /// Of qualifications.
    pub qualifications: HashMap<Id<Qualification>, String>,
    /// Of tanks and rooms.
    pub places: HashMap<Uuid, String>,
}

impl Names {
    /// Loads them.
    /// # Errors
    /// When the database fails.
    pub(super) async fn load(tx: &Tx, site: SiteScope) -> Result<Names, Refusal> {
        let people = records::all::<Person>(tx, site.in_business()).await?;
        let qualifications = records::all::<Qualification>(tx, site.in_business()).await?;
        let rooms = records::all::<Room>(tx, site).await?;
        let rooms = rooms.into_iter().map(|kept| (kept.id.uuid(), kept.content.name));
        let tanks = records::all::<Tank>(tx, site).await?;
        let tanks = tanks.into_iter().map(|kept| (kept.id.uuid(), kept.content.name));
        Ok(Names {
            places: rooms.chain(tanks).collect(),
            people: people.into_iter().map(|kept| (kept.id, kept.content.name)).collect(),
            qualifications: qualifications.into_iter().map(|kept| (kept.id, kept.content.name)).collect(),
        })
    }
}

/// Shares out a day and publishes its rounds. What somebody has begun or done stays with them.
/// # Errors
/// When the caller may not, the day is over or too far ahead, or another was published meanwhile.
pub async fn publish(
    app: &App,
    caller: &Caller,
    site: SiteId,
    day: NaiveDate,
) -> Result<DayOfRounds, Refusal> {
    let site = caller.may(Act::Manage, site)?;
    let tx = app.store.look().await?;
    let zone = zone_of(&tx, site).await?;
    let today = local_day(zone, app.now());
    drop(tx);
    let last = today.checked_add_days(Days::new(AHEAD)).unwrap_or(today);
    if !(today..=last).contains(&day) {
        return Err(Refusal::invalid(
            "/day_on",
            "out_of_range",
            format!("expected a day from {today} to {last}"),
        ));
    }
    let (day_at_hand, before) = load(app, site, day).await?;
    let shared = share_out(day_at_hand, before, app.now()).await?;
    if !keep(app, caller, site, &shared).await? {
        return Err(Refusal::Conflict("somebody else has just published this day".to_owned()));
    }
    let tx = app.store.look().await?;
    in_force(&tx, site, zone, day).await
}

/// Publishes a day of which nothing is published, if there are shifts and checks. When another beat was
/// first, its rounds stand.
/// # Errors
/// When the database fails.
pub(super) async fn publish_first(
    app: &App,
    job: &Caller,
    site: SiteScope,
    day: NaiveDate,
) -> Result<(), Refusal> {
    let tx = app.store.look().await?;
    let nothing_to_do =
        rounds::in_force(&tx, site, day).await?.is_some() || !has_shifts_near(&tx, site, day).await?;
    drop(tx);
    if nothing_to_do {
        return Ok(());
    }
    let (day_at_hand, before) = load(app, site, day).await?;
    let now = app.now();
    // Another beat may have published since: its rounds are the first.
    if before.is_some() || !day_at_hand.has_shifts() || day_at_hand.question(&[], now).is_answered() {
        return Ok(());
    }
    let shared = share_out(day_at_hand, None, now).await?;
    keep(app, job, site, &shared).await.map(drop)
}

/// The rounds in force for a day; today's when no day is given.
/// # Errors
/// When the caller may not read them or nothing is published.
pub async fn read_day(
    app: &App,
    caller: &Caller,
    site: SiteId,
    day: Option<NaiveDate>,
) -> Result<DayOfRounds, Refusal> {
    let site = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let zone = zone_of(&tx, site).await?;
    let day = day.unwrap_or_else(|| local_day(zone, app.now()));
    if !is_keepable(day) {
        return Err(no_day());
    }
    in_force(&tx, site, zone, day).await
}

/// Somebody's own round of a day.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnRound {
    /// Whose.
    pub person: PersonId,
    /// The local day.
    pub day: NaiveDate,
    /// It, with its checks; nothing where none is published for them.
    pub in_hand: Option<InHand>,
}

/// The caller's own round of a day, today's when no day is given. Somebody who has nothing to do has a round without checks.
/// # Errors
/// When the caller may not read it, or the site is not there.
pub async fn read_mine(
    app: &App,
    caller: &Caller,
    site: SiteId,
    day: Option<NaiveDate>,
) -> Result<OwnRound, Refusal> {
    let site = caller.may(Act::Read, site)?;
    let person = caller.person().ok_or(Refusal::NotSignedIn)?;
    let day = match day {
        Some(day) if is_keepable(day) => day,
        Some(_) => return Err(no_day()),
        None => local_day(zone_of(&app.store.look().await?, site).await?, app.now()),
    };
    let in_hand = rounds::in_hand(&app.store, site, day, person).await?;
    if in_hand.is_none() {
        // A site that is not there has no days.
        zone_of(&app.store.look().await?, site).await?;
    }
    Ok(OwnRound { person, day, in_hand })
}

pub(super) fn no_day() -> Refusal {
    Refusal::invalid("/day_on", "out_of_range", "expected a day of the years 2000 to 2100")
}

/// A round as text to be printed, walked with, and typed in later.
/// # Errors
/// When the caller may not read it or it is not there.
pub async fn print(app: &App, caller: &Caller, site: SiteId, id: Id<Round>) -> Result<String, Refusal> {
    let site = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let kept = rounds::find(&tx, site, id).await?.ok_or(Refusal::NotFound)?;
    let day = DayAtHand::load(&tx, site, kept.round.date, app.now()).await?;
    let people = records::all::<Person>(&tx, site.in_business()).await?;
    let names = people.into_iter().map(|person| (person.id, person.content.name)).collect();
    let place = plan::site(&tx, site).await?.ok_or(Refusal::NotFound)?.content.name;
    let steps: Vec<Id<Check>> = kept.round.steps.iter().map(|step| step.check).collect();
    let in_round = day.checks.iter().filter(|one| steps.contains(&one.id));
    let rooms: Vec<_> = in_round.filter_map(|one| day.room(&one.check)).map(|room| room.id).collect();
    let notes = handover_notes::unseen_about(&tx, site, &steps, &rooms).await?;
    let notes: Vec<HandoverNote> = notes.into_iter().map(|kept| kept.note).collect();
    Ok(sheet::sheet(&place, &kept.round, &day, &names, &notes))
}

/// The rounds in force for a day.
/// # Errors
/// When nothing is published.
pub(super) async fn in_force(
    tx: &Tx,
    site: SiteScope,
    zone: Tz,
    day: NaiveDate,
) -> Result<DayOfRounds, Refusal> {
    let (publication, rounds) = rounds::in_force(tx, site, day).await?.ok_or(Refusal::NotFound)?;
    let steps = rounds.iter().flat_map(|kept| &kept.round.steps).map(|step| step.check);
    let left = publication.left.iter().map(|left| left.check);
    let moved = publication.moves.iter().map(|moved| moved.check);
    let ids: Vec<Id<Check>> = steps.chain(left).chain(moved).collect();
    let found = checks::find_many(tx, site, &ids).await?;
    let is_plain = publication.left.is_empty() && publication.moves.is_empty();
    let names = if is_plain { Names::default() } else { Names::load(tx, site).await? };
    Ok(DayOfRounds {
        names,
        publication,
        rounds,
        checks: found.into_iter().map(|kept| (kept.id, kept)).collect(),
        zone,
    })
}
