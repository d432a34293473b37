//! Whole packs: nobody sells 3.4 of them.

use crate::Amount;

/// So many packs and what they hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Packs {
    /// How many.
    pub count: i64,
    /// What they hold together.
    pub amount: Amount,
}

/// The fewest packs that hold what is needed and no less than the minimum. A maximum (what can be used before
/// it expires) wins over both: it is rounded down, and may leave none.
///
/// Nothing needed is nothing ordered, whatever the minimum. Integers throughout: in floating point 0.3 L in
/// packs of 0.1 L would be four.
pub fn whole_packs(need: Amount, pack: Amount, minimum: Amount, maximum: Option<Amount>) -> Packs {
    packs(need, pack, minimum, maximum, fewest_for)
}

/// The packs that come nearest to what is needed, half a pack rounded up: for what need not be covered in full. Minimum and maximum
/// as for [`whole_packs`], but where not even half a pack is needed nothing is ordered.
pub fn nearest_packs(need: Amount, pack: Amount, minimum: Amount, maximum: Option<Amount>) -> Packs {
    packs(need, pack, minimum, maximum, |need, pack| need / pack + i64::from(need % pack >= pack - pack / 2))
}

fn packs(
    need: Amount,
    pack: Amount,
    minimum: Amount,
    maximum: Option<Amount>,
    count_for: impl Fn(i64, i64) -> i64,
) -> Packs {
    if !need.is_positive() || !pack.is_positive() {
        return Packs::default();
    }
    let pack = pack.thousandths();
    let mut count = count_for(need.thousandths(), pack);
    if count > 0 {
        count = count.max(fewest_for(minimum.thousandths(), pack));
    }
    if let Some(maximum) = maximum {
        count = count.min(maximum.thousandths().max(0) / pack);
    }
    Packs { count, amount: Amount::from_thousandths(count * pack) }
}

fn fewest_for(amount: i64, pack: i64) -> i64 {
    amount / pack + i64::from(amount % pack > 0)
}

/// Levels of stock on hand and on order at which a product is ordered, may join an order, and is filled up to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReorderLevels {
    /// At or below this it makes an order necessary.
    pub must: i64,
    /// At or below this it joins an order that another product made necessary.
    pub may: i64,
    /// What an order fills up to.
    pub up_to: i64,
}

/// What to order of each product of one supplier, from their levels and positions (on hand, on order, less owed):
/// the can-order rule, see Silver, Pyke and Thomas, "Inventory and Production Management in Supply Chains",
/// the chapter on coordinated items. One freight is shared, and the second order a week later is saved.
pub fn order_together(items: &[(ReorderLevels, i64)]) -> Vec<i64> {
    let necessary = items.iter().any(|(levels, position)| *position <= levels.must);
    items
        .iter()
        .map(|(levels, position)| match necessary && *position <= levels.may {
            true => levels.up_to - position,
            false => 0,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock::testing::{Case, cases};
    use proptest::prelude::*;

    #[track_caller]
    fn check(case: &Case) {
        let litres = |name: &str| case.inputs[name].as_f64().map(|litres| Amount::rounded(litres * 1_000.0));
        let got = whole_packs(
            litres("need").unwrap(),
            litres("pack").unwrap(),
            litres("min_order").unwrap_or_default(),
            litres("max_order"),
        );
        assert_eq!(got.count, case.expected["packs"].as_i64().unwrap(), "{}", case.id);
        assert_eq!(
            got.amount,
            Amount::rounded(case.expected["qty"].as_f64().unwrap() * 1_000.0),
            "{}",
            case.id
        );
    }

    #[test]
    fn packs_are_whole_and_cover_the_need() {
        cases("pack_round").iter().for_each(check);
    }

    #[test]
    fn a_product_near_its_level_joins_the_order_of_another() {
        for case in cases("can_order") {
            let items = case.inputs["items"].as_object().unwrap();
            let of = |name: &str, level: &str| items[name][level].as_i64().unwrap();
            let given: Vec<_> = items
                .keys()
                .map(|name| {
                    let levels =
                        ReorderLevels { must: of(name, "s"), may: of(name, "c"), up_to: of(name, "S") };
                    (levels, case.inputs["positions"][name].as_i64().unwrap())
                })
                .collect();
            let expected: Vec<_> =
                items.keys().map(|name| case.expected["order"][name].as_i64().unwrap()).collect();
            assert_eq!(order_together(&given), expected, "{}", case.id);
        }
    }

    #[track_caller]
    fn check_nearest(need: i64, minimum: i64, count: i64) {
        let [need, pack, minimum] = [need, 5, minimum].map(Amount::from_thousandths);
        assert_eq!(nearest_packs(need, pack, minimum, None).count, count);
    }

    #[test]
    fn the_nearest_packs_round_half_up_and_order_nothing_for_less() {
        check_nearest(12, 0, 2);
        check_nearest(13, 0, 3);
        check_nearest(2, 20, 0);
        check_nearest(3, 20, 4);
        let half =
            nearest_packs(Amount::from_thousandths(5), Amount::from_thousandths(10), Amount::ZERO, None);
        assert_eq!(half.count, 1);
    }

    proptest! {
        #[test]
        fn packs_hold_the_need_and_less_than_one_pack_more(need in 1_i64..1_000_000, pack in 1_i64..50_000) {
            let got = whole_packs(
                Amount::from_thousandths(need), Amount::from_thousandths(pack), Amount::ZERO, None,
            );
            prop_assert!((need..need + pack).contains(&got.amount.thousandths()));
            prop_assert_eq!(got.count * pack, got.amount.thousandths());
        }
    }
}
