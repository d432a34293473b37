//! What was entered of a tank, as advice learns from it.

use chrono::{DateTime, Utc};
use fillmark_advice::solution::gathered::Entered;
use fillmark_advice::solution::learn::LONGEST;
use fillmark_advice::solution::reconcile::Drawn;
use fillmark_advice::solution::record::{MIXING, TankRecord};
use fillmark_domain::entries::{Addition, Poured, TankChange};
use fillmark_domain::places::{Tank, TankId};
use fillmark_domain::{Id, Kept, Metric};
use fillmark_store::{SiteScope, Tx, additions, readings, tank_changes};

use crate::Refusal;

/// What tells how a tank answers to what is poured into it.
const TELLING: [Metric; 3] = [Metric::Ec, Metric::Ph, Metric::Volume];

/// Of so many additions each further one tells next to nothing of what a product does: some weeks of a tank that is looked
/// after every day. Our own judgement.
const ENOUGH_TOLD: u64 = 200;

/// The record of a tank in a span of time, as far as it stands.
pub(super) async fn record(
    tx: &Tx,
    scope: SiteScope,
    tank: &Kept<Tank>,
    span: (DateTime<Utc>, DateTime<Utc>),
) -> Result<TankRecord, Refusal> {
    let changes = tank_changes::of_tanks(tx, scope, &[tank.id], span).await?;
    with_changes(tx, scope, tank, changes, span).await
}

/// The same, without what was before all that is in the tank and tells of its products nothing that is not told since.
pub(super) async fn telling(
    tx: &Tx,
    scope: SiteScope,
    tank: &Kept<Tank>,
    (oldest, before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<TankRecord, Refusal> {
    let mut changes = tank_changes::of_tanks(tx, scope, &[tank.id], (oldest, before)).await?;
    let filled = changes.iter().rfind(|(_, change)| change.fraction >= 1.0);
    let filled = filled.map(|(_, change)| change.recorded_at - MIXING);
    let told = additions::newest_back_to(tx, scope, tank.id, ENOUGH_TOLD, before).await?;
    let from = filled.zip(told).map_or(oldest, |(filled, told)| filled.min(told - LONGEST).max(oldest));
    changes.retain(|(_, change)| from <= change.recorded_at);
    with_changes(tx, scope, tank, changes, (from, before)).await
}

async fn with_changes(
    tx: &Tx,
    scope: SiteScope,
    tank: &Kept<Tank>,
    changes: Vec<(Id<TankChange>, TankChange)>,
    span: (DateTime<Utc>, DateTime<Utc>),
) -> Result<TankRecord, Refusal> {
    let all = Entered {
        readings: readings::seen_of_tank(tx, scope, tank.id, &TELLING, span).await?,
        additions: additions::seen_of_tank(tx, scope, tank.id, span).await?,
        changes,
    };
    Ok(all.record(tank.content.fill_mark_l))
}

/// What was drawn from stock for a tank in a span of time, by what was entered.
pub(super) async fn drawn(
    tx: &Tx,
    scope: SiteScope,
    tank: TankId,
    span: (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<Drawn>, Refusal> {
    let additions = additions::of_tanks(tx, scope, &[tank], span).await?;
    let of = |(_, addition): (_, Addition)| match addition.poured {
        Poured::Product { product, amount, shortage, .. } => {
            Some(Drawn { product, at: addition.recorded_at, amount: (amount - shortage).base_units() })
        }
        Poured::Water { .. } => None,
    };
    Ok(additions.into_iter().filter_map(of).collect())
}
