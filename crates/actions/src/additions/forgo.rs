//! What was to be measured after an addition that is taken back.

use chrono::TimeDelta;
use fillmark_domain::entries::Addition;
use fillmark_domain::work::{Cause, Check, follow_up_check};
use fillmark_store::checks::{self, KeptCheck};
use fillmark_store::{SiteScope, Stamp, Tx, entries, plan};

use crate::Refusal;
use crate::work::keep_state;

/// What is poured within a minute is measured once.
const MINUTE: TimeDelta = TimeDelta::minutes(1);

/// Excuses the check that an addition called for, unless something else that was poured with it still stands.
pub(super) async fn forgo_follow_up(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    taken_back: &Addition,
) -> Result<(), Refusal> {
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
    for found in checks::due_at_places(tx, scope, &[check.place], due.0, due.1).await? {
        let Some(KeptCheck { id, check, .. }) = checks::lock(tx, scope, found.id).await? else { continue };
        if is_it(&check) && !check.is_settled() {
            let reason = "what was poured was taken back".to_owned();
            if let Ok(excused) = check.excused(stamp.at, stamp.by, reason) {
                keep_state(tx, scope, stamp, id, &excused.state, None).await?;
            }
        }
    }
    Ok(())
}
