//! Tank changes that are asked back.

use fillmark_domain::entries::{SAME_CHANGE, TankChange, same_change};
use fillmark_store::{SiteScope, Tx, tank_changes};

use super::ChangeEntry;
use crate::Refusal;

/// Asks back, unless confirmed, what looks like a full change that was entered before.
pub(super) async fn ask_back(
    tx: &Tx,
    scope: SiteScope,
    entry: &ChangeEntry,
    change: &TankChange,
) -> Result<(), Refusal> {
    if entry.confirmed || !change.is_full() {
        return Ok(());
    }
    let at = change.recorded_at;
    let near = (at - SAME_CHANGE, at + SAME_CHANGE);
    let near = tank_changes::of_tank(tx, scope, change.tank, near).await?;
    Refusal::unless_confirmed("/recorded_at", "entered_before", same_change(&near, change.client_id))
}
