//! How late tank changes are done.

use std::collections::BTreeSet;

use super::question::{Question, TankAsked};

/// Lateness that is told apart, days; later ones count as the last.
pub(super) const LATEST: usize = 4;

/// Before anything is on record most changes are done on their day. Together the weight of two changes, so that
/// a month of records speaks louder.
const PRIOR: [f64; LATEST + 1] = [1.25, 0.25, 0.25, 0.25, 0.25];

/// Chances that a change is done on its day, or so many days later.
#[derive(Debug, Clone)]
pub(super) struct Slips {
    chances: [f64; LATEST + 1],
    /// Changes it was learnt from.
    pub(super) changes: usize,
}

impl Slips {
    /// From the past planned days of every tank and the changes that were done on them or soon after.
    pub(super) fn learn(question: &Question) -> Slips {
        let mut weights = PRIOR;
        let mut changes = 0;
        for tank in &question.tanks {
            let done: BTreeSet<i64> = tank.changes_done.iter().map(|day| question.offset(*day)).collect();
            for planned in past_due_days(question, tank) {
                if let Some(day) =
                    done.range(planned..=planned + LATEST as i64 + 1).next().filter(|day| **day < 0)
                {
                    weights[((day - planned) as usize).min(LATEST)] += 1.0;
                    changes += 1;
                }
            }
        }
        let total: f64 = weights.iter().sum();
        Slips { chances: weights.map(|weight| weight / total), changes }
    }

    /// Each lateness with its chance, given that it is already so many days late; none once it is later than any
    /// change is.
    pub(super) fn given(&self, late: i64) -> Vec<(i64, f64)> {
        let possible = || self.chances.iter().enumerate().filter(|(slip, _)| *slip as i64 >= late);
        let total: f64 = possible().map(|(_, chance)| chance).sum();
        possible().map(|(slip, chance)| (slip as i64, chance / total)).collect()
    }
}

/// Days on which changes were due: as written down, otherwise the interval after the last change done.
/// A fill at the start of a cycle is done when the plants come, so it teaches nothing about lateness.
fn past_due_days(question: &Question, tank: &TankAsked) -> Vec<i64> {
    let starts_a_cycle =
        |day| tank.fed.contains_key(&question.date(day)) && !tank.fed.contains_key(&question.date(day - 1));
    let written = tank.planned_changes.iter().map(|day| question.offset(*day));
    let mut due: Vec<i64> = written.filter(|day| *day < 0 && !starts_a_cycle(*day)).collect();
    if due.is_empty() {
        due = tank
            .changes_done
            .iter()
            .filter_map(|done| {
                let interval = tank.fed.get(done)?.change_every_days?;
                let day = done.checked_add_days(chrono::Days::new(interval.into()))?;
                Some(question.offset(question.open.on_or_after(day)?))
            })
            .filter(|day| *day < 0)
            .collect();
    }
    due
}
