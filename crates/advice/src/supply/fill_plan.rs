//! On which day each coming tank change will be done where the plan is followed, as chances.

use super::changes::{LATE_START_DAYS, LATEST, Slips};
use super::fill_path::{Asking, FillPath};

/// A change will not be made for a cycle that ends within these days.
pub(super) const NOT_BEFORE_THE_END_DAYS: usize = 3;

/// A change written down so many days ago may be waiting for people to come back from a closure; our own judgement.
const LOOKED_BACK_DAYS: usize = 21;

/// A chain of changes less likely than this is not followed further.
const NEGLIGIBLE: f64 = 0.02;

/// One coming change: days with the chance that it is done then.
#[derive(Debug, Clone, PartialEq)]
struct ComingChange {
    /// Together at most 1; less where it may fall beyond the horizon.
    odds: Vec<(usize, f64)>,
    due: usize,
    /// Whether the whole tank is filled, whatever part is usual.
    whole: bool,
}

/// The coming changes of a tank. Written dates win while they last; after the last of them the interval of the
/// programme counts from the change before.
pub(super) fn by_the_plan(asking: &Asking<'_>, slips: &Slips) -> FillPath {
    let days = FedDays { asking, slips };
    let mut changes = days.written();
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
            None => match days.last_done_since(start) {
                Some(done) => Some(ComingChange { odds: vec![(done, 1.0)], due: done, whole: false }),
                None => {
                    let first = days.first_of_a_new_record(end);
                    chained.extend(first.clone());
                    first
                }
            },
        };
        chained.extend(anchor.map(|anchor| days.chain(&anchor, end)).unwrap_or_default());
    }
    changes.extend(chained);
    let mut path = FillPath::new(asking.days);
    for change in &changes {
        path.add(asking, &change.odds, change.whole);
    }
    path
}

struct FedDays<'a> {
    asking: &'a Asking<'a>,
    slips: &'a Slips,
}

