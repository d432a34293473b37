//! Tank changes that are asked back.

use fillmark_domain::entries::{SAME_CHANGE, TankChange, doubts_of_volume, same_change};
use fillmark_domain::plan::SitePlan;
use fillmark_store::{SiteScope, Tx, tank_changes};

use super::ChangeEntry;
use crate::Refusal;

/// Asks back, unless confirmed, more than the tank holds, a full change that moved nothing or less than half, and
/// what looks like a full change that was entered before.
pub(super) async fn ask_back(
    tx: &Tx,
    scope: SiteScope,
    plan: &SitePlan,
    entry: &ChangeEntry,
    change: &TankChange,
) -> Result<(), Refusal> {
    if entry.confirmed {
        return Ok(());
    }
    let volumes =
        [("/drained", entry.drained, change.drained_l), ("/water_in", entry.water_in, change.water_in_l)];
    let mark_l = plan.tank(change.tank).map(|tank| tank.content.fill_mark_l);
    for (pointer, entered, litres) in volumes {
        let doubt = mark_l.and_then(|mark_l| doubts_of_volume(entered, litres, mark_l));
        Refusal::unless_confirmed(pointer, "looks_mis_keyed", doubt)?;
    }
    Refusal::unless_confirmed("/drained", "looks_mis_keyed", change.doubts_of_nothing())?;
    let part = mark_l.and_then(|mark_l| change.doubts_of_part(mark_l));
    Refusal::unless_confirmed("/fraction", "looks_mis_keyed", part)?;
    if !change.is_full() {
        return Ok(());
    }
    let at = change.recorded_at;
    let near = (at - SAME_CHANGE, at + SAME_CHANGE);
    let near = tank_changes::of_tanks(tx, scope, &[change.tank], near).await?;
    let same = same_change(&near, change.client_id).map(|same| same.told(plan.zone));
    Refusal::unless_confirmed("/recorded_at", "entered_before", same)
}
