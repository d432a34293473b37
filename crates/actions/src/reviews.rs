//! Reviews: a supervisor signs for the records of a day, and what is entered later leaves it open again.

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_advice::review::{DayReviewed, Touch, days_reviewed, tanks_of};
use fillmark_domain::entries::{Addition, Reading, Spot, TankChange};
use fillmark_domain::growing::{Harvest, is_keepable};
use fillmark_domain::people::Act;
use fillmark_domain::places::{RoomId, SiteId, TankId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::work::{Place, Review};
use fillmark_domain::{Days, Id};
use fillmark_store::{Reference, SiteScope, Stamp, Tx, checks, entries, journal, plan, records, reviews};
use uuid::Uuid;

use crate::retry::until_seen;
use crate::{App, Caller, Refusal};

/// So many days are asked for at a time: a month.
const MOST_DAYS: i64 = 31;

/// What somebody signs for.
#[derive(Debug, Clone, PartialEq)]
pub struct Signing {
    /// Made by the client: the same one twice has one effect.
    pub client_id: Uuid,
    /// The local day.
    pub day: NaiveDate,
    /// The room; nothing for the whole site.
    pub room: Option<RoomId>,
    /// What the reviewer has to say.
    pub note: Option<String>,
}

/// Signs for the records of a day as they are now.
/// # Errors
/// When the caller may not, the room is not there, or the day is still to come.
pub async fn sign(
    app: &App,
    caller: &Caller,
    site: SiteId,
    signing: Signing,
) -> Result<(Id<Review>, Review), Refusal> {
    let site = caller.may(Act::Manage, site)?;
    until_seen(|| sign_once(app, caller, site, signing.clone())).await
}

async fn sign_once(
    app: &App,
    caller: &Caller,
    site: SiteScope,
    signing: Signing,
) -> Result<(Id<Review>, Review), Refusal> {
    let tx = app.store.begin().await?;
    // Only now: what was entered while this waited for its turn was seen.
    let stamp = app.stamp(caller);
    if let Some((id, earlier)) = reviews::find_by_client_id(&tx, site, signing.client_id).await? {
        return if is_same(&earlier, &signing) { Ok((id, earlier)) } else { Err(Refusal::ClientIdReused) };
    }
    refuse_faults(&tx, site, &signing, stamp.at).await?;
    let review = signed(signing, &stamp, journal::last(&tx, site).await?);
    let id = stamp.fresh();
    reviews::keep(&tx, site, &stamp, id, &review).await?;
    tx.commit().await?;

    Ok((id, review))
}

/// How days stand, of one room or of the whole site.
/// # Errors
/// When the caller may not see them, the room is not there, or the days are out of order or too many.
pub async fn list(
    app: &App,
    caller: &Caller,
    site: SiteId,
    room: Option<RoomId>,
    days: Days,
) -> Result<Vec<DayReviewed>, Refusal> {
    let site = caller.may(Act::Read, site)?;
    let count = (days.until - days.from).num_days();
    if !(0..MOST_DAYS).contains(&count) || !is_keepable(days.from) || !is_keepable(days.until) {
        let expected = format!("expected 1 to {MOST_DAYS} days from from_on");
        return Err(Refusal::invalid("/until_on", "out_of_order", expected));
    }
    let tx = app.store.look().await?;
    let plan = plan::site_plan(&tx, site).await?.ok_or(Refusal::NotFound)?;
    if let Some(room) = room {
        records::find(&tx, site, room).await?.ok_or(Refusal::NotFound)?;
    }
    days_of(&tx, site, &plan, room, days).await
}

/// How days stand, within another action's look.
pub(crate) async fn days_of(
    tx: &Tx,
    site: SiteScope,
    plan: &SitePlan,
    room: Option<RoomId>,
    days: Days,
) -> Result<Vec<DayReviewed>, Refusal> {
    let mut signed = reviews::of_days(tx, site, days).await?;
    signed.retain(|review| review.covers(room));
    Ok(days_reviewed(days, &touches(tx, site, plan, room, days).await?, &signed))
}

fn signed(signing: Signing, stamp: &Stamp<'_>, journal_id: Option<Uuid>) -> Review {
    let Signing { client_id, day, room, note } = signing;
    Review { client_id, day, room, note, reviewed_by: stamp.by, reviewed_at: stamp.at, journal_id }
}

fn is_same(earlier: &Review, signing: &Signing) -> bool {
    (earlier.day, earlier.room, &earlier.note) == (signing.day, signing.room, &signing.note)
}

async fn refuse_faults(
    tx: &Tx,
    site: SiteScope,
    signing: &Signing,
    now: DateTime<Utc>,
) -> Result<(), Refusal> {
    let mut faults = fillmark_domain::Faults::default();
    let today = crate::work::local_day(crate::work::zone_of(tx, site).await?, now);
    let can_be = is_keepable(signing.day) && signing.day <= today;
    faults.unless(can_be, "/day_on", "out_of_range", format!("expected a day up to {today}"));
    if let Some(room) = signing.room {
        let there = records::hold(tx, site, Reference::of_site("/room_id", "rooms", room.uuid())).await?;
        crate::known::refuse_unknown(&mut faults, "/room_id", there);
    }
    faults.or(Some(())).map_err(Refusal::Invalid)
}

/// All that was recorded of days, corrected and taken back or not.
async fn touches(
    tx: &Tx,
    site: SiteScope,
    plan: &SitePlan,
    room: Option<RoomId>,
    days: Days,
) -> Result<Vec<Touch>, Refusal> {
    let until = plan.begins(days.until.succ_opt().unwrap_or(days.until));
    let from = plan.begins(days.from);
    let tanks: Vec<TankId> = match room {
        Some(room) => tanks_of(plan, room, days),
        None => plan.tanks.iter().map(|tank| tank.id).collect(),
    };
    let ours = |tank: TankId| room.is_none() || tanks.contains(&tank);
    let mut touches = Vec::new();
    let mut touch =
        |at: DateTime<Utc>, received_at| touches.push(Touch { day: plan.day(at), at: received_at });
    for (_, reading) in entries::done_between::<Reading>(tx, site, from, until).await? {
        let here = match reading.spot {
            Spot::Tank(tank) => ours(tank),
            Spot::Room(of) => room.is_none_or(|room| room == of),
        };
        if here {
            touch(reading.recorded_at, reading.received_at);
        }
    }
    for (_, addition) in entries::done_between::<Addition>(tx, site, from, until).await? {
        if ours(addition.tank) {
            touch(addition.recorded_at, addition.received_at);
        }
    }
    for (_, change) in entries::done_between::<TankChange>(tx, site, from, until).await? {
        if ours(change.tank) {
            touch(change.recorded_at, change.received_at);
        }
    }
    for (_, harvest) in entries::done_between::<Harvest>(tx, site, from, until).await? {
        if room.is_none_or(|room| harvest.room.is_none_or(|of| of == room)) {
            touch(harvest.harvested_at, harvest.received_at);
        }
    }
    let rooms = plan.rooms.iter().map(|kept| kept.id).filter(|id| room.is_none_or(|room| room == *id));
    let places: Vec<Place> = tanks.iter().copied().map(Place::Tank).chain(rooms.map(Place::Room)).collect();
    for kept in checks::due_at_places(tx, site, &places, from, until).await? {
        let settled_at = kept.typed.map(|typed| typed.received_at).or(kept.check.settled_at());
        touches.extend(settled_at.map(|at| Touch { day: kept.check.date, at }));
    }
    Ok(touches)
}
