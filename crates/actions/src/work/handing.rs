//! Checks that go from one person's round to another's, because people want it so.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_advice::rounds::{Assignment, Handing, NotHanded, PlannedRound, WhyNot, hand};
use fillmark_domain::Id;
use fillmark_domain::growing::is_keepable;
use fillmark_domain::people::{Act, PersonId};
use fillmark_domain::places::{RoomId, SiteId};
use fillmark_domain::work::{Check, CheckOffer, Move, MoveReason, NotAnOffer, OfferState};
use fillmark_store::check_offers::{self, KeptOffer};
use fillmark_store::{Page, PageQuery, SiteScope, Tx};

use super::day::{DayAtHand, Question, room_of};
use super::rounds::{DayOfRounds, Names, in_force, no_day};
use super::share::{Published, Shared, Stays, follow, keep, keep_in, load, on_paper, stays, steps_of};
use crate::{App, Caller, Refusal};

/// Which checks somebody means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Picked {
    /// These.
    Checks(Vec<Id<Check>>),
    /// All that is still to do in a room.
    Room(RoomId),
}

/// Checks that shall go to somebody else now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reassignment {
    /// The local day of the rounds.
    pub day: NaiveDate,
    /// Which.
    pub picked: Picked,
    /// Who has them; whoever has them where it is none.
    pub from: Option<PersonId>,
    /// Who shall have them.
    pub to: PersonId,
}

/// What somebody offers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offered {
    /// The local day of the rounds.
    pub day: NaiveDate,
    /// Which.
    pub picked: Picked,
    /// What is wanted in return.
    pub returns: Vec<Id<Check>>,
    /// Who has them; the caller where it is none.
    pub from: Option<PersonId>,
    /// To whom; anybody where it is none.
    pub to: Option<PersonId>,
    /// Why, or what to know about it.
    pub note: Option<String>,
}

/// Gives checks to somebody. A manager gives any; others take over what nobody has, or what somebody has who is away.
/// # Errors
/// When the caller may not, nothing is published, or a rule stands against it: it is named in words.
pub async fn reassign(
    app: &App,
    caller: &Caller,
    site: SiteId,
    wanted: Reassignment,
) -> Result<DayOfRounds, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    let (day, before) = published(app, scope, wanted.day).await?;
    if !day.people.contains(&wanted.to) {
        let expected = "expected somebody who works here on that day";
        return Err(Refusal::invalid("/to_person_id", "no_role", expected));
    }
    let (by, now) = (caller.person(), app.now());
    let handings = handings(&day, &before, &wanted)?;
    let handings: Vec<Handed> = handings.into_iter().map(|one| (one, why(&day, by, one, now))).collect();
    if caller.may(Act::Manage, site).is_err() {
        may_take(by == Some(wanted.to), &handings)?;
    }
    let zone = day.plan.zone;
    let tx = app.store.look().await?;
    if handings.is_empty() {
        return in_force(&tx, scope, zone, wanted.day).await;
    }
    let names = Names::load(&tx, scope).await?;
    drop(tx);
    let shared = handed(app, day, &before, &handings, &names)?;
    if !keep(app, caller, scope, &shared).await? {
        return Err(meanwhile());
    }
    let tx = app.store.look().await?;
    in_force(&tx, scope, zone, wanted.day).await
}

