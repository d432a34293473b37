//! In which order the windows of a day's checks ask for them.

use crate::rounds::Hygiene;
use crate::rounds::board::{Slot, first_start};

/// Whether they could all be done if hygiene did not matter.
pub(super) fn fits_without_hygiene(free: &[(i64, i64)], slots: &[Slot]) -> bool {
    let same = Hygiene { quarantine: false, rank: 0 };
    urgent_first(free, slots, |_| same).is_some()
}

/// The checks from clean to dirty, and the more urgent first within a rank; none when they cannot all be done so.
/// Walks and meters are left aside.
pub(super) fn urgent_first(
    free: &[(i64, i64)],
    slots: &[Slot],
    hygiene: impl Fn(&Slot) -> Hygiene,
) -> Option<Vec<Slot>> {
    let mut rest = slots.to_vec();
    rest.sort_by_key(|slot| (hygiene(slot), slot.closes, slot.job));
    let mut placed = Vec::with_capacity(rest.len());
    let mut now = i64::MIN;
    while let Some(first) = rest.first() {
        let rank = hygiene(first);
        let same_rank = rest.iter().take_while(|slot| hygiene(slot) == rank).count();
        let next = next_of(free, &rest[..same_rank], now)?;
        let slot = rest.remove(next);
        now = first_start(free, &slot, now)? + slot.minutes;
        placed.push(slot);
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
    fn check(free: &[(i64, i64)], slots: &[(i64, i64, i64)], order: Option<&[usize]>) {
        let slots: Vec<Slot> = slots
            .iter()
            .enumerate()
            .map(|(job, (opens, closes, minutes))| Slot {
                job,
                opens: *opens,
                closes: *closes,
                minutes: *minutes,
                pool: None,
            })
            .collect();
        let same = Hygiene { quarantine: false, rank: 0 };
        let found = urgent_first(free, &slots, |_| same);
        let found: Option<Vec<usize>> = found.map(|slots| slots.iter().map(|slot| slot.job).collect());
        assert_eq!(found.as_deref(), order);
    }

    #[test]
    fn what_closes_first_goes_first() {
        check(&[(0, 100)], &[(0, 100, 30), (0, 40, 30)], Some(&[1, 0]));
    }

    #[test]
    fn a_long_check_waits_for_an_appointment() {
        check(&[(0, 200)], &[(0, 200, 50), (30, 40, 10)], Some(&[1, 0]));
    }

    #[test]
    fn a_short_check_goes_before_an_appointment() {
        check(&[(0, 200)], &[(0, 200, 20), (30, 40, 10)], Some(&[0, 1]));
    }

    #[test]
    fn a_check_lies_within_one_stretch_of_free_time() {
        check(&[(0, 20), (30, 60)], &[(0, 60, 25)], Some(&[0]));
        check(&[(0, 20), (30, 50)], &[(0, 60, 25)], None);
    }
}
