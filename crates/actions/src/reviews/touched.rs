//! What changed what is on record of days: each record that came, and each that was corrected or taken back since.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_advice::review::{Touch, tanks_of, touched_by_calibrations};
use fillmark_domain::entries::{Addition, Calibration, Reading, Spot, TankChange};
use fillmark_domain::growing::Harvest;
use fillmark_domain::places::{RoomId, TankId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::work::Place;
use fillmark_domain::{Days, Id};
use fillmark_store::entries::Entry;
use fillmark_store::{SiteScope, StoreError, Tx, checks, entries, records};
use uuid::Uuid;

use crate::Refusal;

/// So many corrections are looked up at once: few enough for one statement of either database.
const AT_ONCE: usize = 512;

/// All that changed what is on record of days, of one room or of the whole site.
pub(super) async fn touches(
    tx: &Tx,
    site: SiteScope,
    plan: &SitePlan,
    room: Option<RoomId>,
    days: Days,
) -> Result<Vec<Touch>, Refusal> {
    let until = plan.begins(days.until.succ_opt().unwrap_or(days.until));
    let look = Look { tx, site, plan, from: plan.begins(days.from), until };
    let tanks: Vec<TankId> = match room {
        Some(room) => tanks_of(plan, room, days),
        None => plan.tanks.iter().map(|tank| tank.id).collect(),
    };
    let fed = |tank: TankId| room.is_none() || tanks.contains(&tank);
    let here = |of: RoomId| room.is_none_or(|room| room == of);
    let read_here = |reading: &Reading| match reading.spot {
        Spot::Tank(tank) => fed(tank),
        Spot::Room(of) => here(of),
    };
    let readings = look.kept(read_here).await?;
    let mut touches = look.touched(&readings).await?;
    // Each room's report lists the calibrations of the site's meters.
    let calibrations = records::all_ever::<Calibration>(tx, site).await?;
    let standing = readings.into_iter().map(|(_, reading)| reading).filter(Reading::stands);
    touches.extend(touched_by_calibrations(calibrations, &standing.collect::<Vec<_>>(), plan.zone));
    touches.extend(look.entries(|addition: &Addition| fed(addition.tank)).await?);
    touches.extend(look.entries(|change: &TankChange| fed(change.tank)).await?);
    touches.extend(look.entries(|harvest: &Harvest| harvest.room.is_none_or(here)).await?);
    let rooms = plan.rooms.iter().map(|kept| kept.id).filter(|id| here(*id));
    let places: Vec<Place> = tanks.iter().copied().map(Place::Tank).chain(rooms.map(Place::Room)).collect();
    touches.extend(look.checks(&places).await?);
    Ok(touches)
}

/// Where and when is looked.
struct Look<'a> {
    tx: &'a Tx,
    site: SiteScope,
    plan: &'a SitePlan,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
}

impl Look<'_> {
    async fn entries<E: Entry>(&self, is_here: impl Fn(&E) -> bool) -> Result<Vec<Touch>, StoreError> {
        self.touched(&self.kept(is_here).await?).await
    }

    async fn kept<E: Entry>(
        &self,
        is_here: impl Fn(&E) -> bool,
    ) -> Result<Vec<entries::Kept<E>>, StoreError> {
        let mut kept = entries::done_between::<E>(self.tx, self.site, self.from, self.until).await?;
        kept.retain(|(_, entry)| is_here(entry));
        Ok(kept)
    }

    /// An entry touches its day when it comes, and again when it is corrected or taken back, wherever and on whichever day
    /// that which corrects it is.
    async fn touched<E: Entry>(&self, kept: &[entries::Kept<E>]) -> Result<Vec<Touch>, StoreError> {
        let mut touches = Vec::with_capacity(kept.len());
        let mut corrected = Vec::new();
        for (_, entry) in kept {
            let day = self.plan.day(entry.done_at());
            touches.push(Touch { day, at: entry.received_at(), stands: entry.stands() });
            corrected.extend(entry.corrected_by().map(|by| (by, day)));
        }
        for some in corrected.chunks(AT_ONCE) {
            touches.extend(self.corrections::<E>(some).await?);
        }
        Ok(touches)
    }

    /// The entries that corrected those of some days.
    async fn corrections<E: Entry>(
        &self,
        corrected: &[(Id<E>, NaiveDate)],
    ) -> Result<Vec<Touch>, StoreError> {
        let days: HashMap<Uuid, NaiveDate> = corrected.iter().map(|(by, day)| (by.uuid(), *day)).collect();
        let ids: Vec<Uuid> = days.keys().copied().collect();
        let found = entries::find_many::<E>(self.tx, self.site, &ids).await?;
        let touch = |(id, entry): &entries::Kept<E>| {
            let day = *days.get(&id.uuid())?;
            Some(Touch { day, at: entry.received_at(), stands: false })
        };
        Ok(found.iter().filter_map(touch).collect())
    }

    async fn checks(&self, places: &[Place]) -> Result<Vec<Touch>, StoreError> {
        let due = checks::due_at_places(self.tx, self.site, places, self.from, self.until).await?;
        let touch = |kept: checks::KeptCheck| {
            let settled_at = kept.typed.map(|typed| typed.received_at).or(kept.check.settled_at());
            settled_at.map(|at| Touch { day: kept.check.date, at, stands: true })
        };
        Ok(due.into_iter().filter_map(touch).collect())
    }
}
