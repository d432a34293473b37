//! Counts: what was found, laid over the lots of the ledger.

use super::{Lot, OnHand};
use crate::code::coded;
use crate::{Amount, Id};

coded! {
    /// Which products somebody goes out to count.
    CountKind {
        /// All that is held.
        Full = "full",
        /// A few, those first whose count tells most: done often, it finds a slip while people still remember.
        Rotating = "rotating",
    }
}

coded! {
    /// Why a product is to be counted; the more urgent one first.
    WhyCount {
        /// More was poured than the record held: it is known to be wrong.
        Short = "short",
        /// Nobody ever counted it.
        NeverCounted = "never_counted",
        /// So much value moved since it was counted last.
        Moved = "moved",
    }
}

coded! {
    /// What a difference that a count found may come from.
    DifferenceKind {
        /// No more than measuring out doses leaves.
        Measuring = "measuring",
        /// Something had come in without a receipt.
        NotReceived = "not_received",
        /// What a tank shows is not what was recorded.
        Tank = "tank",
    }
}

/// The change of each lot's balance by which the lots together hold what was counted. `then` is what they held when it
/// was counted, `now` what is held of the same lots since.
///
/// What is missing is taken from the lots that are poured first, as it would have been, and from none of them more than
/// is left: what was poured from it since was there when it was counted. What is too much goes to the lot that is being
/// poured from: less of it was used than the record says. Quarantined and expired lots were counted with the others,
/// since they stand on the same shelf.
/// # Errors
/// [`NotCounted`] when something was found though the site never held a lot of it, or less than was taken since.
pub fn spread_count(
    then: &[OnHand],
    now: &[OnHand],
    counted: Amount,
) -> Result<Vec<(Id<Lot>, Amount)>, NotCounted> {
    let mut lots: Vec<&OnHand> = then.iter().collect();
    lots.sort_by_key(|lot| (!lot.held.is_positive(), lot.pouring_order()));
    let held: Amount = lots.iter().map(|lot| lot.held).sum();
    let surplus = counted - held;
    if surplus.is_positive() {
        let open = lots.first().ok_or(NotCounted::NoLot)?;
        return Ok(vec![(open.lot, surplus)]);
    }
    let mut missing = -surplus;
    let mut changes = Vec::new();
    for lot in lots {
        let left: Amount = now.iter().filter(|left| left.lot == lot.lot).map(|left| left.held).sum();
        let taken = lot.held.min(left).min(missing);
        if taken.is_positive() {
            changes.push((lot.lot, -taken));
            missing = missing - taken;
        }
    }
    if missing.is_positive() { Err(NotCounted::TakenSince) } else { Ok(changes) }
}

/// Why a count cannot be laid over the lots.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotCounted {
    /// Something was found of which the site never held a lot.
    #[error("no lot of it was ever received here, so enter what was found as a receipt")]
    NoLot,
    /// More was taken after the count than it leaves.
    #[error("more was taken since than the count found; count again")]
    TakenSince,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock::testing::{day, lot_id};
    use proptest::prelude::*;

    fn lots(held: &[(&str, i64, Option<&str>)]) -> Vec<OnHand> {
        held.iter()
            .map(|(name, held, expiry)| OnHand {
                lot: lot_id(name),
                held: Amount::from_thousandths(*held),
                expiry: expiry.map(day),
                received_on: day("2031-01-01"),
                released: true,
            })
            .collect()
    }

    #[track_caller]
    fn check(held: &[(&str, i64, Option<&str>)], counted: i64, changes: Option<&[(&str, i64)]>) {
        check_later(held, held, counted, changes);
    }

    #[track_caller]
    fn check_later(
        held: &[(&str, i64, Option<&str>)],
        left: &[(&str, i64, Option<&str>)],
        counted: i64,
        changes: Option<&[(&str, i64)]>,
    ) {
        let got = spread_count(&lots(held), &lots(left), Amount::from_thousandths(counted)).ok();
        let wanted = changes.map(|changes| {
            changes.iter().map(|(name, by)| (lot_id(name), Amount::from_thousandths(*by))).collect::<Vec<_>>()
        });
        assert_eq!(got, wanted, "{held:?} counted {counted}");
    }

    #[test]
    fn what_is_missing_was_poured_first_expiring_first() {
        let held = [("B", 500, Some("2031-09-01")), ("A", 200, Some("2031-06-01")), ("C", 100, None)];
        check(&held, 800, Some(&[]));
        check(&held, 500, Some(&[("A", -200), ("B", -100)]));
        check(&held, 0, Some(&[("A", -200), ("B", -500), ("C", -100)]));
    }

    #[test]
    fn what_is_too_much_is_in_the_lot_being_poured_from() {
        check(&[("B", 500, Some("2031-09-01")), ("A", 200, Some("2031-06-01"))], 750, Some(&[("A", 50)]));
        check(&[("B", 500, Some("2031-09-01")), ("A", 0, Some("2031-06-01"))], 550, Some(&[("B", 50)]));
        check(&[("A", 0, None)], 5, Some(&[("A", 5)]));
        check(&[], 5, None);
        check(&[], 0, Some(&[]));
    }

    #[test]
    fn what_was_poured_since_was_there_when_it_was_counted() {
        let (a, b) = (("A", 500, Some("2031-06-01")), ("B", 1000, Some("2031-09-01")));
        let left = [("A", 300, a.2), b];
        check_later(&[a, b], &left, 1400, Some(&[("A", -100)]));
        check_later(&[a, b], &left, 1050, Some(&[("A", -300), ("B", -150)]));
        check_later(&[a, b], &left, 200, Some(&[("A", -300), ("B", -1000)]));
        check_later(&[a, b], &left, 199, None);
        check_later(&[a], &[("A", 500, a.2), b], 0, Some(&[("A", -500)])); // what came in since stays
        check_later(&[a, ("B", 0, b.2)], &left, 200, Some(&[("A", -300)]));
    }

    proptest! {
        #[test]
        fn after_a_count_the_lots_hold_what_was_counted(
            held in proptest::collection::vec(0_i64..500, 1..6), counted in 0_i64..3_000,
        ) {
            let lots: Vec<OnHand> = held.iter().enumerate().map(|(number, held)| OnHand {
                lot: lot_id(&number.to_string()),
                held: Amount::from_thousandths(*held),
                expiry: None,
                received_on: day("2031-01-01"),
                released: number % 2 == 0,
            }).collect();
            let changes = spread_count(&lots, &lots, Amount::from_thousandths(counted)).unwrap();
            let change: Amount = changes.iter().map(|(_, by)| *by).sum();
            let total: i64 = held.iter().sum();
            prop_assert_eq!(total + change.thousandths(), counted);
            for (lot, by) in changes {
                let before = lots.iter().find(|held| held.lot == lot).unwrap().held;
                prop_assert!(before + by >= Amount::ZERO);
            }
        }
    }
}
