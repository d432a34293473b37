//! What is measured again after something was poured on advice, and is not where that is taken back.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use fillmark_domain::Metric;
use fillmark_domain::entries::{Addition, TankChange};
use fillmark_domain::places::TankId;
use fillmark_domain::work::{Cause, Check, CheckState, follow_up_check, measure_again};
use fillmark_store::checks::{self, KeptCheck};
use fillmark_store::{SiteScope, Stamp, Tx, entries, plan, planning};

use crate::Refusal;
use crate::tank_changes::ChangeEntry;

/// What is poured within a minute is measured once.
const MINUTE: TimeDelta = TimeDelta::minutes(1);

/// Has a tank measured again that was filled on advice, unless EC and pH were read afterwards already.
pub(crate) async fn after_change(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    zone: Tz,
    entry: &ChangeEntry,
) -> Result<(), Refusal> {
    let is_read = |metric| entry.readings.iter().any(|read| read.metric == metric);
    if entry.advice.is_none() || is_read(Metric::Ec) && is_read(Metric::Ph) {
        return Ok(());
    }
    let again = measure_again((entry.tank, entry.recorded_at), zone, stamp.at);
    planning::claim(tx, scope, stamp, again.as_slice()).await?;
    Ok(())
}

/// Withdraws the check that an addition called for, unless somebody has begun it or something else that was poured with it still
/// stands.
pub(super) async fn forgo(tx: &Tx, scope: SiteScope, taken_back: &Addition) -> Result<(), Refusal> {
    match taken_back.advice {
        Some(_) => forgo_at(tx, scope, (taken_back.tank, taken_back.recorded_at)).await,
        None => Ok(()),
    }
}

/// The same of all that was poured into a tank at an instant.
pub(crate) async fn forgo_at(
    tx: &Tx,
    scope: SiteScope,
    poured: (TankId, DateTime<Utc>),
) -> Result<(), Refusal> {
    let zone = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?.content.time_zone;
    let Some(check) = measure_again(poured, zone, poured.1) else { return Ok(()) };
    let is_it = |other: &Check| {
        (other.cause, other.place, other.date, other.time)
            == (Cause::Advice, check.place, check.date, check.time)
    };

    let near = entries::standing::<Addition>(tx, scope, poured.1 - MINUTE, poured.1 + MINUTE).await?;
    let calls_for_it =
        |other: &Addition| follow_up_check(other, zone, other.received_at).is_some_and(|other| is_it(&other));
    // Whether a fill followed advice its additions tell; of one without any nobody can, and the check is left.
    let filled = entries::standing::<TankChange>(tx, scope, poured.1 - MINUTE, poured.1 + MINUTE).await?;
    let is_filled = filled.iter().any(|(_, change)| change.tank == poured.0);
    if is_filled || near.iter().any(|(_, other)| calls_for_it(other)) {
        return Ok(());
    }

    let due = (check.due_at - MINUTE, check.due_at + MINUTE);
    let found = checks::due_at_places(tx, scope, &[check.place], due.0, due.1).await?;
    let planned = |kept: &KeptCheck| is_it(&kept.check) && kept.check.state == CheckState::Planned;
    let planned: Vec<_> = found.into_iter().filter(planned).map(|kept| kept.id).collect();
    // Not excused: what is poured in its place is measured at the same time, and would find its check settled.
    Ok(planning::withdraw(tx, scope, &planned).await?)
}
