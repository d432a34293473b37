//! What is entered, or taken back, late: a count had found it already, or something was poured of it.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::{Lot, Movement, OnHand, Shortage, Slip};
use crate::{Amount, Id};

/// A count that stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counted {
    /// When it was made.
    pub at: DateTime<Utc>,
    /// Of this lot only; nothing when all lots were counted.
    pub lot: Option<Id<Lot>>,
}

/// What a count had found of a lot before it was told what had become of it: the change of the balance that makes up for
/// what is entered or taken back since.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Found {
    /// Of which lot.
    pub lot: Id<Lot>,
    /// By how much the count's change of the lot grows: more than nothing where something had left it.
    pub amount: Amount,
    /// When it was counted.
    pub counted_at: DateTime<Utc>,
}

/// What a pour had taken of what came in before it and was entered after it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Owed {
    /// The slip of the pour.
    pub slip: Id<Slip>,
    /// From which lot how much.
    pub takes: Vec<(Id<Lot>, Amount)>,
}

impl Counted {
    /// A slip of a count, read as one.
    pub fn of(count: &Slip) -> Counted {
        Counted { at: count.says.done_at, lot: count.says.lot }
    }

    /// Whether it told of a lot.
    pub fn covers(&self, lot: Id<Lot>) -> bool {
        self.lot.is_none_or(|counted| counted == lot)
    }
}

/// What could be poured from at an instant, which is before these counts. `later` is what has moved since. A lot that was
/// counted gives what it held then, since what a later count left of it says nothing of an earlier pour; the others give
/// what they hold now.
pub fn held_before(now: &[OnHand], later: &[Movement], counts: &[Counted]) -> Vec<OnHand> {
    let mut then = now.to_vec();
    for holding in then.iter_mut().filter(|holding| counts.iter().any(|count| count.covers(holding.lot))) {
        holding.held = holding.held - moved_since(later, holding.lot);
    }
    then
}

/// By how much a lot changed by what was done since an instant. What was taken back since and done before was never
/// done, so that its opposite is no change either.
pub fn moved_since(later: &[Movement], lot: Id<Lot>) -> Amount {
    let is_there = |id: Id<Movement>| later.iter().any(|movement| movement.id == id);
    let of_lot = later.iter().filter(|movement| movement.lot == lot);
    of_lot.filter(|movement| movement.reverses.is_none_or(is_there)).map(|movement| movement.change).sum()
}

/// What counts had found already of what left lots before them: all that left a lot, by the first count of it. What
/// that count took for lost was poured, or missing earlier, so its change of the balance shrinks by as much, and the balance
/// stays as counted.
pub fn found_of(takes: &[(Id<Lot>, Amount)], counts: &[Counted]) -> Vec<Found> {
    let found = |(lot, amount): &(Id<Lot>, Amount)| {
        let first = counts.iter().filter(|count| count.covers(*lot)).map(|count| count.at).min()?;
        Some(Found { lot: *lot, amount: *amount, counted_at: first })
    };
    takes.iter().filter_map(found).collect()
}

/// What came into a lot before counts that were told nothing of it; with the sign turned, what had come in and is taken back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Came {
    /// Into which lot.
    pub lot: Id<Lot>,
    /// How much.
    pub amount: Amount,
    /// Counts before this instant had it only if they found more than the ledger held: it may have been away meanwhile.
    pub surely_from: Option<DateTime<Utc>>,
}

/// A count, and by how much it changed each lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Adjusted {
    /// Which count.
    pub counted: Counted,
    /// The change of each lot that it tells of, in the light of all that was entered since.
    pub changed: Vec<(Id<Lot>, Amount)>,
}

