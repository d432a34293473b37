//! How late tank changes are done, and how late cycles start.

use super::history::{History, TankHistory};

/// Lateness that is told apart, days; later ones count as the last.
pub(super) const LATEST: usize = 4;

/// Before anything is on record most changes are done on their day. Together the weight of two changes, so that
/// a month of records speaks louder.
const PRIOR: [f64; LATEST + 1] = [1.25, 0.25, 0.25, 0.25, 0.25];

/// Before anything is on record cycles start when planned; the weight of three starts.
const PRIOR_STARTS: [f64; LATEST + 1] = [2.8, 0.05, 0.05, 0.05, 0.05];

/// Chances lean to the likelier days by this power: a forecast is judged by how far off it is, and smearing a change
/// over days on which it is seldom done makes it a little wrong always. Our own judgement.
const LEANING: f64 = 1.2;

/// A first change written down so many days before a cycle starts was meant for its start.
pub(super) const LATE_START_DAYS: usize = 7;

/// Chances that a change is done on its day, or so many days later.
#[derive(Debug, Clone)]
pub(super) struct Slips {
    chances: [f64; LATEST + 1],
    /// Days that a cycle starts late: half start no later.
    pub(super) start: usize,
    /// Changes it was learnt from.
    pub(super) changes: usize,
}

impl Slips {
    /// From the due days of every tank before a day, and the changes that were done on them or soon after.
    pub(super) fn learn(history: &History, before: usize) -> Slips {
        let (mut weights, mut starts) = (PRIOR, PRIOR_STARTS);
        let mut changes = 0;
        for tank in &history.tanks {
            for due in past_due_days(history, tank, before) {
                let done = tank.fills.iter().map(|(day, _)| *day);
                let found = done.skip_while(|day| *day < due).take_while(|day| *day <= due + LATEST + 1);
                if let Some(day) = found.take(1).find(|day| *day < before) {
                    weights[(day - due).min(LATEST)] += 1.0;
                    changes += 1;
                }
            }
            for late in late_starts(tank, before) {
                starts[late.min(LATEST)] += 1.0;
            }
        }
        let leaning = weights.map(|weight: f64| weight.powf(LEANING));
        Slips { chances: shares(leaning), start: middle(shares(starts)), changes }
    }

    /// Each lateness with its chance, given that it is already so many days late; none once it is later than any
    /// change is.
    pub(super) fn given(&self, late: usize) -> Vec<(usize, f64)> {
        let possible = || self.chances.iter().enumerate().filter(|(slip, _)| *slip >= late);
        let total: f64 = possible().map(|(_, chance)| chance).sum();
        possible().map(|(slip, chance)| (slip, chance / total)).collect()
    }
}

/// The lateness that half do not exceed.
fn middle(chances: [f64; LATEST + 1]) -> usize {
    let mut sum = 0.0;
    let reached = chances.iter().position(|chance| {
        sum += chance;
        sum >= 0.5
    });
    reached.unwrap_or(0)
}

fn shares(weights: [f64; LATEST + 1]) -> [f64; LATEST + 1] {
    let total: f64 = weights.iter().sum();
    weights.map(|weight| weight / total)
}

/// Days on which changes were due: as written down, otherwise the interval after the last change done.
/// A fill at the start of a cycle is done when the plants come, so it teaches nothing about lateness.
fn past_due_days(history: &History, tank: &TankHistory, before: usize) -> Vec<usize> {
    let written = tank.written.iter().filter(|day| **day < before && !tank.starts_on(**day));
    let due: Vec<usize> = written.copied().collect();
    if !due.is_empty() {
        return due;
    }
    let after = |(done, _): &(usize, f64)| {
        let interval = tank.fed(*done)?.fed.change_every_days?;
        history.open_from(done + usize::from(interval))
    };
    tank.fills.iter().filter_map(after).filter(|day| *day < before).collect()
}

/// How many days after the first change written down for them cycles started.
fn late_starts(tank: &TankHistory, before: usize) -> impl Iterator<Item = usize> {
    let starts = (1..before).filter(|day| tank.starts_on(*day));
    starts.filter_map(|start| {
        let until = tank.written.partition_point(|day| *day <= start);
        let planned = *tank.written[..until].last()?;
        (start - planned <= LATE_START_DAYS).then_some(start - planned)
    })
}
