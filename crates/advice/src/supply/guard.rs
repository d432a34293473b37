//! Additions keyed a thousand times off (litres taken for millilitres, or the other way round), and additions entered
//! twice.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use fillmark_domain::stock::Product;
use fillmark_domain::{Amount, Id};

use super::answer::SuspectedAddition;
use super::question::{Addition, Question, Reason};

/// So many times the usual is no generous pour any more, and a thousandfold slip of unit lies far beyond it:
/// the geometric middle between 1 and 1000 is 32, and 50 leaves room for a small tank top-up.
const FACTOR: i64 = 50;

/// A slip between mL and L, or g and kg.
const SLIP: i64 = 1_000;

/// Days with a pour before it is known how often a day something is poured; our own judgement.
const KNOWN_DAYS: usize = 8;

/// Different amounts on one day, on more than one in so many days, tell of people who pour more than once a day; our own
/// judgement.
const SELDOM: usize = 10;

/// Equal amounts on more than one in so many days are how the tank is looked after and no slip; our own judgement.
const NO_SLIP: usize = 4;

/// The additions of each tank with suspected slips of unit undone and suspected doubles left out, and the list of both to
/// be shown to a person.
pub(super) fn without_slips(question: &Question) -> (Vec<Vec<Addition>>, Vec<SuspectedAddition>) {
    let mut suspected = Vec::new();
    let mut records = Vec::new();
    for (tank, asked) in question.tanks.iter().enumerate() {
        let (mut all, places) = usual(&asked.additions);
        let mut kept = Vec::with_capacity(asked.additions.len());
        let each = asked.additions.iter().zip(places);
        for (addition, place) in each.filter(|(addition, _)| addition.on < question.today) {
            let usual = &mut all[place];
            let double = usual.take_double(addition);
            let reckoned = if double { Amount::ZERO } else { reckoned(addition.amount, usual.amount) };
            if reckoned != addition.amount {
                suspected.push(SuspectedAddition {
                    tank,
                    product: addition.product,
                    on: addition.on,
                    reason: addition.reason,
                    recorded: addition.amount,
                    reckoned,
                    usual: usual.amount,
                });
            }
            if !double {
                kept.push(Addition { amount: reckoned, ..*addition });
            }
        }
        records.push(kept);
    }
    (records, suspected)
}

/// How one product is poured into one tank for one reason.
struct Usual {
    /// The median.
    amount: Amount,
    /// Entries to be left out, each of which has an equal beside it that counts.
    doubles: Vec<(NaiveDate, Amount)>,
}

impl Usual {
    fn of(reason: Reason, mut poured: Vec<(NaiveDate, Amount)>) -> Usual {
        poured.sort();
        let doubles = if is_poured_in_parts(reason) { Vec::new() } else { doubles(&poured) };
        let mut amounts: Vec<Amount> = poured.into_iter().map(|(_, amount)| amount).collect();
        let middle = amounts.len() / 2;
        let (_, amount, _) = amounts.select_nth_unstable(middle);
        Usual { amount: *amount, doubles }
    }

    /// Whether an addition is to be left out; which of two equal ones it is makes no difference.
    fn take_double(&mut self, addition: &Addition) -> bool {
        let place = self.doubles.iter().position(|double| *double == (addition.on, addition.amount));
        place.map(|place| self.doubles.swap_remove(place)).is_some()
    }
}

/// A correction goes in by equal parts with a measurement between, so that equal entries are no slip.
fn is_poured_in_parts(reason: Reason) -> bool {
    match reason {
        Reason::Ph | Reason::Strength => true,
        Reason::Change | Reason::TopUp => false,
    }
}

/// The entries beyond the first of equal ones on a day, where one pour a day is the rule and equal ones are rare. Of what
/// was `poured`, in order.
fn doubles(poured: &[(NaiveDate, Amount)]) -> Vec<(NaiveDate, Amount)> {
    let (mut days, mut several, mut doubles) = (0, 0, Vec::new());
    for day in poured.chunk_by(|one, next| one.0 == next.0) {
        days += 1;
        several += usize::from(day.first() != day.last());
        doubles.extend(day.windows(2).filter(|pair| pair[0] == pair[1]).map(|pair| pair[1]));
    }
    let known = days >= KNOWN_DAYS && several * SELDOM <= days && doubles.len() * NO_SLIP <= days;
    if known { doubles } else { Vec::new() }
}

