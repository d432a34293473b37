//! What was to be measured after an addition that is taken back.

use chrono::TimeDelta;
use fillmark_domain::entries::Addition;
use fillmark_domain::work::{Cause, Check, CheckState, follow_up_check};
use fillmark_store::checks::{self, KeptCheck};
use fillmark_store::{SiteScope, Tx, entries, plan, planning};

use crate::Refusal;

/// What is poured within a minute is measured once.
const MINUTE: TimeDelta = TimeDelta::minutes(1);

/// Withdraws the check that an addition called for, unless somebody has begun it or something else that was poured with it still
/// stands.
pub(super) async fn forgo_follow_up(tx: &Tx, scope: SiteScope, taken_back: &Addition) -> Result<(), Refusal> {
    let zone = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?.content.time_zone;
    let Some(check) = follow_up_check(taken_back, zone, taken_back.received_at) else { return Ok(()) };
    let is_it = |other: &Check| {
        (other.cause, other.place, other.date, other.time)
            == (Cause::Advice, check.place, check.date, check.time)
    };

    let at = taken_back.recorded_at;
    let near = entries::standing::<Addition>(tx, scope, at - MINUTE, at + MINUTE).await?;
    let calls_for_it =
        |other: &Addition| follow_up_check(other, zone, other.received_at).is_some_and(|other| is_it(&other));
    if near.iter().any(|(_, other)| calls_for_it(other)) {
        return Ok(());
    }

    let due = (check.due_at - MINUTE, check.due_at + MINUTE);
    let found = checks::due_at_places(tx, scope, &[check.place], due.0, due.1).await?;
    let planned = |kept: &KeptCheck| is_it(&kept.check) && kept.check.state == CheckState::Planned;
    let planned: Vec<_> = found.into_iter().filter(planned).map(|kept| kept.id).collect();
    // Not excused: what is poured in its place is measured at the same time, and would find its check settled.
    Ok(planning::withdraw(tx, scope, &planned).await?)
}
