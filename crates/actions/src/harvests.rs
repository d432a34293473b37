//! Harvests: entered once, taken back by a linked opposite.

use std::collections::BTreeSet;

use fillmark_domain::entries::{doubts_of_harvest, has_passed_at_a_desk};
use fillmark_domain::growing::{Harvest, Placement, is_keepable, spans};
use fillmark_domain::people::Act;
use fillmark_domain::places::{Room, RoomId, SiteId};
use fillmark_domain::{Faults, Id};
use fillmark_store::harvests::KeptHarvest;
use fillmark_store::{Page, PageQuery, Reference, SiteScope, Stamp, Tx, entries, plan, records};
use uuid::Uuid;

use crate::caller::Correcting;
use crate::known::Known;
use crate::retry::until_seen;
use crate::{App, Caller, Refusal};

/// Enters a harvest. What the server knows better (who entered it and when it came) is filled in here. Unless it is
/// confirmed, more than grows on its area is asked back.
/// # Errors
/// When the caller may not, the cycle or room is not there, or the client id was used before for another.
pub async fn enter(
    app: &App,
    caller: &Caller,
    site: SiteId,
    harvest: Harvest,
    confirmed: bool,
) -> Result<KeptHarvest, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    until_seen(|| enter_once(app, scope, app.stamp(caller), harvest.clone(), confirmed)).await
}

async fn enter_once(
    app: &App,
    scope: SiteScope,
    stamp: Stamp<'_>,
    harvest: Harvest,
    confirmed: bool,
) -> Result<KeptHarvest, Refusal> {
    let tx = app.store.begin().await?;
    if let Some(earlier) =
        entries::find_by_client_ids::<Harvest>(&tx, scope, &[harvest.client_id]).await?.pop()
    {
        return if is_same(&earlier.1, &harvest) { Ok(earlier) } else { Err(Refusal::ClientIdReused) };
    }
    look_up(&tx, scope, &stamp, &harvest).await?;
    if !confirmed {
        ask_back(&tx, scope, &harvest).await?;
    }
    let done_by = harvest.done_by.or(stamp.by);
    let kept = (stamp.fresh(), Harvest { received_at: stamp.at, entered_by: stamp.by, done_by, ..harvest });
    entries::keep(&tx, scope, &stamp, std::slice::from_ref(&kept)).await?;
    tx.commit().await?;

    Ok(kept)
}

async fn look_up(tx: &Tx, scope: SiteScope, stamp: &Stamp<'_>, harvest: &Harvest) -> Result<(), Refusal> {
    let mut faults = Faults::default();
    faults.unless(
        is_keepable(harvest.harvested_at.date_naive()),
        "/harvested_at",
        "out_of_range",
        "expected the years 2000 to 2100",
    );
    let mut named = vec![Reference::of_site("/cycle_id", "cycles", harvest.cycle.uuid())];
    named.extend(harvest.room.map(|room| Reference::of_site("/room_id", "rooms", room.uuid())));
    let mut known = Known::default();
    known.look_up(tx, scope, named, &mut faults).await?;
    known.look_up_doer(tx, scope, "/done_by", harvest.done_by, &mut faults).await?;
    let past = has_passed_at_a_desk(harvest.harvested_at, stamp.at);
    faults.unless(past, "/harvested_at", "in_the_future", "expected an instant that has passed");
    Ok(faults.or(Some(()))?)
}

async fn ask_back(tx: &Tx, scope: SiteScope, harvest: &Harvest) -> Result<(), Refusal> {
    let doubt = doubts_of_harvest(harvest.saleable_kg + harvest.rejected_kg, area(tx, scope, harvest).await?);
    Refusal::unless_confirmed("/saleable", "looks_mis_keyed", doubt)
}

/// The area it was picked from, m²: of the room that is named, or else of those the cycle stands in on the day. 0 where
/// that is unknown.
async fn area(tx: &Tx, scope: SiteScope, harvest: &Harvest) -> Result<f64, Refusal> {
    let rooms: BTreeSet<RoomId> = match harvest.room {
        Some(room) => BTreeSet::from([room]),
        None => {
            let site = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?;
            let day = harvest.harvested_at.with_timezone(&site.content.time_zone).date_naive();
            let cycle = harvest.cycle.uuid().into();
            let placed = records::find_many::<Placement>(tx, scope, "cycle_id", vec![cycle]).await?;
            let placed = placed.into_iter().filter(|kept| kept.archived_at.is_none());
            let placed = placed.map(|kept| kept.content).filter(|one| spans(one.from, one.until, day));
            placed.map(|placement| placement.room).collect()
        }
    };
    let mut area_m2 = 0.0;
    for room in rooms {
        let room = records::find::<Room>(tx, scope, room).await?.ok_or(Refusal::NotFound)?;
        area_m2 += room.content.growing_area_m2.unwrap_or_default();
    }
    Ok(area_m2)
}

/// Whether what is sent again is what was kept, but for what the server filled in.
fn is_same(earlier: &Harvest, sent: &Harvest) -> bool {
    let filled = Harvest {
        received_at: earlier.received_at,
        entered_by: earlier.entered_by,
        done_by: sent.done_by.or(earlier.done_by),
        reversed: earlier.reversed,
        ..sent.clone()
    };
    filled == *earlier
}

/// Takes a harvest back by a linked opposite.
/// # Errors
/// When the caller may not, it is not there, or was taken back before.
pub async fn reverse(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Harvest>,
    client_id: Uuid,
    reason: &str,
) -> Result<KeptHarvest, Refusal> {
    let leave = caller.may_correct(site)?;
    until_seen(|| reverse_once(app, leave, app.stamp(caller), id, client_id, reason)).await
}

async fn reverse_once(
    app: &App,
    leave: Correcting,
    stamp: Stamp<'_>,
    id: Id<Harvest>,
    client_id: Uuid,
    reason: &str,
) -> Result<KeptHarvest, Refusal> {
    let (tx, scope) = (app.store.begin().await?, leave.scope);
    if let Some(earlier) = entries::find_by_client_ids::<Harvest>(&tx, scope, &[client_id]).await?.pop() {
        leave.refuse_anothers(earlier.1.entered_by)?;
        let same = earlier.1.reverses.as_ref().is_some_and(|(reversed, _)| *reversed == id);
        return if same { Ok(earlier) } else { Err(Refusal::ClientIdReused) };
    }
    let (_, harvest) = entries::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    leave.refuse_others(harvest.entered_by, harvest.received_at, stamp.at)?;
    if harvest.reversed.is_some() || harvest.reverses.is_some() {
        return Err(Refusal::Conflict("it was taken back before".into()));
    }
    let opposite = Harvest {
        client_id,
        saleable_kg: -harvest.saleable_kg,
        rejected_kg: -harvest.rejected_kg,
        received_at: stamp.at,
        entered_by: stamp.by,
        reverses: Some((id, reason.to_owned())),
        ..harvest
    };
    let kept = (stamp.fresh(), opposite);
    entries::keep(&tx, scope, &stamp, std::slice::from_ref(&kept)).await?;
    tx.commit().await?;

    Ok(kept)
}

/// One harvest.
/// # Errors
/// When the caller may not see it or it is not there.
pub async fn read(app: &App, caller: &Caller, site: SiteId, id: Id<Harvest>) -> Result<KeptHarvest, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    entries::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)
}

/// A page of a site's harvests.
/// # Errors
/// When the caller may not see them.
pub async fn list(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<KeptHarvest>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok(entries::page(&tx, scope, query).await?)
}