/// What counts, in the order they were made, had found of what came in before them. `now` is what is held.
///
/// Each count keeps what it found: one of a lot in that lot, one of the whole product in sum. What a whole count took for
/// too much in another lot was what came, and what it missed there was never to be had: that is undone first, and the rest
/// was counted in the lot itself.
pub fn found_of_came(came: Came, counts: &[Adjusted], now: &[OnHand]) -> Vec<Found> {
    let mut off = BTreeMap::from([(came.lot, came.amount)]);
    let mut found: Vec<Found> = Vec::new();
    for count in counts {
        let counted = |lot: &Id<Lot>| count.counted.covers(*lot);
        let total: Amount = off.iter().filter(|(lot, _)| counted(lot)).map(|(_, by)| *by).sum();
        let surplus: Amount = count.changed.iter().map(|(_, by)| *by).sum();
        let is_sure = came.surely_from.is_none_or(|from| from <= count.counted.at);
        let total = if is_sure { total } else { total.min(surplus).max(Amount::ZERO) };
        let parts = match count.counted.lot {
            Some(lot) => vec![(lot, total)],
            None => {
                let of_lot = |lot: Id<Lot>| {
                    let held = now.iter().filter(|one| one.lot == lot).map(|one| one.held);
                    let since = found.iter().filter(|found| found.lot == lot).map(|found| found.amount);
                    held.chain(since).sum::<Amount>()
                };
                laid(came.lot, total, &count.changed, of_lot)
            }
        };
        for (lot, part) in parts.into_iter().filter(|(_, part)| *part != Amount::ZERO) {
            let off = off.entry(lot).or_default();
            *off = *off - part;
            found.push(Found { lot, amount: -part, counted_at: count.counted.at });
        }
    }
    found
}

/// Shares out what a whole count was off by: first among the other lots that it changed that way, as far as they can give.
fn laid(
    lot: Id<Lot>,
    total: Amount,
    changed: &[(Id<Lot>, Amount)],
    held: impl Fn(Id<Lot>) -> Amount,
) -> Vec<(Id<Lot>, Amount)> {
    let mut left = total;
    let mut parts = Vec::new();
    for (other, change) in changed.iter().filter(|(other, _)| *other != lot) {
        let part = match total.is_positive() {
            true => (*change).min(held(*other)).min(left).max(Amount::ZERO),
            false => (*change).max(left).min(Amount::ZERO),
        };
        left = left - part;
        parts.push((*other, part));
    }
    parts.push((lot, left));
    parts
}

