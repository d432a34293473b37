//! Which lots are poured from: first expired, first out (FEFO).

use chrono::NaiveDate;

use super::{Found, Lot};
use crate::{Amount, Id};

/// A lot as it is held at a site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OnHand {
    /// Which lot.
    pub lot: Id<Lot>,
    /// How much of it is there.
    pub held: Amount,
    /// Last day on which it may be used.
    pub expiry: Option<NaiveDate>,
    /// The day it came in.
    pub received_on: NaiveDate,
    /// Not in quarantine.
    pub released: bool,
}

impl OnHand {
    /// Whether something of it may be poured on this day. The expiry day is the last usable one.
    pub fn usable(&self, on: NaiveDate) -> bool {
        self.there(on) && self.unfit(on).is_none()
    }

    /// Whether something of it was there to pour from on this day, fit or not.
    fn there(&self, on: NaiveDate) -> bool {
        self.held.is_positive() && self.received_on <= on
    }

    /// Why it may not be used on this day, if so.
    fn unfit(&self, on: NaiveDate) -> Option<Unfit> {
        match (self.released, self.expired(on)) {
            (false, _) => Some(Unfit::Quarantined),
            (true, true) => Some(Unfit::Expired),
            (true, false) => None,
        }
    }

    /// Whether its last usable day has passed.
    pub fn expired(&self, on: NaiveDate) -> bool {
        self.expiry.is_some_and(|last| last < on)
    }

    /// Sorts lots in the order in which they are poured. Lots without an expiry come last: what cannot spoil
    /// can wait. Ties go by receipt day, then by id, so that two people asking get one answer.
    pub fn pouring_order(&self) -> (NaiveDate, NaiveDate, Id<Lot>) {
        (self.expiry.unwrap_or(NaiveDate::MAX), self.received_on, self.lot)
    }
}

/// What the lots give, and what is missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drawn {
    /// From which lot how much, in pouring order.
    pub takes: Vec<(Id<Lot>, Amount)>,
    /// What no lot held: a [`Shortage`](super::Shortage) if it was poured all the same.
    pub short: Amount,
    /// What of it later counts had found missing: that is in no balance any more.
    pub found: Vec<Found>,
}

impl Drawn {
    /// Takes from the lots what they gave, but for what counts had taken from them.
    pub fn take_from(&self, lots: &mut [OnHand]) {
        let found = self.found.iter().map(|found| (found.lot, found.amount));
        for (lot, change) in self.takes.iter().map(|(lot, taken)| (*lot, -*taken)).chain(found) {
            for held in lots.iter_mut().filter(|held| held.lot == lot) {
                held.held = held.held + change;
            }
        }
    }
}

/// As much as there is, from the lots that expire first: for what has already been poured, when refusing the
/// record would only lose it.
pub fn draw_first_expiring(lots: &[OnHand], wanted: Amount, on: NaiveDate) -> Drawn {
    take_from(lots.iter().filter(|lot| lot.usable(on)).collect(), wanted)
}

/// As much as the lot that is named holds, unfit as it may be: for what has already been poured from it.
pub fn draw_named(named: &[OnHand], wanted: Amount, on: NaiveDate) -> Drawn {
    take_from(named.iter().filter(|lot| lot.there(on)).collect(), wanted)
}

fn take_from(mut lots: Vec<&OnHand>, wanted: Amount) -> Drawn {
    lots.sort_by_key(|lot| lot.pouring_order());

    let mut short = wanted.max(Amount::ZERO);
    let mut takes = Vec::new();
    for lot in lots {
        let taken = lot.held.min(short);
        if taken.is_positive() {
            takes.push((lot.lot, taken));
            short = short - taken;
        }
    }
    Drawn { takes, short, found: Vec::new() }
}

/// All of the amount, from the lots that expire first.
/// # Errors
/// [`OutOfStock`] when the lots together hold less; nothing is issued in part, since half a dose is worse than none.
pub fn issue_first_expiring(
    lots: &[OnHand],
    wanted: Amount,
    on: NaiveDate,
) -> Result<Vec<(Id<Lot>, Amount)>, OutOfStock> {
    let drawn = draw_first_expiring(lots, wanted, on);
    if drawn.short.is_positive() {
        return Err(OutOfStock { asked: wanted, held: wanted - drawn.short, unfit: None });
    }
    Ok(drawn.takes)
}

/// All of the amount, from the lot that is named.
/// # Errors
/// [`OutOfStock`] when it holds less, or may not be used: then with what it holds, and why not.
pub fn issue_named(
    named: &[OnHand],
    wanted: Amount,
    on: NaiveDate,
) -> Result<Vec<(Id<Lot>, Amount)>, OutOfStock> {
    let unfit = named.iter().filter(|lot| lot.there(on)).find_map(|lot| Some((lot, lot.unfit(on)?)));
    match unfit {
        Some((lot, why)) => Err(OutOfStock { asked: wanted, held: lot.held, unfit: Some(why) }),
        None => issue_first_expiring(named, wanted, on),
    }
}

/// Why what is held of a lot may not be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unfit {
    /// Its last usable day has passed.
    Expired,
    /// It is held back.
    Quarantined,
}

/// Less usable stock than asked for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("asked for {asked} of which {held} is in stock")]
pub struct OutOfStock {
    /// What was asked for.
    pub asked: Amount,
    /// What may be used of the stock on that day, or what a lot holds that is named and may not be used.
    pub held: Amount,
    /// Why the lot that is named may not be used.
    pub unfit: Option<Unfit>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock::testing::{Case, cases, day, lot_id};
    use proptest::prelude::*;

