//! What becomes of checks that nobody settled.

use chrono_tz::Tz;
use fillmark_domain::Kept;
use fillmark_domain::places::OutOfUse;
use fillmark_domain::work::{AlertKind, Check, CheckState, Place};
use fillmark_store::checks::{self, KeptCheck};
use fillmark_store::{SiteScope, records};

use crate::{App, Refusal, alerts};

/// So many are settled in one transaction…
const AT_ONCE: u64 = 200;
/// …and so many times in one beat.
const MOST_BATCHES: usize = 50;

/// Excuses the checks that are due at tanks which are out of use. Not before they are due: the tank may be
/// back earlier than was thought.
/// # Errors
/// When the database fails.
pub(super) async fn excuse_out_of_use(app: &App, site: SiteScope) -> Result<(), Refusal> {
    for _ in 0..MOST_BATCHES {
        let stamp = app.unsigned();
        let tx = app.store.begin().await?;
        let due = checks::lock_out_of_use(&tx, site, stamp.at, AT_ONCE).await?;
        if due.is_empty() {
            return Ok(());
        }
        let outages = records::all::<OutOfUse>(&tx, site).await?;
        for kept in due {
            let reason = format!("tank out of use: {}", why(&outages, &kept.check));
            if let Ok(excused) = kept.check.excused(stamp.at, None, reason) {
                checks::settle(&tx, site, &stamp, kept.id, &excused.state, None).await?;
            }
        }
        tx.commit().await?;
    }
    Ok(())
}

fn why<'a>(outages: &'a [Kept<OutOfUse>], check: &Check) -> &'a str {
    let holds = |outage: &OutOfUse| {
        Place::Tank(outage.tank) == check.place
            && outage.from <= check.date
            && outage.until.is_none_or(|until| check.date <= until)
    };
    outages.iter().find(|kept| holds(&kept.content)).map_or("", |kept| &kept.content.reason)
}

/// Finds the checks whose limit has passed: each is missed for good, and raises an alert.
/// # Errors
/// When the database fails.
pub(super) async fn miss(app: &App, site: SiteScope, zone: Tz) -> Result<(), Refusal> {
    for _ in 0..MOST_BATCHES {
        let stamp = app.unsigned();
        let tx = app.store.begin().await?;
        let overdue = checks::lock_overdue(&tx, site, stamp.at, AT_ONCE).await?;
        if overdue.is_empty() {
            return Ok(());
        }
        for KeptCheck { id, check, .. } in overdue {
            let limit = check.limit.with_timezone(&zone).format("%Y-%m-%d %H:%M");
            let text = format!("{} was not done by {limit}", check.name);
            if let Ok(Check { state: state @ CheckState::Missed { .. }, .. }) = check.missed(stamp.at) {
                checks::settle(&tx, site, &stamp, id, &state, None).await?;
                alerts::raise(&tx, site, &stamp, AlertKind::CheckMissed, id.uuid(), &text).await?;
            }
        }
        tx.commit().await?;
    }
    Ok(())
}
