//! Whether the meters that advice goes by may be gone by.

use std::collections::HashMap;

use fillmark_advice::solution::correct::{CorrectAsked, Shown};
use fillmark_advice::solution::reconcile::{Apart, apart};
use fillmark_advice::solution::record::TankRecord;
use fillmark_domain::entries::{Calibration, Meter, MeterStanding};
use fillmark_store::words::calibrations;
use fillmark_store::{SiteScope, Tx, records};

use super::facts::Facts;
use crate::Refusal;

/// What there is to say of meters whose readings a correction goes by and that are out of calibration, each once. Of one that was
/// never calibrated nothing is said: not everybody keeps record of it.
pub(super) async fn unfit(
    tx: &Tx,
    scope: SiteScope,
    facts: &Facts,
    asked: &CorrectAsked,
) -> Result<Vec<String>, Refusal> {
    let mut read: Vec<Shown> = [asked.ec, asked.ph].into_iter().flatten().collect();
    read.dedup_by_key(|shown| shown.meter);
    let meters: Vec<_> = read.iter().filter_map(|shown| shown.meter).collect();
    if meters.is_empty() {
        return Ok(Vec::new());
    }
    let made: Vec<Calibration> = calibrations::of_meters(tx, scope, &meters).await?;
    let mut told = Vec::new();
    for shown in read {
        let Some(meter) = shown.meter else { continue };
        let what = match MeterStanding::of(meter, (shown.at, facts.plan.day(shown.at)), made.iter()) {
            MeterStanding::InCalibration | MeterStanding::NeverCalibrated => continue,
            MeterStanding::Failed { at } => format!("failed its calibration of {}", facts.plan.day(at)),
            MeterStanding::Overdue { since } => format!("was to be calibrated on {since}, and was not"),
        };
        let name = records::find::<Meter>(tx, scope, meter).await?.map(|kept| kept.content.name);
        told.push(format!(
            "{}, by which this was read, {what}: read it with another meter, or hold this one against a standard, before anything \
             is poured by it.",
            name.unwrap_or_default()
        ));
    }
    Ok(told)
}

/// Meters that do not show the same of a tank, each pair with its sentence.
pub(super) async fn told_apart(
    tx: &Tx,
    scope: SiteScope,
    record: &TankRecord,
) -> Result<Vec<(Apart, String)>, Refusal> {
    let found = apart(record);
    if found.is_empty() {
        return Ok(Vec::new());
    }
    let meters = records::all::<Meter>(tx, scope).await?;
    let names: HashMap<_, _> = meters.into_iter().map(|kept| (kept.id, kept.content.name)).collect();
    let told = |apart: Apart| {
        let told =
            apart.told(|meter| names.get(&meter).cloned().unwrap_or_else(|| "An archived meter".into()));
        (apart, told)
    };
    Ok(found.into_iter().map(told).collect())
}