    fn lots_of(case: &Case) -> Vec<OnHand> {
        let given = case.inputs["lots"].as_array().unwrap();
        given
            .iter()
            .map(|lot| OnHand {
                lot: lot_id(lot["lot"].as_str().unwrap()),
                held: Amount::from_thousandths(lot["qty"].as_i64().unwrap()),
                expiry: lot["expiry"].as_str().map(day),
                received_on: day(lot["received"].as_str().unwrap()),
                released: lot["status"].as_str().unwrap_or("released") == "released",
            })
            .collect()
    }

    #[track_caller]
    fn check(case: &Case) {
        let mut lots = lots_of(case);
        let mut shorts = Vec::new();
        let issues = case.inputs["issues"].as_array().unwrap();
        for (issue, expected) in issues.iter().zip(case.expected["issues"].as_array().unwrap()) {
            let date = day(issue["date"].as_str().unwrap());
            let wanted = Amount::from_thousandths(issue["qty"].as_i64().unwrap());
            let drawn = draw_first_expiring(&lots, wanted, date);
            let takes: Vec<_> = expected["takes"]
                .as_array()
                .unwrap()
                .iter()
                .map(|take| (lot_id(take["lot"].as_str().unwrap()), take["qty"].as_i64().unwrap()))
                .collect();
            let got: Vec<_> = drawn.takes.iter().map(|(lot, taken)| (*lot, taken.thousandths())).collect();
            assert_eq!(got, takes, "{} on {date}", case.id);
            assert_eq!(issue_first_expiring(&lots, wanted, date).is_err(), drawn.short.is_positive());
            drawn.take_from(&mut lots);
            if drawn.short.is_positive() {
                shorts.push((date.to_string(), drawn.short.thousandths()));
            }
        }
        let expected_shorts: Vec<_> = case.expected["short"]
            .as_array()
            .unwrap()
            .iter()
            .map(|short| (short["date"].as_str().unwrap().to_owned(), short["qty"].as_i64().unwrap()))
            .collect();
        assert_eq!(shorts, expected_shorts, "{}", case.id);
        for (name, left) in case.expected["left"].as_object().unwrap() {
            let held = lots.iter().find(|held| held.lot == lot_id(name)).unwrap().held;
            assert_eq!(held.thousandths(), left.as_i64().unwrap(), "{} leaves {name}", case.id);
        }
    }

    #[test]
    fn the_lot_that_expires_first_is_emptied_first() {
        cases("fefo").iter().for_each(check);
    }

    #[test]
    fn quarantined_lots_are_never_poured() {
        let held = Amount::from_thousandths(10);
        let received_on = day("2031-01-01");
        let lot = OnHand { lot: lot_id("Q1"), held, expiry: None, received_on, released: false };
        let refused = issue_first_expiring(&[lot], held, day("2031-01-02"));
        assert_eq!(refused, Err(OutOfStock { asked: held, held: Amount::ZERO, unfit: None }));
    }

    #[test]
    fn a_lot_that_is_named_is_drawn_down_though_it_is_unfit_and_refused_with_its_balance() {
        let (held, wanted) = (Amount::from_thousandths(10), Amount::from_thousandths(15));
        let expired = OnHand {
            lot: lot_id("E1"),
            held,
            expiry: Some(day("2031-01-01")),
            received_on: day("2031-01-01"),
            released: true,
        };
        let kept_back = OnHand { expiry: None, released: false, ..expired.clone() };
        let today = day("2031-01-02");
        for (lot, why) in [(expired, Unfit::Expired), (kept_back, Unfit::Quarantined)] {
            let named = [lot];
            let short = Amount::from_thousandths(5);
            let drawn = Drawn { takes: vec![(lot_id("E1"), held)], short, found: Vec::new() };
            assert_eq!(draw_named(&named, wanted, today), drawn);
            let refused = Err(OutOfStock { asked: wanted, held, unfit: Some(why) });
            assert_eq!(issue_named(&named, wanted, today), refused);
            assert_eq!(draw_named(&named, wanted, day("2030-12-31")).short, wanted, "it had not come yet");
        }
    }

    proptest! {
        #[test]
        fn what_is_taken_and_what_is_missing_make_what_was_wanted(
            held in proptest::collection::vec((0_i64..500, 0_u64..20, any::<bool>()), 0..8),
            wanted in 0_i64..3_000,
        ) {
            let today = day("2031-01-10");
            let lots: Vec<OnHand> = held.iter().enumerate().map(|(number, (held, days, released))| OnHand {
                lot: lot_id(&number.to_string()),
                held: Amount::from_thousandths(*held),
                expiry: Some(day("2031-01-01") + chrono::Days::new(*days)),
                received_on: day("2031-01-01"),
                released: *released,
            }).collect();
            let drawn = draw_first_expiring(&lots, Amount::from_thousandths(wanted), today);
            let taken: Amount = drawn.takes.iter().map(|(_, taken)| *taken).sum();
            prop_assert_eq!((taken + drawn.short).thousandths(), wanted);
            for (lot, taken) in drawn.takes {
                let source = lots.iter().find(|known| known.lot == lot).unwrap();
                prop_assert!(source.usable(today) && taken <= source.held && taken.is_positive());
            }
        }
    }
}