/// Offers checks to a colleague, or to whoever wants them. They stay where they are until somebody accepts.
/// # Errors
/// When the caller may not, they are not theirs to offer, nothing is published, or nobody it is for could accept as things
/// stand.
pub async fn offer(app: &App, caller: &Caller, site: SiteId, offered: Offered) -> Result<KeptOffer, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    let person = caller.person().ok_or(Refusal::NotSignedIn)?;
    let from = offered.from.unwrap_or(person);
    if from != person {
        caller.may(Act::Manage, site)?;
    }
    let (day, before) = published(app, scope, offered.day).await?;
    let checks = picked(&day, &before, &offered.picked, Some(from))?;
    if offered.to.is_some_and(|to| to == from || !day.people.contains(&to)) {
        let expected = "expected somebody else who works here on that day";
        return Err(Refusal::invalid("/to_person_id", "no_role", expected));
    }
    returned(&before, &offered)?;
    let stamp = app.stamp(caller);
    let offer = CheckOffer {
        day: offered.day,
        checks,
        returns: offered.returns,
        from,
        to: offered.to,
        note: offered.note,
        offered_at: stamp.at,
        state: OfferState::Open,
    };
    let names = Names::load(&app.store.look().await?, scope).await?;
    acceptable(&day, &before, &offer, stamp.at).map_err(|refused| match offer.to {
        Some(_) => told(&day, called(&names, refused.to), refused),
        None => told(&day, "anybody", refused),
    })?;
    let tx = app.store.begin().await?;
    let id = check_offers::keep(&tx, scope, &stamp, &offer).await?;
    tx.commit().await?;
    Ok(KeptOffer { id, offer })
}

/// The caller accepts an offer: the checks go over, and what is wanted in return goes back, both or nothing.
/// # Errors
/// When the caller may not, the offer is not there or not for them, or a rule stands against it: it is named in words.
pub async fn accept(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<CheckOffer>,
) -> Result<KeptOffer, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    let person = caller.person().ok_or(Refusal::NotSignedIn)?;
    let tx = app.store.look().await?;
    let found = check_offers::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    let names = Names::load(&tx, scope).await?;
    drop(tx);
    let accepted = found.offer.accepted(app.now(), person).map_err(not_an_offer)?;
    let handings: Vec<Handed> =
        swapped(&accepted, person).into_iter().map(|one| (one, MoveReason::Agreed)).collect();
    let (day, before) = published(app, scope, accepted.day).await?;
    let shared = handed(app, day, &before, &handings, &names)?;

    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    // The publication before the offers, as everybody does it: two who wait for each other would wait for ever.
    if !keep_in(&tx, &stamp, scope, &shared).await? {
        return Err(meanwhile());
    }
    let KeptOffer { offer, .. } = check_offers::lock(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    let offer = offer.accepted(stamp.at, person).map_err(not_an_offer)?;
    check_offers::settle(&tx, scope, &stamp, id, offer.state).await?;
    follow(&tx, &stamp, scope, &shared).await?;
    tx.commit().await?;
    Ok(KeptOffer { id, offer })
}

/// Ends an offer: taken back by who made it or by a manager, declined by whom it was made to.
/// # Errors
/// When the caller may not, or it is not there, settled, or neither's.
pub async fn end(app: &App, caller: &Caller, site: SiteId, id: Id<CheckOffer>) -> Result<KeptOffer, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    let person = caller.person().ok_or(Refusal::NotSignedIn)?;
    let manages = caller.may(Act::Manage, site).is_ok();
    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    let KeptOffer { offer, .. } = check_offers::lock(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    let offer = offer.ended(stamp.at, person, manages).map_err(not_an_offer)?;
    check_offers::settle(&tx, scope, &stamp, id, offer.state).await?;
    tx.commit().await?;
    Ok(KeptOffer { id, offer })
}

