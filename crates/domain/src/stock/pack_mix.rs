//! The cheapest packs of several sizes that hold what is needed together.

use crate::Amount;

/// Mixes looked at before the best found so far is kept. Suppliers sell a product in a handful of sizes, of which some hundred
/// mixes are worth a look; a list that needs more is no list of packs.
const LOOKS: u32 = 1_000_000;

/// A pack that can be bought, any number of times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PackPrice {
    /// What it holds.
    pub pack: Amount,
    /// What it costs, minor units of the one currency of all packs.
    pub price_minor: i64,
    /// So many of it must be bought, where any is: a price break is the same pack once more, cheaper from a number on.
    pub minimum: i64,
}

/// So many of each pack.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackMix {
    /// How many of each, in the order they were given in.
    pub counts: Vec<i64>,
    /// What they hold together.
    pub amount: Amount,
    /// What they cost together, minor units.
    pub price_minor: i64,
}

/// The cheapest packs that hold what is needed and no more than a maximum (what can be used before it expires); of those that cost
/// the same the ones that hold the least, of those the fewest. Exact in integers: neither the largest packs first nor the lowest
/// price per litre first is always cheapest. None where something is needed and no packs hold it.
pub fn cheapest_mix(need: Amount, packs: &[PackPrice], maximum: Option<Amount>) -> Option<PackMix> {
    let mut search = Search::among(packs, maximum);
    search.descend(0, Mix { lacking: i128::from(need.thousandths().max(0)), ..Mix::default() });
    let (_, counts) = search.best?;
    let total = |of: fn(&PackPrice) -> i64| -> i64 {
        packs.iter().zip(&counts).map(|(pack, count)| of(pack).saturating_mul(*count)).sum()
    };
    Some(PackMix {
        amount: Amount::from_thousandths(total(|pack| pack.pack.thousandths())),
        price_minor: total(|pack| pack.price_minor),
        counts,
    })
}

/// A pack by its place in the list, in thousandths and minor units.
struct Kind {
    place: usize,
    size: i128,
    price: i128,
    minimum: i128,
    /// The largest pack among this and the dearer ones.
    largest_left: i128,
}

/// A mix as far as it was chosen.
#[derive(Debug, Clone, Copy, Default)]
struct Mix {
    lacking: i128,
    price: i128,
    amount: i128,
    packs: i128,
}

/// What is compared of mixes, first to last: price, amount, number of packs.
type Rank = (i128, i128, i128);

/// Kinds by price per litre, the cheapest first: what is still lacking then costs at least the price of the kind at hand, and
/// a mix that cannot come below the best is left alone.
struct Search {
    kinds: Vec<Kind>,
    counts: Vec<i64>,
    maximum: i128,
    best: Option<(Rank, Vec<i64>)>,
    looks: u32,
}

impl Search {
    fn among(packs: &[PackPrice], maximum: Option<Amount>) -> Search {
        let usable = |(_, pack): &(usize, &PackPrice)| pack.pack.is_positive() && pack.price_minor >= 0;
        let mut kinds: Vec<Kind> = packs
            .iter()
            .enumerate()
            .filter(usable)
            .map(|(place, pack)| {
                let size = i128::from(pack.pack.thousandths());
                let (price, minimum) = (i128::from(pack.price_minor), i128::from(pack.minimum));
                Kind { place, size, price, minimum, largest_left: size }
            })
            .collect();
        kinds.sort_by(|one, other| {
            (one.price * other.size).cmp(&(other.price * one.size)).then(other.size.cmp(&one.size))
        });
        let mut largest = 0;
        for kind in kinds.iter_mut().rev() {
            largest = largest.max(kind.size);
            kind.largest_left = largest;
        }
        let maximum = maximum.map_or(i128::MAX, |maximum| i128::from(maximum.thousandths()));
        Search { kinds, counts: vec![0; packs.len()], maximum, best: None, looks: 0 }
    }

    fn descend(&mut self, place: usize, mix: Mix) {
        if mix.lacking <= 0 {
            let rank = (mix.price, mix.amount, mix.packs);
            if mix.amount <= self.maximum && self.best.as_ref().is_none_or(|(best, _)| rank < *best) {
                self.best = Some((rank, self.counts.clone()));
            }
            return;
        }
        let Some(Kind { place: listed, size, price, minimum, .. }) = self.kinds.get(place) else { return };
        let (listed, size, price, minimum) = (*listed, *size, *price, *minimum);
        let most = div_up(mix.lacking, size).max(minimum);
        for count in (minimum.max(1)..=most).rev().chain([0]) {
            self.looks = self.looks.saturating_add(1);
            if self.looks > LOOKS && (self.best.is_some() || self.maximum < i128::MAX) {
                break;
            }
            let next = Mix {
                lacking: mix.lacking - count * size,
                price: mix.price + count * price,
                amount: mix.amount + count * size,
                packs: mix.packs + count,
            };
            if !self.may_be_best(place + 1, next) {
                // With fewer of the cheaper kind it can only get dearer, unless this many held more than is lacking.
                if next.lacking >= 0 && self.is_dearer(place + 1, next) {
                    break;
                }
                continue;
            }
            self.counts[listed] = i64::try_from(count).unwrap_or(i64::MAX);
            self.descend(place + 1, next);
        }
        self.counts[listed] = 0;
    }