/// What open shortages take of lots that came in at an instant. What came before something was poured was poured from: the
/// record only did not hold it yet. What came after it takes nothing, since where the pour came from stays unknown.
pub fn owed(open: &[Shortage], came: &[(Id<Lot>, Amount)], came_at: DateTime<Utc>) -> Vec<Owed> {
    let mut left = came.to_vec();
    let mut shortages: Vec<&Shortage> = open.iter().filter(|short| came_at < short.poured_at).collect();
    shortages.sort_by_key(|short| (short.poured_at, short.id));
    let takes = |short: &Shortage| {
        let mut missing = short.amount;
        let mut takes = Vec::new();
        for (lot, left) in &mut left {
            let taken = missing.min(*left);
            if taken.is_positive() {
                takes.push((*lot, taken));
                (missing, *left) = (missing - taken, *left - taken);
            }
        }
        Owed { slip: short.slip, takes }
    };
    shortages.into_iter().map(takes).filter(|owed| !owed.takes.is_empty()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Base;
    use crate::stock::testing::{day, id, lot_id};
    use crate::stock::{MovementKind, ShortageState};

    fn at(day: u32) -> DateTime<Utc> {
        format!("2031-03-{day:02}T12:00:00Z").parse().unwrap()
    }

    fn held(name: &str, held: i64) -> OnHand {
        let held = Amount::from_thousandths(held);
        OnHand { lot: lot_id(name), held, expiry: None, received_on: day("2031-03-01"), released: true }
    }

    fn moved(name: &str, change: i64) -> Movement {
        Movement {
            id: id("m"),
            slip: id("s"),
            product: id("p"),
            lot: lot_id(name),
            kind: MovementKind::CountAdjustment,
            base: Base::Volume,
            change: Amount::from_thousandths(change),
            done_at: at(9),
            reverses: None,
        }
    }

    #[test]
    fn a_lot_that_was_counted_later_gives_what_it_held_before() {
        let now = [held("A", 800), held("B", 10)];
        let later = [moved("A", -200), moved("B", -90)];
        let all = Counted { at: at(9), lot: None };
        let of_a = Counted { at: at(9), lot: Some(lot_id("A")) };
        assert_eq!(held_before(&now, &later, &[all]), [held("A", 1000), held("B", 100)]);
        assert_eq!(held_before(&now, &later, &[of_a]), [held("A", 1000), held("B", 10)]);
        assert_eq!(held_before(&now, &later, &[]), now);
        let back = Movement { id: id("back"), reverses: Some(id("m")), ..moved("A", 200) };
        assert_eq!(moved_since(&[moved("A", -200), back.clone()], lot_id("A")), Amount::ZERO);
        assert_eq!(moved_since(&[back], lot_id("A")), Amount::ZERO, "what it takes back was done before");
    }

    fn short(slip: &str, on: u32, amount: i64) -> Shortage {
        Shortage {
            id: id(slip),
            slip: id(slip),
            product: id("p"),
            base: Base::Volume,
            amount: Amount::from_thousandths(amount),
            poured_at: at(on),
            state: ShortageState::Open,
            settled_by: None,
        }
    }

    #[track_caller]
    fn check_owed(open: &[Shortage], came_on: u32, expected: &[(&str, &[(&str, i64)])]) {
        let ml = Amount::from_thousandths;
        let owed = owed(open, &[(lot_id("A"), ml(100)), (lot_id("B"), ml(50))], at(came_on));
        let takes = |takes: &[(&str, i64)]| takes.iter().map(|(lot, of)| (lot_id(lot), ml(*of))).collect();
        let expected: Vec<Owed> =
            expected.iter().map(|(slip, of)| Owed { slip: id(slip), takes: takes(of) }).collect();
        assert_eq!(owed, expected);
    }

    #[test]
    fn what_came_before_it_was_poured_was_poured_from() {
        check_owed(&[short("s", 5, 30)], 4, &[("s", &[("A", 30)])]);
        check_owed(&[short("s", 5, 30)], 5, &[]);
        check_owed(
            &[short("t", 7, 40), short("s", 5, 80)],
            4,
            &[("s", &[("A", 80)]), ("t", &[("A", 20), ("B", 20)])],
        );
        check_owed(&[short("s", 5, 500), short("t", 7, 40)], 4, &[("s", &[("A", 100), ("B", 50)])]);
    }

    #[track_caller]
    fn check_came(came: i64, changed: &[(&str, i64)], now: &[(&str, i64)], expected: &[(&str, i64)]) {
        let ml = Amount::from_thousandths;
        let changed: Vec<_> = changed.iter().map(|(lot, by)| (lot_id(lot), ml(*by))).collect();
        let now: Vec<_> = now.iter().map(|(lot, of)| held(lot, *of)).collect();
        let counted = Counted { at: at(9), lot: None };
        let came = Came { lot: lot_id("B"), amount: ml(came), surely_from: None };
        let found = found_of_came(came, &[Adjusted { counted, changed }], &now);
        let wanted = |(lot, by): &(&str, i64)| Found { lot: lot_id(lot), amount: ml(*by), counted_at: at(9) };
        assert_eq!(found, expected.iter().map(wanted).collect::<Vec<_>>());
        assert_eq!(found.iter().map(|found| found.amount).sum::<Amount>(), -came.amount);
    }

    #[test]
    fn what_a_count_had_too_much_of_was_what_came() {
        check_came(20, &[("A", 30)], &[("A", 90)], &[("A", -20)]);
        check_came(20, &[("A", 15)], &[("A", 90)], &[("A", -15), ("B", -5)]);
        check_came(20, &[("A", 15)], &[("A", 10)], &[("A", -10), ("B", -10)]);
        check_came(20, &[("A", -15), ("B", 20)], &[("A", 90)], &[("B", -20)]);
        check_came(20, &[], &[], &[("B", -20)]);
    }

    #[test]
    fn what_a_count_missed_never_came() {
        check_came(-20, &[("A", -30)], &[], &[("A", 20)]);
        check_came(-20, &[("A", -5), ("C", -5)], &[("A", 1)], &[("A", 5), ("C", 5), ("B", 10)]);
        check_came(-20, &[("A", 30)], &[("A", 90)], &[("B", 20)]);
    }

    /// Parts in thousandths, each with the day of the count that had found it.
    #[track_caller]
    fn check_walk(surely_from: Option<u32>, counts: &[Adjusted], expected: &[(u32, &str, i64)]) {
        let came =
            Came { lot: lot_id("B"), amount: Amount::from_thousandths(20), surely_from: surely_from.map(at) };
        let wanted = |(on, lot, by): &(u32, &str, i64)| Found {
            lot: lot_id(lot),
            amount: Amount::from_thousandths(*by),
            counted_at: at(*on),
        };
        let found = found_of_came(came, counts, &[held("A", 120)]);
        assert_eq!(found, expected.iter().map(wanted).collect::<Vec<_>>());
    }

    fn adjusted(on: u32, lot: Option<&str>, changed: &[(&str, i64)]) -> Adjusted {
        let changed = changed.iter().map(|(lot, by)| (lot_id(lot), Amount::from_thousandths(*by))).collect();
        Adjusted { counted: Counted { at: at(on), lot: lot.map(lot_id) }, changed }
    }

    #[test]
    fn each_count_keeps_what_it_found() {
        let whole = adjusted(9, None, &[("A", 20)]);
        let of_a = adjusted(10, Some("A"), &[("A", -20)]);
        check_walk(None, &[whole.clone(), of_a.clone()], &[(9, "A", -20), (10, "A", 20)]);
        let later = adjusted(11, None, &[]);
        check_walk(
            None,
            &[whole.clone(), of_a, later.clone()],
            &[(9, "A", -20), (10, "A", 20), (11, "B", -20)],
        );
        check_walk(None, &[whole, later], &[(9, "A", -20)]);
        check_walk(None, &[adjusted(9, Some("A"), &[("A", 5)])], &[]);
    }

    #[test]
    fn what_may_have_been_away_was_found_by_a_count_that_had_too_much() {
        check_walk(Some(12), &[adjusted(9, None, &[])], &[]);
        check_walk(Some(12), &[adjusted(9, None, &[("A", -7)])], &[]);
        check_walk(Some(12), &[adjusted(9, None, &[("A", 15)])], &[(9, "A", -15)]);
        check_walk(Some(12), &[adjusted(9, Some("B"), &[("B", 30)])], &[(9, "B", -20)]);
        check_walk(Some(9), &[adjusted(9, None, &[])], &[(9, "B", -20)]);
    }

    #[test]
    fn the_first_count_of_a_lot_found_what_was_poured_of_it() {
        let takes = [("A", 200), ("B", 100)].map(|(lot, ml)| (lot_id(lot), Amount::from_thousandths(ml)));
        let counts =
            [(9, None), (8, Some("A"))].map(|(on, lot)| Counted { at: at(on), lot: lot.map(lot_id) });
        let found = found_of(&takes, &counts);
        assert_eq!(found.iter().map(|found| found.counted_at).collect::<Vec<_>>(), [at(8), at(9)]);
        assert_eq!(found_of(&takes, &counts[1..]).len(), 1);
        assert_eq!(found_of(&takes, &[]), []);
    }
}
