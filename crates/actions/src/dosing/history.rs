//! What was entered of a tank, as advice learns from it.

use chrono::{DateTime, Utc};
use fillmark_advice::solution::gathered::Entered;
use fillmark_advice::solution::reconcile::Drawn;
use fillmark_advice::solution::record::TankRecord;
use fillmark_domain::entries::{Addition, Poured};
use fillmark_domain::places::{Tank, TankId};
use fillmark_domain::{Kept, Metric};
use fillmark_store::{SiteScope, Tx, additions, readings, tank_changes};

use crate::Refusal;

/// What tells how a tank answers to what is poured into it.
const TELLING: [Metric; 3] = [Metric::Ec, Metric::Ph, Metric::Volume];

/// The record of a tank in a span of time, as far as it stands.
pub(super) async fn record(
    tx: &Tx,
    scope: SiteScope,
    tank: &Kept<Tank>,
    span: (DateTime<Utc>, DateTime<Utc>),
) -> Result<TankRecord, Refusal> {
    let all = Entered {
        readings: readings::seen_of_tank(tx, scope, tank.id, &TELLING, span).await?,
        additions: additions::seen_of_tank(tx, scope, tank.id, span).await?,
        changes: tank_changes::of_tanks(tx, scope, &[tank.id], span).await?,
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
