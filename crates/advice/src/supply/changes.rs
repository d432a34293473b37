//! How late tank changes are done, and how late cycles start.

use super::history::{History, TankHistory};

/// Lateness that is told apart, days; later ones count as the last.
pub(super) const LATEST: usize = 4;

/// Before anything is on record most changes are done on their day. Together the weight of two changes, so that
/// a month of records speaks louder.
const PRIOR: [f64; LATEST + 1] = [2.0, 0.1, 0.06, 0.05, 0.04];

/// Before anything is on record cycles start when planned; the weight of three starts.
const PRIOR_STARTS: [f64; LATEST + 1] = [2.8, 0.05, 0.05, 0.05, 0.05];

/// A first change written down so many days before a cycle starts was meant for its start.
pub(super) const LATE_START_DAYS: usize = 7;

/// Rounds in which it is told apart which slips were meant where days without work hid them.
const ROUNDS: usize = 6;

/// Chances that a change slips by none or so many days; one that would fall on a day without work is done on the next one with.
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
        let (mut seen, mut starts) = ([[0.0; LATEST + 1]; LATEST + 1], PRIOR_STARTS);
        let mut changes = 0;
        for tank in &history.tanks {
            for due in past_due_days(history, tank, before) {
                let done = tank.fills.partition_point(|(day, _)| *day < due);
                let found = tank.fills.get(done).map(|(day, _)| *day);
                if let Some(day) = found.filter(|day| *day <= due + LATEST + 1 && *day < before) {
                    let (first, last) = possible_slips(history, due, day);
                    seen[first][last] += 1.0;
                    changes += 1;
                }
            }
            for late in late_starts(tank, before) {
                starts[late.min(LATEST)] += 1.0;
            }
        }
        Slips { chances: shares(told_apart(&seen)), start: middle(shares(starts)), changes }
    }

    /// Days on which a change is done that was due on a day and not done before another, with their chances; none where it
    /// is later than any change is.
    pub(super) fn days(&self, history: &History, due: usize, not_before: usize) -> Vec<(usize, f64)> {
        let each = self.chances.iter().enumerate();
        let each = each.filter_map(|(slip, chance)| Some((history.open_from(due + slip)?, *chance)));
        let mut days: Vec<(usize, f64)> = each.filter(|(day, _)| *day >= not_before).collect();
        let total: f64 = days.iter().map(|(_, chance)| chance).sum();
        days.iter_mut().for_each(|(_, chance)| *chance /= total);
        days
    }
}

/// The first and the last slip that would have brought a change to the day on which it was done: due on a Friday and done on
/// Monday, it slipped by one day, by two or by three.
fn possible_slips(history: &History, due: usize, done: usize) -> (usize, usize) {
    let mut possible = (0..=LATEST).filter(|slip| history.open_from(due + slip) == Some(done));
    let late = (done - due).min(LATEST);
    let first = possible.next();
    (first.unwrap_or(late), possible.next_back().or(first).unwrap_or(late))
}

/// Weight of each slip: where several were possible, they share one by what the others tell of them.
fn told_apart(seen: &[[f64; LATEST + 1]; LATEST + 1]) -> [f64; LATEST + 1] {
    let mut weights = PRIOR;
    for _ in 0..ROUNDS {
        let before = std::mem::replace(&mut weights, PRIOR);
        for (first, row) in seen.iter().enumerate() {
            for (last, count) in row.iter().enumerate().filter(|(_, count)| **count > 0.0) {
                let total: f64 = before[first..=last].iter().sum();
                for slip in first..=last {
                    weights[slip] += count * before[slip] / total;
                }
            }
        }
    }
    weights
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
        let (due, _) = tank.due_after(*done, before)?;
        history.open_from(due)
    };
    tank.fills.iter().filter_map(after).filter(|day| *day < before).collect()
}

/// How many days after the first change written down for them cycles started.
fn late_starts(tank: &TankHistory, before: usize) -> impl Iterator<Item = usize> {
    tank.written.iter().enumerate().flat_map(move |(place, planned)| {
        let next = tank.written.get(place + 1).copied().unwrap_or(before);
        let soon = *planned..next.min(before).min(planned + LATE_START_DAYS + 1);
        soon.filter(|day| *day > 0 && tank.starts_on(*day)).map(move |start| start - planned)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The likeliest slip, where so many changes came with slips from one to another.
    #[track_caller]
    fn check(seen: &[(usize, usize, f64)], likeliest: usize) {
        let mut counts = [[0.0; LATEST + 1]; LATEST + 1];
        seen.iter().for_each(|(first, last, count)| counts[*first][*last] += count);
        let weights = told_apart(&counts);
        let most = (0..=LATEST).max_by(|one, other| weights[*one].total_cmp(&weights[*other]));
        let all: f64 = weights.iter().sum::<f64>() - PRIOR.iter().sum::<f64>();
        let told: f64 = seen.iter().map(|(.., count)| count).sum();
        assert!(most == Some(likeliest) && (all - told).abs() < 1e-9, "{weights:?}");
    }

    #[test]
    fn a_change_of_friday_done_on_monday_slipped_as_those_of_other_days() {
        check(&[(1, 1, 6.0), (0, 0, 3.0), (1, 3, 9.0)], 1);
        check(&[(2, 2, 6.0), (0, 0, 3.0), (1, 3, 9.0)], 2);
    }

    #[test]
    fn without_records_most_are_done_on_their_day() {
        check(&[], 0);
    }
}