/// A page of a site's offers.
/// # Errors
/// When the caller may not read them.
pub async fn list(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<KeptOffer>, Refusal> {
    let site = caller.may(Act::Read, site)?;
    let tx: Tx = app.store.look().await?;
    Ok(check_offers::page(&tx, site, query).await?)
}

/// Ends the offers of days that are over.
/// # Errors
/// When the database fails.
pub(super) async fn lapse(app: &App, site: SiteScope, today: NaiveDate) -> Result<(), Refusal> {
    let Some(yesterday) = today.pred_opt() else { return Ok(()) };
    let stamp = app.unsigned();
    let tx = app.store.begin().await?;
    for kept in check_offers::lock_open(&tx, site, yesterday).await? {
        check_offers::settle(&tx, site, &stamp, kept.id, OfferState::Lapsed { at: stamp.at }).await?;
    }
    Ok(tx.commit().await?)
}

fn meanwhile() -> Refusal {
    Refusal::Conflict("somebody else has just published this day".to_owned())
}

fn not_an_offer(why: NotAnOffer) -> Refusal {
    match why {
        NotAnOffer::Settled(_) => Refusal::Conflict(why.to_string()),
        NotAnOffer::Own | NotAnOffer::ToSomebodyElse => Refusal::NotTheirs(why.to_string()),
    }
}

/// What those do who are no managers: they take over what nobody has who is there.
fn may_take(is_own: bool, handings: &[Handed]) -> Result<(), Refusal> {
    if !is_own {
        let text = "only a manager gives checks to others: they can be offered";
        return Err(Refusal::NotTheirs(text.to_owned()));
    }
    if handings.iter().any(|(_, why)| *why != MoveReason::TakenOver) {
        let text = "somebody who is there has it: they can offer it, or a manager can give it";
        return Err(Refusal::NotTheirs(text.to_owned()));
    }
    Ok(())
}

/// Why a check goes over when `by` wants it so.
fn why(day: &DayAtHand, by: Option<PersonId>, one: Handing, now: DateTime<Utc>) -> MoveReason {
    let is_own = by == Some(one.to);
    match one.from {
        None if is_own => MoveReason::TakenOver,
        None => MoveReason::WasLeft,
        Some(from) if is_own && day.is_away_for(one.check, from, now) => MoveReason::TakenOver,
        Some(_) => MoveReason::Agreed,
    }
}

/// What goes over when somebody accepts an offer, and what goes back.
fn swapped(offer: &CheckOffer, to: PersonId) -> Vec<Handing> {
    let over = offer.checks.iter().map(|check| Handing { check: *check, from: Some(offer.from), to });
    let back = offer.returns.iter().map(|check| Handing { check: *check, from: Some(to), to: offer.from });
    over.chain(back).collect()
}

/// What is wanted in return is had by whom it is wanted of.
fn returned((_, rounds): &Published, offered: &Offered) -> Result<(), Refusal> {
    let has =
        |check: &Id<Check>| steps_of(rounds, *check).iter().any(|(person, _)| Some(*person) == offered.to);
    if is_twice(&offered.returns) || !offered.returns.iter().all(has) {
        let expected =
            "expected checks of this day that are in the round of whom it is offered to, each once";
        return Err(Refusal::invalid("/return_check_ids", "not_theirs", expected));
    }
    Ok(())
}

/// Whether an offer could be accepted as things stand: by whom it is for, or, where anybody may, so far as it is not about
/// who that would be.
fn acceptable(
    day: &DayAtHand,
    before: &Published,
    offer: &CheckOffer,
    now: DateTime<Utc>,
) -> Result<(), NotHanded> {
    let has_none = |person: &PersonId| {
        let has = |check: &Id<Check>| steps_of(&before.1, *check).iter().any(|(holder, _)| holder == person);
        !offer.checks.iter().any(has)
    };
    let anybody = || day.people.iter().copied().find(has_none);
    let Some(to) = offer.to.or_else(anybody) else { return Ok(()) };
    match tried(day, before, &swapped(offer, to), now) {
        Err(refused) if offer.to.is_some() || !refused.why.is_about_them() => Err(refused),
        Ok(_) | Err(_) => Ok(()),
    }
}

fn is_twice(checks: &[Id<Check>]) -> bool {
    checks.iter().collect::<BTreeSet<_>>().len() < checks.len()
}

async fn published(app: &App, site: SiteScope, day: NaiveDate) -> Result<(DayAtHand, Published), Refusal> {
    if !is_keepable(day) {
        return Err(no_day());
    }
    let (day, before) = load(app, site, day).await?;
    let before = before.ok_or_else(|| Refusal::Conflict("nothing is published for this day".to_owned()))?;
    Ok((day, before))
}

/// The checks that somebody means: those of a room are the ones which `from` has, or anybody where it is none.
fn picked(
    day: &DayAtHand,
    (_, rounds): &Published,
    picked: &Picked,
    from: Option<PersonId>,
) -> Result<Vec<Id<Check>>, Refusal> {
    let has = |check: Id<Check>| {
        from.is_none_or(|from| steps_of(rounds, check).iter().any(|(person, _)| *person == from))
    };
    let checks: Vec<Id<Check>> = match picked {
        Picked::Checks(checks) => checks.clone(),
        Picked::Room(room) => {
            let in_room = day.checks.iter().filter(|kept| {
                room_of(&day.plan, kept.check.place, day.date) == Some(*room) && !kept.check.is_settled()
            });
            in_room.map(|kept| kept.id).filter(|check| has(*check)).collect()
        }
    };
    if checks.is_empty() || is_twice(&checks) || !checks.iter().all(|check| has(*check)) {
        let expected = "expected checks of this day that are in the round of who gives them, each once";
        return Err(Refusal::invalid("/check_ids", "not_theirs", expected));
    }
    Ok(checks)
}

fn handings(day: &DayAtHand, before: &Published, wanted: &Reassignment) -> Result<Vec<Handing>, Refusal> {
    let checks = picked(day, before, &wanted.picked, wanted.from)?;
    let holder = |check: Id<Check>| {
        let holders = steps_of(&before.1, check);
        wanted.from.or_else(|| holders.first().map(|(person, _)| *person))
    };
    let handings = checks.into_iter().map(|check| Handing { check, from: holder(check), to: wanted.to });
    // Of all in a room, what they have already stays.
    let is_new = |one: &Handing| matches!(wanted.picked, Picked::Checks(_)) || one.from != Some(one.to);
    Ok(handings.filter(is_new).collect())
}

/// A check that goes to somebody else, and why.
type Handed = (Handing, MoveReason);

/// What stays, and the rounds with checks in other hands.
fn tried(
    day: &DayAtHand,
    before: &Published,
    handings: &[Handing],
    now: DateTime<Utc>,
) -> Result<(Stays, Vec<PlannedRound>), NotHanded> {
    let Question { day: question, begun } = day.question(&before.1, now);
    let stays = stays(day, &begun, Some(before), now);
    let rounds = hand(&question, &on_paper(Some(before), begun, now), handings)?;
    Ok((stays, rounds))
}

/// The day with checks in other hands, or the rule that stands against it in words.
fn handed(
    app: &App,
    day: DayAtHand,
    before: &Published,
    handings: &[Handed],
    names: &Names,
) -> Result<Shared, Refusal> {
    let wanted: Vec<Handing> = handings.iter().map(|(one, _)| *one).collect();
    let (stays, rounds) = tried(&day, before, &wanted, app.now())
        .map_err(|refused| told(&day, called(names, refused.to), refused))?;
    let moved = |(one, why): &Handed| Move {
        check: one.check,
        from: one.from.into_iter().collect(),
        to: vec![one.to],
        why: *why,
    };
    let mut left = before.0.left.clone();
    left.retain(|left| wanted.iter().all(|one| one.check != left.check));
    Ok(Shared {
        number: before.0.number + 1,
        date: day.date,
        stays,
        carried: day.carried(),
        assignment: Assignment { rounds, left: Vec::new() },
        left,
        moves: handings.iter().map(moved).collect(),
        minutes: day.checks.iter().map(|kept| (kept.id, kept.check.work_min.into())).collect(),
    })
}

fn called(names: &Names, person: PersonId) -> &str {
    names.people.get(&person).map_or("somebody who has left", String::as_str)
}

fn told(day: &DayAtHand, person: &str, refused: NotHanded) -> Refusal {
    let Some(kept) = day.checks.iter().find(|kept| kept.id == refused.check) else {
        let date = day.date;
        return Refusal::Conflict(format!("a check that is not to be done on {date} cannot go to {person}"));
    };
    let why = match refused.why {
        WhyNot::NotToBeDone if !day.is_in_use(&kept.check) => "its tank is out of use",
        why => why.text(),
    };
    Refusal::Conflict(format!("{} cannot go to {person}: {why}", kept.check.name))
}