    /// The least that a mix completed with the kinds from here on can come to; none where nothing can complete it.
    fn at_least(&self, place: usize, mix: Mix) -> Option<Rank> {
        let lacking = mix.lacking.max(0);
        let Some(kind) = self.kinds.get(place) else {
            return (lacking == 0).then_some((mix.price, mix.amount, mix.packs));
        };
        Some((
            mix.price + div_up(lacking * kind.price, kind.size),
            mix.amount + lacking,
            mix.packs + div_up(lacking, kind.largest_left),
        ))
    }

    fn may_be_best(&self, place: usize, mix: Mix) -> bool {
        let best = self.best.as_ref().map(|(rank, _)| rank);
        self.at_least(place, mix).is_some_and(|least| best.is_none_or(|best| least < *best))
    }

    fn is_dearer(&self, place: usize, mix: Mix) -> bool {
        match (self.at_least(place, mix), &self.best) {
            (Some(least), Some((best, _))) => least.0 > best.0,
            (least, _) => least.is_none(),
        }
    }
}

fn div_up(amount: i128, by: i128) -> i128 {
    (amount + by - 1) / by
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock::testing::{Case, cases};
    use proptest::prelude::*;

    fn packs_of(listed: &[(i64, i64)]) -> Vec<PackPrice> {
        let of = |(size, price_minor): &(i64, i64)| PackPrice {
            pack: Amount::from_thousandths(*size),
            price_minor: *price_minor,
            minimum: 0,
        };
        listed.iter().map(of).collect()
    }

    #[track_caller]
    fn check(need: i64, packs: &[(i64, i64)], counts: Option<&[i64]>) {
        let found = cheapest_mix(Amount::from_thousandths(need), &packs_of(packs), None);
        assert_eq!(found.as_ref().map(|mix| &mix.counts[..]), counts);
    }

    #[track_caller]
    fn check_case(case: &Case) {
        let listed = case.inputs["packs"].as_array().unwrap();
        let packs: Vec<(i64, i64)> = listed
            .iter()
            .map(|pack| (pack["size"].as_i64().unwrap(), pack["price"].as_i64().unwrap()))
            .collect();
        let need = Amount::from_thousandths(case.inputs["need"].as_i64().unwrap());
        let found = cheapest_mix(need, &packs_of(&packs), None).unwrap();
        assert_eq!(found.amount.thousandths(), case.expected["qty"].as_i64().unwrap(), "{}", case.id);
        assert_eq!(found.price_minor, case.expected["price"].as_i64().unwrap(), "{}", case.id);
        for ((size, _), count) in packs.iter().zip(&found.counts) {
            let expected = case.expected["packs"][size.to_string()].as_i64().unwrap_or(0);
            assert_eq!(*count, expected, "{} packs of {size}", case.id);
        }
    }

    #[test]
    fn mixes_agree_with_a_complete_programme() {
        cases("pack_mix").iter().for_each(check_case);
    }

    #[test]
    fn of_mixes_that_cost_the_same_the_one_that_holds_less_is_bought_then_the_one_with_fewer_packs() {
        check(3, &[(3, 10), (4, 10)], Some(&[1, 0]));
        check(4, &[(1, 1), (2, 2), (4, 4)], Some(&[0, 0, 1]));
    }

    #[track_caller]
    fn check_break(need: i64, maximum: Option<i64>, counts: Option<&[i64]>) {
        // Packs of five at ten, from four on at eight; packs of two at five.
        let of = |size, price_minor, minimum| PackPrice {
            pack: Amount::from_thousandths(size),
            price_minor,
            minimum,
        };
        let packs = [of(5, 10, 1), of(5, 8, 4), of(2, 5, 0)];
        let found =
            cheapest_mix(Amount::from_thousandths(need), &packs, maximum.map(Amount::from_thousandths));
        assert_eq!(found.as_ref().map(|mix| &mix.counts[..]), counts, "{need} {maximum:?}");
    }

    #[test]
    fn a_price_break_is_taken_from_its_number_on_and_where_it_comes_cheaper_than_what_is_needed() {
        check_break(15, None, Some(&[3, 0, 0]));
        check_break(16, None, Some(&[0, 4, 0]));
        check_break(25, None, Some(&[0, 5, 0]));
        check_break(7, None, Some(&[1, 0, 1]));
    }

    #[test]
    fn no_more_is_bought_than_the_maximum() {
        check_break(16, Some(19), Some(&[2, 0, 3]));
        check_break(5, Some(5), Some(&[1, 0, 0]));
        check_break(3, Some(3), None);
        check_break(6, Some(4), None);
    }

    #[test]
    fn nothing_needed_is_nothing_bought_and_no_packs_hold_nothing() {
        check(0, &[(5, 10)], Some(&[0]));
        check(-3, &[], Some(&[]));
        check(3, &[], None);
        check(3, &[(0, 10), (5, -1)], None);
    }

    #[test]
    fn a_need_of_any_size_is_answered() {
        let most = Amount::from_thousandths(crate::amount::LARGEST);
        let found = cheapest_mix(most, &packs_of(&[(1, 1), (2, 2), (3, 3)]), None).unwrap();
        assert_eq!(found.amount, most);
    }

    #[test]
    fn packs_without_a_common_measure_are_mixed_as_well() {
        // Gallons, litres and odd canisters of a large site: a table over all amounts would have thirty million places.
        check(30_000_000, &[(3_785_412, 4_000), (1_000_000, 1_150), (20_000_000, 20_500)], Some(&[2, 3, 1]));
    }

    /// All amounts up to the need and a pack more, each with its cheapest mix.
    fn by_table(need: i64, packs: &[(i64, i64)]) -> (i64, i64, i64) {
        let top = need + packs.iter().map(|(size, _)| *size).max().unwrap();
        let mut best: Vec<Option<(i64, i64)>> = vec![Some((0, 0))];
        for amount in 1..=top {
            let ways = packs.iter().filter_map(|(size, price)| {
                let (paid, count) = (*best.get(usize::try_from(amount - size).ok()?)?)?;
                Some((paid + price, count + 1))
            });
            best.push(ways.min());
        }
        let ranks = (need..=top).filter_map(|amount| {
            let (price, count) = best[usize::try_from(amount).unwrap()]?;
            Some((price, amount, count))
        });
        ranks.min().unwrap()
    }

    /// The best of all mixes of up to three kinds with their minimum numbers, by trying each.
    fn by_trial(need: i64, packs: &[PackPrice], maximum: i64) -> Option<(i64, i64, i64)> {
        let counts = |pack: &PackPrice| {
            let most = (need / pack.pack.thousandths() + 1).max(pack.minimum);
            (0..=most).filter(|count| *count == 0 || *count >= pack.minimum).collect::<Vec<_>>()
        };
        let mut mixes = vec![(0, 0, 0)];
        for pack in packs {
            let with = |(price, amount, count): &(i64, i64, i64), more: i64| {
                (price + more * pack.price_minor, amount + more * pack.pack.thousandths(), count + more)
            };
            let each = counts(pack);
            mixes = mixes.iter().flat_map(|mix| each.iter().map(move |more| with(mix, *more))).collect();
        }
        mixes.into_iter().filter(|(_, amount, _)| (need..=maximum).contains(amount)).min()
    }

    proptest! {
        #[test]
        fn no_other_mix_with_minimum_and_maximum_is_better(
            need in 0_i64..60,
            room in 0_i64..40,
            packs in proptest::collection::vec((2_i64..20, 0_i64..40, 0_i64..5), 1..4),
        ) {
            let of = |(size, price_minor, minimum): &(i64, i64, i64)| PackPrice {
                pack: Amount::from_thousandths(*size), price_minor: *price_minor, minimum: *minimum,
            };
            let packs: Vec<PackPrice> = packs.iter().map(of).collect();
            let most = Amount::from_thousandths(need + room);
            let found = cheapest_mix(Amount::from_thousandths(need), &packs, Some(most));
            let rank = found.map(|mix| (mix.price_minor, mix.amount.thousandths(), mix.counts.iter().sum()));
            prop_assert_eq!(rank, by_trial(need, &packs, need + room));
        }

        #[test]
        fn a_mix_is_never_dearer_than_one_offer_alone(
            need in 1_i64..100_000, packs in proptest::collection::vec((500_i64..30_000, 0_i64..4_000, 0_i64..6), 1..5),
        ) {
            let of = |(size, price_minor, minimum): &(i64, i64, i64)| PackPrice {
                pack: Amount::from_thousandths(*size), price_minor: *price_minor, minimum: *minimum,
            };
            let packs: Vec<PackPrice> = packs.iter().map(of).collect();
            let found = cheapest_mix(Amount::from_thousandths(need), &packs, None).unwrap();
            prop_assert!(found.amount.thousandths() >= need);
            for pack in &packs {
                let alone = super::super::whole_packs(
                    Amount::from_thousandths(need), pack.pack,
                    Amount::from_thousandths(pack.minimum * pack.pack.thousandths()), None,
                );
                prop_assert!(found.price_minor <= alone.count * pack.price_minor);
            }
        }

        #[test]
        fn no_other_mix_is_better(
            need in 0_i64..120, packs in proptest::collection::vec((1_i64..30, 0_i64..40), 1..6),
        ) {
            let found = cheapest_mix(Amount::from_thousandths(need), &packs_of(&packs), None).unwrap();
            let rank = (found.price_minor, found.amount.thousandths(), found.counts.iter().sum());
            prop_assert_eq!(rank, by_table(need, &packs));
        }
    }
}
