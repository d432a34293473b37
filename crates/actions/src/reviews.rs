//! Reviews: a supervisor signs for the records of a day, and what is entered later leaves it open again.

mod touched;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_advice::review::{DayReviewed, days_reviewed};
use fillmark_domain::growing::is_keepable;
use fillmark_domain::people::Act;
use fillmark_domain::places::{RoomId, SiteId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::work::Review;
use fillmark_domain::{Days, Id};
use fillmark_store::{Reference, SiteScope, Stamp, Tx, journal, plan, records, reviews};
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
    Ok(days_reviewed(days, &touched::touches(tx, site, plan, room, days).await?, &signed))
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
