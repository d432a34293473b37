//! Watching the bands: a reading out of band raises an alert, a later one in band closes it.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use fillmark_domain::entries::{Reading, SamplePoint, Spot};
use fillmark_domain::work::{AlertKind, ClosedBy};
use fillmark_domain::{Coded, Metric};
use fillmark_store::readings::{self, KeptReading};
use fillmark_store::{SiteScope, Stamp, Tx, alerts as kept_alerts, entries};
use uuid::Uuid;

use crate::{Refusal, alerts};

/// What an alert about a band is about, beside the reading that raised it.
type Watched = (Spot, SamplePoint, Metric);

/// Raises and closes alerts for readings that are being kept, each signed for itself. What counts is the last reading of a
/// place: one that is typed in late tells of a time that is over. A clock that cannot be trusted raises and settles nothing.
/// # Errors
/// When the database fails.
pub(crate) async fn watch(
    tx: &Tx,
    scope: SiteScope,
    kept: &[(Stamp<'_>, KeptReading)],
) -> Result<(), Refusal> {
    let counts =
        |(_, (_, reading)): &&(Stamp<'_>, KeptReading)| reading.band.is_some() && !reading.clock_suspect;
    let mut banded: Vec<_> = kept.iter().filter(counts).collect();
    if banded.is_empty() {
        return Ok(());
    }
    banded.sort_by_key(|(_, (_, reading))| reading.taken_at());
    let mut open = open_alerts(tx, scope).await?;
    for (stamp, (id, reading)) in banded {
        let watched = (reading.spot, reading.sample_point, reading.metric);
        let alert = open.get(&watched).copied();
        if alert.is_none() && reading.in_band() == Some(true) {
            continue;
        }
        let Some((last_id, last)) = readings::last_banded(tx, scope, watched).await? else { continue };
        match (last.in_band(), alert) {
            (Some(false), None) => {
                alerts::raise(tx, scope, stamp, AlertKind::OutOfBand, id.uuid(), &text(reading)).await?;
                open.insert(watched, (id.uuid(), reading.taken_at()));
            }
            (Some(true), Some((about, since))) if since <= last.taken_at() => {
                let by = ClosedBy::Record(last_id.uuid());
                alerts::close_for(tx, scope, stamp, AlertKind::OutOfBand, about, by).await?;
                open.remove(&watched);
            }
            _ => {}
        }
    }
    Ok(())
}

async fn open_alerts(tx: &Tx, scope: SiteScope) -> Result<HashMap<Watched, (Uuid, DateTime<Utc>)>, Refusal> {
    let about = kept_alerts::about_unclosed(tx, scope, AlertKind::OutOfBand).await?;
    let raised_by = entries::find_many::<Reading>(tx, scope, &about).await?;
    let watched = |reading: &Reading| (reading.spot, reading.sample_point, reading.metric);
    Ok(raised_by.iter().map(|(id, reading)| (watched(reading), (id.uuid(), reading.taken_at()))).collect())
}

fn text(reading: &Reading) -> String {
    let unit = reading.metric.unit().code();
    let band = reading.band.map(|band| format!(", band {} to {}", band.low, band.high)).unwrap_or_default();
    format!("{} is {} {unit}{band}", reading.metric.code(), shown(reading.value))
}

/// To four decimals, finer than any meter: 700 uS/cm are 0.7 mS/cm, whatever their quotient is to the last bit.
fn shown(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}
