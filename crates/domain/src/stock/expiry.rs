//! What will spoil: stock that expires before it is used.

use chrono::NaiveDate;

use super::{Lot, OnHand, draw_first_expiring};
use crate::{Amount, Id};

/// What is left of a lot after its last usable day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WriteOff {
    /// Of which lot.
    pub lot: Id<Lot>,
    /// How much.
    pub amount: Amount,
    /// The first day on which it may not be used any more.
    pub on: NaiveDate,
}

/// What becomes of stock that is used day by day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spoilage {
    /// What spoils, in order of time.
    pub write_offs: Vec<WriteOff>,
    /// The first day on which nothing usable is left or the use is more than what is; none while it lasts.
    pub first_short_day: Option<NaiveDate>,
}

/// Uses up lots first-expiring-first, one whole day after the other from a first day on, until the uses end or
/// the stock does. Lots in quarantine take no part: whether they come back is not known.
pub fn spoilage(lots: &[OnHand], uses: impl IntoIterator<Item = Amount>, from: NaiveDate) -> Spoilage {
    let mut lots: Vec<OnHand> = lots.iter().filter(|lot| lot.released).cloned().collect();
    let mut write_offs = Vec::new();
    for (day, wanted) in from.iter_days().zip(uses) {
        for lot in lots.iter_mut().filter(|lot| lot.held.is_positive() && lot.expired(day)) {
            write_offs.push(WriteOff { lot: lot.lot, amount: lot.held, on: day });
            lot.held = Amount::ZERO;
        }
        let nothing_left = !lots.iter().any(|lot| lot.held.is_positive());
        let drawn = draw_first_expiring(&lots, wanted, day);
        if nothing_left || drawn.short.is_positive() {
            return Spoilage { write_offs, first_short_day: Some(day) };
        }
        for (id, taken) in drawn.takes {
            for lot in lots.iter_mut().filter(|lot| lot.lot == id) {
                lot.held = lot.held - taken;
            }
        }
    }
    Spoilage { write_offs, first_short_day: None }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock::testing::{Case, cases, day, lot_id};
    use proptest::prelude::*;

    #[track_caller]
    fn check(case: &Case) {
        let start = day(case.inputs["start"].as_str().unwrap());
        let given = case.inputs["lots"].as_array().unwrap();
        let lots: Vec<OnHand> = given
            .iter()
            .map(|lot| OnHand {
                lot: lot_id(lot["lot"].as_str().unwrap()),
                held: Amount::from_thousandths(lot["qty"].as_i64().unwrap()),
                expiry: lot["expiry"].as_str().map(day),
                received_on: start,
                released: true,
            })
            .collect();
        let daily = Amount::from_thousandths(case.inputs["daily_use"].as_i64().unwrap());
        let got = spoilage(&lots, std::iter::repeat_n(daily, 5_000), start);

        let short_day = case.expected["first_short_day"].as_str().map(day);
        assert_eq!(got.first_short_day, short_day, "{}", case.id);
        let expected = case.expected["write_off"].as_object().unwrap();
        assert_eq!(got.write_offs.len(), expected.len(), "{}", case.id);
        for (name, amount) in expected {
            let found = got.write_offs.iter().find(|spoilt| spoilt.lot == lot_id(name)).unwrap();
            assert_eq!(found.amount.thousandths(), amount.as_i64().unwrap(), "{} {name}", case.id);
        }
    }

    #[test]
    fn what_is_left_after_the_expiry_day_is_written_off() {
        cases("expiry_write_off").iter().for_each(check);
    }

    proptest! {
        #[test]
        fn no_more_spoils_than_was_held(
            held in proptest::collection::vec((1_i64..500, 0_u64..40), 1..6),
            daily in 0_i64..100,
        ) {
            let start = day("2031-01-01");
            let lots: Vec<OnHand> = held.iter().enumerate().map(|(number, (held, days))| OnHand {
                lot: lot_id(&number.to_string()),
                held: Amount::from_thousandths(*held),
                expiry: Some(start + chrono::Days::new(*days)),
                received_on: start,
                released: true,
            }).collect();
            let got = spoilage(&lots, std::iter::repeat_n(Amount::from_thousandths(daily), 60), start);
            let spoilt: i64 = got.write_offs.iter().map(|spoilt| spoilt.amount.thousandths()).sum();
            let total: i64 = held.iter().map(|(held, _)| held).sum();
            prop_assert!(spoilt <= total);
            if let Some(end) = got.first_short_day {
                let days = (end - start).num_days();
                prop_assert!(total - spoilt <= daily * (days + 1));
            }
        }
    }
}