fn reckoned(amount: Amount, usual: Amount) -> Amount {
    let (poured, usual) = (amount.thousandths(), usual.thousandths());
    if usual <= 0 || poured <= 0 {
        return amount;
    }
    if poured > usual.saturating_mul(FACTOR) {
        return Amount::from_thousandths(poured / SLIP);
    }
    if poured.saturating_mul(FACTOR) < usual {
        return Amount::from_thousandths(poured.saturating_mul(SLIP));
    }
    amount
}

/// How products are poured, and the place in it of each addition: with two years of them, looking for each only once tells.
fn usual(additions: &[Addition]) -> (Vec<Usual>, Vec<usize>) {
    let mut known: BTreeMap<(Id<Product>, Reason), usize> = BTreeMap::new();
    let mut groups: Vec<(Reason, Vec<(NaiveDate, Amount)>)> = Vec::new();
    let mut places = Vec::with_capacity(additions.len());
    for addition in additions {
        let place = *known.entry((addition.product, addition.reason)).or_insert(groups.len());
        if place == groups.len() {
            groups.push((addition.reason, Vec::new()));
        }
        groups[place].1.push((addition.on, addition.amount));
        places.push(place);
    }
    (groups.into_iter().map(|(reason, poured)| Usual::of(reason, poured)).collect(), places)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(poured_ml: f64, usual_ml: f64, reckoned_ml: f64) {
        assert_eq!(
            reckoned(Amount::rounded(poured_ml), Amount::rounded(usual_ml)),
            Amount::rounded(reckoned_ml)
        );
    }

    #[test]
    fn a_thousandfold_slip_is_undone_and_a_large_pour_is_not() {
        check(120_000.0, 110.0, 120.0);
        check(0.12, 110.0, 120.0);
        check(900.0, 110.0, 900.0);
        check(2.0, 0.0, 2.0);
    }

    /// How many are left out of what was poured, by day and mL.
    #[track_caller]
    fn check_doubles(reason: Reason, poured: &[(u64, f64)], left_out: usize) {
        let first = NaiveDate::from_ymd_opt(2031, 3, 3).unwrap();
        let on = |day: u64| first + chrono::Days::new(day);
        let poured = poured.iter().map(|(day, ml)| (on(*day), Amount::rounded(*ml)));
        assert_eq!(Usual::of(reason, poured.collect()).doubles.len(), left_out);
    }

    /// So many days with one pour of another amount each.
    fn one_a_day(days: u64) -> Vec<(u64, f64)> {
        (0..days).map(|day| (day, 100.0 + day as f64)).collect()
    }

    #[test]
    fn an_addition_entered_twice_is_left_out_once() {
        let entered = |again: &[(u64, f64)]| [&one_a_day(8), again].concat();
        check_doubles(Reason::TopUp, &entered(&[]), 0);
        check_doubles(Reason::TopUp, &entered(&[(3, 103.0)]), 1);
        check_doubles(Reason::Change, &entered(&[(3, 103.0), (3, 103.0)]), 2);
        check_doubles(Reason::TopUp, &entered(&[(3, 104.0)]), 0);
    }

    #[test]
    fn equal_additions_count_where_it_is_not_known_that_one_a_day_is_the_rule() {
        check_doubles(Reason::TopUp, &[&one_a_day(7)[..], &[(3, 103.0)]].concat(), 0);
        let topped_up_twice: Vec<(u64, f64)> = (0..8).map(|day| (day, 90.0)).collect();
        check_doubles(Reason::TopUp, &[&one_a_day(8)[..], &topped_up_twice, &[(3, 90.0)]].concat(), 0);
    }

    #[test]
    fn equal_additions_count_where_they_are_the_rule_and_where_they_correct() {
        let both: Vec<(u64, f64)> = [one_a_day(8), one_a_day(3)].concat();
        check_doubles(Reason::TopUp, &both, 0);
        check_doubles(Reason::Ph, &[&one_a_day(20)[..], &[(3, 103.0)]].concat(), 0);
    }
}
