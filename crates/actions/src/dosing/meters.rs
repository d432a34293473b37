//! Whether the meters that advice goes by may be gone by.

use std::collections::{HashMap, HashSet};

use fillmark_advice::solution::correct::{CorrectAsked, Shown};
use fillmark_advice::solution::reconcile::{Apart, apart, last_apart};
use fillmark_advice::solution::record::{TankRecord, What};
use fillmark_domain::entries::{Calibration, Meter, MeterStanding, Reading};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::{Id, Metric};
use fillmark_store::words::calibrations;
use fillmark_store::{SiteScope, Tx, records};

use super::facts::Facts;
use crate::Refusal;

/// What there is to say of the meters whose readings a correction goes by: that one is out of calibration, now or when it read, or that
/// another shows something else. Of one that was never calibrated nothing is said: not everybody keeps record of it.
pub(super) async fn cautions(
    tx: &Tx,
    scope: SiteScope,
    facts: &Facts,
    asked: &CorrectAsked,
) -> Result<Vec<String>, Refusal> {
    let both = [(Metric::Ec, asked.ec), (Metric::Ph, asked.ph)];
    let mut read: Vec<Shown> = both.iter().filter_map(|(_, shown)| *shown).collect();
    read.dedup_by_key(|shown| shown.meter);
    let meters: Vec<Id<Meter>> = read.iter().filter_map(|shown| shown.meter).collect();
    if meters.is_empty() {
        return Ok(Vec::new());
    }
    let made: Vec<Calibration> = calibrations::of_meters(tx, scope, &meters).await?;
    let mut told = Vec::new();
    for shown in read {
        let Some(meter) = shown.meter else { continue };
        let standing = |at| MeterStanding::of(meter, (at, facts.plan.day(at)), made.iter());
        let unfit = [shown.at, facts.at].map(standing).into_iter().find(|standing| !standing.may_be_used());
        let what = match unfit {
            Some(MeterStanding::Failed { at }) => format!("failed its calibration of {}", facts.plan.day(at)),
            Some(MeterStanding::Overdue { since }) => {
                format!("was to be calibrated on {since} at the latest")
            }
            _ => continue,
        };
        told.push(format!(
            "{}, by which this was read, {what}: read it with another meter, or hold this one against a standard, before anything \
             is poured by it.",
            name(tx, scope, meter).await?
        ));
    }
    for (metric, shown) in both {
        let Some(last) = shown.and_then(|shown| last_apart(&facts.record, metric, shown.at)) else {
            continue;
        };
        let [one, other] = last.meters;
        told.push(last.told(&name(tx, scope, one).await?, &name(tx, scope, other).await?));
    }
    Ok(told)
}

async fn name(tx: &Tx, scope: SiteScope, meter: Id<Meter>) -> Result<String, Refusal> {
    let found = records::find::<Meter>(tx, scope, meter).await?;
    Ok(found.map_or_else(|| "An archived meter".into(), |kept| kept.content.name))
}

/// The readings of EC and pH that nothing is learnt from: by a meter that had failed its last calibration.
pub(super) async fn not_to_be_learnt(
    tx: &Tx,
    scope: SiteScope,
    plan: &SitePlan,
    record: &TankRecord,
) -> Result<HashSet<Id<Reading>>, Refusal> {
    let read = || {
        record.events.iter().filter_map(|event| match event.what {
            What::Read { id, metric: Metric::Ec | Metric::Ph, meter: Some(meter), .. } => {
                Some((event.at, id, meter))
            }
            _ => None,
        })
    };
    let mut meters: Vec<Id<Meter>> = read().map(|(.., meter)| meter).collect();
    meters.sort_unstable();
    meters.dedup();
    if meters.is_empty() {
        return Ok(HashSet::new());
    }
    let made = calibrations::of_meters(tx, scope, &meters).await?;
    if made.iter().all(|one| one.passed) {
        return Ok(HashSet::new());
    }
    let failed = |at, meter| {
        let standing = MeterStanding::of(meter, (at, plan.day(at)), made.iter());
        matches!(standing, MeterStanding::Failed { .. })
    };
    Ok(read().filter(|(at, _, meter)| failed(*at, *meter)).map(|(_, id, _)| id).collect())
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
