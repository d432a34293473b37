//! One person's day: in which order, and when, a set of checks can be done at all.

use crate::rounds::Hygiene;
use crate::rounds::day::Job;

/// When a check may be done, in minutes since 1970. Where two people must meet, the window is narrowed to
/// the minutes agreed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Slot {
    pub(super) job: usize,
    pub(super) opens: i64,
    pub(super) closes: i64,
    pub(super) minutes: i64,
}

impl Slot {
    fn latest_start(&self) -> i64 {
        self.closes - self.minutes
    }
}

/// Each check with its start, in order; none when they cannot all be done. The order of the board (hygiene,
/// room, end of window, name) keeps a person in a room and is tried first; where windows do not allow it,
/// the more urgent goes first within one rank of hygiene.
pub(super) fn timetable(free: &[(i64, i64)], jobs: &[Job], slots: &[Slot]) -> Option<Vec<(usize, i64)>> {
    let mut slots = slots.to_vec();
    slots.sort_by_key(|slot| slot.job);
    room_by_room(free, &slots).or_else(|| urgent_first(free, &slots, |slot| jobs[slot.job].due.hygiene))
}

/// Whether they could all be done if hygiene did not matter.
pub(super) fn fits_without_hygiene(free: &[(i64, i64)], slots: &[Slot]) -> bool {
    let same = Hygiene { quarantine: false, rank: 0 };
    urgent_first(free, slots, |_| same).is_some()
}

/// The first start from `earliest` on that leaves the work within one stretch of free time.
pub(super) fn first_start(free: &[(i64, i64)], slot: &Slot, earliest: i64) -> Option<i64> {
    let from = earliest.max(slot.opens);
    let starts = free.iter().map(|(begin, end)| ((*begin).max(from), *end));
    starts
        .filter(|(start, end)| start + slot.minutes <= *end)
        .map(|(start, _)| start)
        .find(|start| *start <= slot.latest_start())
}

fn room_by_room(free: &[(i64, i64)], slots: &[Slot]) -> Option<Vec<(usize, i64)>> {
    let mut now = i64::MIN;
    let place = |slot: &Slot| {
        let start = first_start(free, slot, now)?;
        now = start + slot.minutes;
        Some((slot.job, start))
    };
    slots.iter().map(place).collect()
}

fn urgent_first(
    free: &[(i64, i64)],
    slots: &[Slot],
    hygiene: impl Fn(&Slot) -> Hygiene,
) -> Option<Vec<(usize, i64)>> {
    let mut rest = slots.to_vec();
    rest.sort_by_key(|slot| (hygiene(slot), slot.closes, slot.job));
    let mut placed = Vec::with_capacity(rest.len());
    let mut now = i64::MIN;
    while let Some(first) = rest.first() {
        let rank = hygiene(first);
        let same_rank = rest.iter().take_while(|slot| hygiene(slot) == rank).count();
        let next = next_of(free, &rest[..same_rank], now)?;
        let slot = rest.remove(next);
        let start = first_start(free, &slot, now)?;
        placed.push((slot.job, start));
        now = start + slot.minutes;
    }
    Some(placed)
}

/// Which of one rank comes next: of those that can begin soonest the one that closes first, unless that
/// would make the most urgent of the others too late.
fn next_of(free: &[(i64, i64)], slots: &[Slot], now: i64) -> Option<usize> {
    let start = |slot: &Slot| first_start(free, slot, now);
    let urgent = (0..slots.len()).min_by_key(|index| (slots[*index].latest_start(), *index))?;
    let soonest = slots.iter().filter_map(start).min()?;
    let harmless = |index: &usize| {
        let slot = &slots[*index];
        let ends = soonest + slot.minutes;
        start(slot) == Some(soonest) && (*index == urgent || ends <= slots[urgent].latest_start())
    };
    Some((0..slots.len()).find(harmless).unwrap_or(urgent))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(free: &[(i64, i64)], slots: &[(i64, i64, i64)], starts: Option<&[(usize, i64)]>) {
        let slots: Vec<Slot> = slots
            .iter()
            .enumerate()
            .map(|(job, (opens, closes, minutes))| Slot {
                job,
                opens: *opens,
                closes: *closes,
                minutes: *minutes,
            })
            .collect();
        let same = Hygiene { quarantine: false, rank: 0 };
        assert_eq!(urgent_first(free, &slots, |_| same).as_deref(), starts);
    }

    #[test]
    fn what_closes_first_goes_first() {
        check(&[(0, 100)], &[(0, 100, 30), (0, 40, 30)], Some(&[(1, 0), (0, 30)]));
    }

    #[test]
    fn a_long_check_waits_for_an_appointment() {
        check(&[(0, 200)], &[(0, 200, 50), (30, 40, 10)], Some(&[(1, 30), (0, 40)]));
    }

    #[test]
    fn a_short_check_goes_before_an_appointment() {
        check(&[(0, 200)], &[(0, 200, 20), (30, 40, 10)], Some(&[(0, 0), (1, 30)]));
    }

    #[test]
    fn a_check_lies_within_one_stretch_of_free_time() {
        check(&[(0, 20), (30, 60)], &[(0, 60, 25)], Some(&[(0, 30)]));
        check(&[(0, 20), (30, 50)], &[(0, 60, 25)], None);
    }
}
