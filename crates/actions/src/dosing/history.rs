//! What was entered of tanks, as advice learns from it.

use chrono::{DateTime, Utc};
use fillmark_advice::solution::gathered::Entered;
use fillmark_advice::solution::record::TankRecord;
use fillmark_domain::Kept;
use fillmark_domain::entries::Spot;
use fillmark_domain::places::{Tank, TankId};
use fillmark_store::{SiteScope, Tx, additions, readings, tank_changes};

use crate::Refusal;

/// The records of tanks in a span of time, as far as they stand.
pub(super) async fn records(
    tx: &Tx,
    scope: SiteScope,
    tanks: &[&Kept<Tank>],
    (from, before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<TankRecord>, Refusal> {
    let ids: Vec<TankId> = tanks.iter().map(|tank| tank.id).collect();
    let spots: Vec<Spot> = ids.iter().copied().map(Spot::Tank).collect();
    let all = Entered {
        readings: readings::standing(tx, scope, &spots, from, before).await?,
        additions: additions::of_tanks(tx, scope, &ids, (from, before)).await?,
        changes: tank_changes::of_tanks(tx, scope, &ids, (from, before)).await?,
    };
    Ok(tanks.iter().map(|tank| all.of(tank.id).record(tank.content.fill_mark_l)).collect())
}
