//! What was poured before a count and entered after it: the count had found it.

use chrono::{DateTime, Utc};

use super::{Lot, Movement, OnHand};
use crate::{Amount, Id};

/// A count that stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counted {
    /// When it was made.
    pub at: DateTime<Utc>,
    /// Of this lot only; nothing when all lots were counted.
    pub lot: Option<Id<Lot>>,
}

/// What a count found missing of a lot before it was told where it went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Found {
    /// Of which lot.
    pub lot: Id<Lot>,
    /// How much of what is drawn.
    pub amount: Amount,
    /// When it was counted.
    pub counted_at: DateTime<Utc>,
}

impl Counted {
    fn covers(&self, lot: Id<Lot>) -> bool {
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

/// What counts had found already of what is drawn before them: all that is drawn of a lot, by the first count of it. What
/// that count took for lost was poured, so its change of the balance shrinks by as much, and the balance stays as counted.
pub fn found_of(takes: &[(Id<Lot>, Amount)], counts: &[Counted]) -> Vec<Found> {
    let found = |(lot, amount): &(Id<Lot>, Amount)| {
        let first = counts.iter().filter(|count| count.covers(*lot)).map(|count| count.at).min()?;
        Some(Found { lot: *lot, amount: *amount, counted_at: first })
    };
    takes.iter().filter_map(found).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Base;
    use crate::stock::MovementKind;
    use crate::stock::testing::{day, id, lot_id};

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
