//! On which day each coming tank change will be done, as chances.

use super::changes::{LATEST, Slips};
use super::question::{Question, TankAsked};

/// A change will not be made for a cycle that ends within these days.
const NOT_BEFORE_THE_END_DAYS: i64 = 3;

/// A written date on which nothing is fed belongs to a cycle that starts late, if one starts this soon.
const LATE_START_DAYS: i64 = 7;

/// A chain of changes less likely than this is not followed further.
const NEGLIGIBLE: f64 = 0.02;

/// One coming change: days from today with the chance that it is done then.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ComingChange {
    /// Together at most 1; less where it may fall beyond the horizon.
    pub(super) odds: Vec<(i64, f64)>,
    due: i64,
}

/// The coming changes of a tank in order of time. Written dates win while they last; after the last of them
/// the interval of the programme counts from the change before.
pub(super) fn coming_changes(question: &Question, tank: &TankAsked, slips: &Slips) -> Vec<ComingChange> {
    let days = FedDays { question, tank };
    let mut changes = days.written(slips);
    let last_written = changes.iter().map(|change| change.due).max();
    changes.extend(days.first_fills(&changes));
    changes.sort_by_key(|change| change.due);

    let mut chained = Vec::new();
    for (start, end) in days.spans() {
        if last_written.is_some_and(|last| last > end) {
            continue;
        }
        let within = changes.iter().rev().find(|change| (start..=end).contains(&change.due));
        let anchor = match within {
            Some(change) => Some(change.clone()),
            None => {
                days.last_done_since(start).map(|done| ComingChange { odds: vec![(done, 1.0)], due: done })
            }
        };
        chained.extend(anchor.map(|anchor| days.chain(&anchor, end, slips)).unwrap_or_default());
    }
    changes.extend(chained);
    changes
}

struct FedDays<'a> {
    question: &'a Question,
    tank: &'a TankAsked,
}

impl FedDays<'_> {
    fn fed(&self, day: i64) -> bool {
        self.tank.fed.contains_key(&self.question.date(day))
    }

    fn horizon(&self) -> i64 {
        self.question.horizon() as i64
    }

    fn open_from(&self, day: i64) -> Option<i64> {
        let open = self.question.open.on_or_after(self.question.date(day))?;
        Some(self.question.offset(open))
    }

    fn last_done_since(&self, day: i64) -> Option<i64> {
        self.tank
            .changes_done
            .iter()
            .map(|done| self.question.offset(*done))
            .filter(|done| (day..=0).contains(done))
            .max()
    }

    fn starts_a_cycle(&self, day: i64) -> bool {
        self.fed(day) && !self.fed(day - 1)
    }

    /// Unbroken spans of fed days that reach today or lie after it, with their first and last day.
    fn spans(&self) -> Vec<(i64, i64)> {
        let mut spans: Vec<(i64, i64)> = Vec::new();
        for day in self.tank.fed.keys().map(|date| self.question.offset(*date)) {
            match spans.last_mut() {
                Some((_, end)) if *end + 1 == day => *end = day,
                _ => spans.push((day, day)),
            }
        }
        spans.retain(|(start, end)| *end >= 0 && *start < self.horizon());
        spans
    }

    fn written(&self, slips: &Slips) -> Vec<ComingChange> {
        let days = self.tank.planned_changes.iter().map(|date| self.question.offset(*date));
        let still_open = days
            .filter(|day| (-(LATEST as i64)..self.horizon()).contains(day))
            .filter(|day| self.last_done_since(*day).is_none())
            .filter(|day| !self.tank.skipped_changes.contains(&self.question.date(*day)));
        still_open
            .filter_map(|day| (day..=day + LATE_START_DAYS).find(|day| self.fed(*day)))
            .filter_map(|day| self.with_slips(day, slips))
            .collect()
    }

    /// Plants cannot go into an empty tank: a cycle's first fill is done when it starts, written down or not.
    fn first_fills(&self, written: &[ComingChange]) -> Vec<ComingChange> {
        (-LATE_START_DAYS..self.horizon())
            .filter(|day| self.starts_a_cycle(*day) && self.last_done_since(*day).is_none())
            .filter(|day| !written.iter().any(|change| (change.due - day).abs() <= LATEST as i64))
            .filter_map(|day| Some(ComingChange { odds: vec![(self.open_from(day.max(0))?, 1.0)], due: day }))
            .collect()
    }

    fn with_slips(&self, due: i64, slips: &Slips) -> Option<ComingChange> {
        if self.starts_a_cycle(due) {
            return Some(ComingChange { odds: vec![(self.open_from(due.max(0))?, 1.0)], due });
        }
        let odds = slips
            .given(-due)
            .into_iter()
            .filter_map(|(slip, chance)| Some((self.open_from(due + slip)?, chance)))
            .collect();
        Some(ComingChange { odds, due })
    }

    /// Changes after an anchor, each the interval after the one before as it is really done: lateness adds up.
    fn chain(&self, anchor: &ComingChange, end: i64, slips: &Slips) -> Vec<ComingChange> {
        let mut changes = Vec::new();
        let mut before = anchor.clone();
        for _ in 0..self.horizon() {
            let odds: Vec<(i64, f64)> = before
                .odds
                .iter()
                .flat_map(|(day, chance)| self.next_of(*day, *chance, end, slips))
                .collect();
            if odds.iter().map(|(_, chance)| chance).sum::<f64>() < NEGLIGIBLE {
                break;
            }
            let odds = merged(odds);
            before = ComingChange { due: odds[0].0, odds };
            changes.push(before.clone());
        }
        changes
    }

    fn next_of(&self, done: i64, chance: f64, end: i64, slips: &Slips) -> Vec<(i64, f64)> {
        let fed = self.tank.fed.get(&self.question.date(done));
        let Some(interval) = fed.and_then(|fed| fed.change_every_days).filter(|days| *days > 0) else {
            return Vec::new();
        };
        let Some(due) = self.open_from(done + i64::from(interval)) else { return Vec::new() };
        if due > end - NOT_BEFORE_THE_END_DAYS {
            return Vec::new();
        }
        if let Some(skipped) = self.skipped_near(due, i64::from(interval)) {
            return self.next_of(skipped, chance, end, slips);
        }
        let late = (-due).max(0);
        let possible = if late > LATEST as i64 { vec![(late, 1.0)] } else { slips.given(late) };
        possible
            .into_iter()
            .filter_map(|(slip, likely)| Some((self.open_from(due + slip)?, chance * likely)))
            .filter(|(day, _)| *day < self.horizon())
            .collect()
    }

    /// The day skipped that means this change: lateness before it may have moved the change by some days.
    fn skipped_near(&self, due: i64, interval: i64) -> Option<i64> {
        let skipped = self.tank.skipped_changes.iter().map(|day| self.question.offset(*day));
        skipped.filter(|day| 2 * (day - due).abs() < interval).min_by_key(|day| (day - due).abs())
    }
}

fn merged(mut odds: Vec<(i64, f64)>) -> Vec<(i64, f64)> {
    odds.sort_by_key(|(day, _)| *day);
    let mut merged: Vec<(i64, f64)> = Vec::new();
    for (day, chance) in odds {
        match merged.last_mut() {
            Some((last, total)) if *last == day => *total += chance,
            _ => merged.push((day, chance)),
        }
    }
    merged
}