impl FedDays<'_> {
    fn fed(&self, day: usize) -> bool {
        self.asking.tank.fed(day).is_some()
    }

    fn origin(&self) -> usize {
        self.asking.origin
    }

    fn end(&self) -> usize {
        self.asking.end()
    }

    fn last_done_since(&self, day: usize) -> Option<usize> {
        self.asking.last_fill().filter(|done| *done >= day)
    }

    /// Unbroken spans of fed days that reach the day of asking or lie after it, with their first and last day. What
    /// lies before a month ago matters only by the last change.
    fn spans(&self) -> Vec<(usize, usize)> {
        let mut spans: Vec<(usize, usize)> = Vec::new();
        let first = self.asking.last_fill().unwrap_or(self.origin()).min(self.origin().saturating_sub(31));
        for day in (first..self.asking.history.length()).filter(|day| self.fed(*day)) {
            match spans.last_mut() {
                Some((_, end)) if *end + 1 == day => *end = day,
                _ => spans.push((day, day)),
            }
        }
        spans.retain(|(start, end)| *end >= self.origin() && *start < self.end());
        spans
    }

    fn written(&self) -> Vec<ComingChange> {
        let open = self.origin().saturating_sub(LOOKED_BACK_DAYS)..self.end();
        let tank = self.asking.tank;
        let from = tank.written.partition_point(|day| *day < open.start);
        let still_open = tank.written[from..]
            .iter()
            .copied()
            .take_while(|day| *day < open.end)
            .filter(|day| self.last_done_since(*day).is_none())
            .filter(|day| tank.skipped.binary_search(day).is_err());
        still_open
            .filter_map(|day| (day..=day + LATE_START_DAYS).find(|day| self.fed(*day)))
            .filter_map(|day| self.with_slips(day))
            .collect()
    }

    /// Plants cannot go into an empty tank: a cycle's first fill is done when it starts, written down or not.
    fn first_fills(&self, written: &[ComingChange]) -> Vec<ComingChange> {
        (self.origin().saturating_sub(LATE_START_DAYS)..self.end())
            .filter(|day| self.asking.tank.starts_on(*day) && self.last_done_since(*day).is_none())
            .filter(|day| !written.iter().any(|change| change.due.abs_diff(*day) <= LATEST))
            .filter_map(|day| self.first_fill(day))
            .collect()
    }

    /// The first change of a tank with plants of which no change is on record, and nothing else for longer than it takes to be
    /// changed: somebody has just begun to write down. It goes by the days of its cycle.
    fn first_of_a_new_record(&self, end: usize) -> Option<ComingChange> {
        let (tank, origin) = (self.asking.tank, self.origin());
        let regime = tank.fed(origin).filter(|_| self.asking.last_fill().is_none())?;
        let interval = regime.fed.change_every_days.filter(|days| *days > 0)?;
        let begun = tank.visits.first().map_or(origin, |visit| visit.day);
        if begun + usize::from(interval) + LATEST < origin {
            return None;
        }
        let (days, interval) = (origin as f64 - regime.starts, f64::from(interval));
        let due = (regime.starts + interval * (days / interval).ceil().max(1.0)) as usize;
        self.with_slips(due).filter(|_| due + NOT_BEFORE_THE_END_DAYS <= end)
    }

    fn first_fill(&self, day: usize) -> Option<ComingChange> {
        let odds = self.asking.start_odds(day, self.slips);
        (!odds.is_empty()).then_some(ComingChange { odds, due: day, whole: true })
    }

    fn with_slips(&self, due: usize) -> Option<ComingChange> {
        if self.asking.tank.starts_on(due) {
            return self.first_fill(due);
        }
        let odds = self.slips.days(self.asking.history, due, self.origin());
        (!odds.is_empty()).then_some(ComingChange { odds, due, whole: false })
    }

    /// Changes after an anchor, each the interval after the one before as it is really done: lateness adds up.
    fn chain(&self, anchor: &ComingChange, end: usize) -> Vec<ComingChange> {
        let mut changes = Vec::new();
        let mut before = anchor.clone();
        for _ in 0..self.asking.days {
            let odds: Vec<(usize, f64)> =
                before.odds.iter().flat_map(|(day, chance)| self.next_of(*day, *chance, end)).collect();
            if odds.iter().map(|(_, chance)| chance).sum::<f64>() < NEGLIGIBLE {
                break;
            }
            let odds = merged(odds);
            before = ComingChange { due: odds[0].0, odds, whole: false };
            changes.push(before.clone());
        }
        changes
    }

    fn next_of(&self, done: usize, chance: f64, end: usize) -> Vec<(usize, f64)> {
        let tank = self.asking.tank;
        let Some((day, interval)) = tank.due_after(done, end) else { return Vec::new() };
        let Some(due) = self.asking.history.open_from(day) else { return Vec::new() };
        if due + NOT_BEFORE_THE_END_DAYS > end {
            return Vec::new();
        }
        if let Some(skipped) = self.skipped_near(due, interval) {
            return self.next_of(skipped, chance, end);
        }
        let mut odds = self.slips.days(self.asking.history, due, self.origin());
        if odds.is_empty() {
            odds.extend(self.asking.history.open_from(self.origin()).map(|day| (day, 1.0)));
        }
        odds.into_iter()
            .filter(|(day, _)| *day < self.end())
            .map(|(day, likely)| (day, chance * likely))
            .collect()
    }

    /// The day skipped that means this change: lateness before it may have moved the change by some days.
    fn skipped_near(&self, due: usize, interval: usize) -> Option<usize> {
        let skipped = self.asking.tank.skipped.iter().copied();
        skipped.filter(|day| 2 * day.abs_diff(due) < interval).min_by_key(|day| day.abs_diff(due))
    }
}

fn merged(mut odds: Vec<(usize, f64)>) -> Vec<(usize, f64)> {
    odds.sort_by_key(|(day, _)| *day);
    let mut merged: Vec<(usize, f64)> = Vec::new();
    for (day, chance) in odds {
        match merged.last_mut() {
            Some((last, total)) if *last == day => *total += chance,
            _ => merged.push((day, chance)),
        }
    }
    merged
}
