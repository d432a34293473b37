//! Additions keyed a thousand times off: litres taken for millilitres, or the other way round.

use std::collections::BTreeMap;

use fillmark_domain::stock::Product;
use fillmark_domain::{Amount, Id};

use super::answer::SuspectedAddition;
use super::question::{Addition, Question, Reason};

/// So many times the usual is no generous pour any more, and a thousandfold slip of unit lies far beyond it:
/// the geometric middle between 1 and 1000 is 32, and 50 leaves room for a small tank top-up.
const FACTOR: i64 = 50;

/// A slip between mL and L, or g and kg.
const SLIP: i64 = 1_000;

/// The additions of each tank with suspected slips of unit undone, and the list of them to be shown to a person.
pub(super) fn without_slips_of_unit(question: &Question) -> (Vec<Vec<Addition>>, Vec<SuspectedAddition>) {
    let mut suspected = Vec::new();
    let records = question
        .tanks
        .iter()
        .enumerate()
        .map(|(tank, asked)| {
            let usual = medians(&asked.additions);
            asked
                .additions
                .iter()
                .filter(|addition| addition.on < question.today)
                .map(|addition| {
                    let usual = usual[&(addition.product, addition.reason)];
                    let reckoned = reckoned(addition.amount, usual);
                    if reckoned != addition.amount {
                        suspected.push(SuspectedAddition {
                            tank,
                            product: addition.product,
                            on: addition.on,
                            reason: addition.reason,
                            recorded: addition.amount,
                            reckoned,
                            usual,
                        });
                    }
                    Addition { amount: reckoned, ..*addition }
                })
                .collect()
        })
        .collect();
    (records, suspected)
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

fn medians(additions: &[Addition]) -> BTreeMap<(Id<Product>, Reason), Amount> {
    let mut groups: BTreeMap<(Id<Product>, Reason), Vec<Amount>> = BTreeMap::new();
    for addition in additions {
        groups.entry((addition.product, addition.reason)).or_default().push(addition.amount);
    }
    groups
        .into_iter()
        .map(|(key, mut amounts)| {
            amounts.sort();
            (key, amounts[amounts.len() / 2])
        })
        .collect()
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
}
