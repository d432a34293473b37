//! Which packs to buy of one supplier.

use fillmark_domain::Amount;
use fillmark_domain::stock::{Offer, PackPrice, Packs, cheapest_mix};

use super::answer::PurchaseLine;

/// From this part of a pack on it is bought for what is used of it (our own judgement).
const WORTH: f64 = 0.2;

/// What holding stock for a year costs, as a share of its price: money, room and what goes bad (common practice, no source).
const HOLDING_A_YEAR: f64 = 0.25;
const DAYS_OF_YEAR: f64 = 365.25;

/// Weeks of further use that a larger pack or a price break may be bought for (our own judgement): what lies longer ages, and the
/// plan that wants it may change.
pub(super) const FURTHER_WEEKS: [u8; 2] = [4, 8];

/// By how much cheaper by the litre packs must be that are bought for further weeks (our own judgement): for less nobody fills the
/// store.
const WORTHWHILE: f64 = 0.05;

/// The packs that are chosen.
#[derive(Debug)]
pub(super) struct Chosen {
    pub(super) lines: Vec<PurchaseLine>,
    /// The cheapest that hold what is needed, where others are taken for their price by the litre.
    pub(super) instead_of: Option<Vec<PurchaseLine>>,
}

/// The cheapest packs that hold what is needed, at most what is used before it expires. `further` is the use of
/// [`FURTHER_WEEKS`] beyond it: where packs that hold some of it too come cheaper by the litre, with what holding them costs, they
/// are taken.
pub(super) fn choose(
    offers: &[&Offer],
    needed: Amount,
    at_most: Option<Amount>,
    further: [Amount; FURTHER_WEEKS.len()],
) -> Chosen {
    let just = |lines| Chosen { lines, instead_of: None };
    if !needed.is_positive() {
        return just(Vec::new());
    }
    let Some(enough) = mix(offers, needed, at_most) else {
        return just(as_much_as_is_used(offers, needed, at_most));
    };
    if !further[1].is_positive() {
        return just(enough);
    }
    let most = needed + further[1];
    let most = at_most.map_or(most, |at_most| at_most.min(most));
    let larger = further.into_iter().filter_map(|more| mix(offers, most.min(needed + more), Some(most)));
    // Of one size alone as few as hold it: the larger mixes would pass over what comes as cheap by the litre and lies less long.
    let alone = offers.iter().filter_map(|offer| mix(&[offer], needed, Some(most)));
    let price = |lines: &[PurchaseLine]| by_litre(lines, needed, further[1]);
    let worthwhile = price(&enough) * (1.0 - WORTHWHILE);
    let cheapest = alone.chain(larger).min_by(|one, other| price(one).total_cmp(&price(other)));
    match cheapest.filter(|lines| price(lines) < worthwhile) {
        Some(lines) => Chosen { lines, instead_of: Some(enough) },
        None => just(enough),
    }
}

fn mix(offers: &[&Offer], needed: Amount, at_most: Option<Amount>) -> Option<Vec<PurchaseLine>> {
    let price = |offer: &&Offer| PackPrice {
        pack: offer.pack,
        price_minor: offer.price.minor,
        minimum: offer.minimum_packs.into(),
    };
    let packs: Vec<PackPrice> = offers.iter().map(price).collect();
    let mix = cheapest_mix(needed, &packs, at_most)?;
    let bought = offers.iter().zip(mix.counts).filter(|(_, count)| *count > 0);
    Some(bought.map(|(offer, count)| line(offer, count)).collect())
}

fn line(offer: &Offer, count: i64) -> PurchaseLine {
    let amount = Amount::from_thousandths(offer.pack.thousandths().saturating_mul(count));
    PurchaseLine { offer: offer.clone(), packs: Packs { count, amount }, cost: offer.price.times(count) }
}

/// What holding stock for so many days costs, as a share of its price.
pub(super) fn holding(days: f64) -> f64 {
    HOLDING_A_YEAR * days / DAYS_OF_YEAR
}

/// Price of a thousandth with what holding costs: what goes beyond the need is used up evenly, as `further` is in the last of
/// [`FURTHER_WEEKS`].
fn by_litre(lines: &[PurchaseLine], needed: Amount, further: Amount) -> f64 {
    let cost: i64 = lines.iter().map(|line| line.cost.minor).sum();
    let held: Amount = lines.iter().map(|line| line.packs.amount).sum();
    let beyond = (held - needed).base_units().max(0.0) / further.base_units().max(1e-9);
    let days = beyond * f64::from(FURTHER_WEEKS[1]) * 7.0;
    cost as f64 / held.thousandths().max(1) as f64 * (1.0 + holding(days / 2.0))
}

/// Where no packs hold what is needed without some of it expiring: those of one offer that hold the most of what is used, and none that
/// expire; otherwise as few as the supplier sells, where enough of them is used, because running out costs a crop and what is left
/// of a pack does not.
fn as_much_as_is_used(offers: &[&Offer], needed: Amount, at_most: Option<Amount>) -> Vec<PurchaseLine> {
    let most = at_most.unwrap_or(needed).max(Amount::ZERO);
    let used = most.min(needed);
    let fits = |offer: &Offer| most.thousandths() / offer.pack.thousandths();
    let sold = offers.iter().filter(|offer| offer.pack.is_positive());
    let lines = sold.map(|offer| line(offer, fits(offer).max(offer.minimum_packs.into()).max(1)));
    let worth = |line: &PurchaseLine| {
        line.packs.amount <= most || used.base_units() >= WORTH * line.packs.amount.base_units()
    };
    let rank = |line: &PurchaseLine| {
        let amount = line.packs.amount;
        (amount <= most, amount.min(used), -line.cost.minor)
    };
    lines.filter(worth).max_by_key(rank).into_iter().collect()
}

#[cfg(test)]
mod tests {
    use fillmark_domain::{Base, Currency, Id, Money};

    use super::*;

    fn ml(amount: i64) -> Amount {
        Amount::from_thousandths(amount * 1_000)
    }

    /// Offers as (pack in mL, price, least number); what is chosen as (pack, number).
    #[track_caller]
    fn check(
        offers: &[(i64, i64, u32)],
        needed: i64,
        at_most: Option<i64>,
        further: [i64; 2],
        chosen: &[(i64, i64)],
    ) {
        let offer = |(pack, price, minimum_packs): &(i64, i64, u32)| Offer {
            supplier: Id::new(Default::default()),
            product: Id::new(Default::default()),
            pack: ml(*pack),
            base: Base::Volume,
            price: Money::new(*price, Currency::from_code("EUR").unwrap()),
            minimum_packs: *minimum_packs,
        };
        let offers: Vec<Offer> = offers.iter().map(offer).collect();
        let offers: Vec<&Offer> = offers.iter().collect();
        let got = choose(&offers, ml(needed), at_most.map(ml), further.map(ml));
        let told: Vec<_> =
            got.lines.iter().map(|line| (line.offer.pack.thousandths() / 1_000, line.packs.count)).collect();
        assert_eq!(told, chosen);
        assert!(got.instead_of.is_none_or(|enough| enough != got.lines));
    }

    const SIZES: [(i64, i64, u32); 3] = [(1_000, 1_000, 0), (5_000, 4_000, 0), (5_000, 3_400, 3)];

    #[test]
    fn what_is_needed_comes_in_the_cheapest_mix() {
        check(&SIZES, 6_000, None, [0; 2], &[(1_000, 1), (5_000, 1)]);
        check(&SIZES, 5_500, Some(6_000), [0; 2], &[(1_000, 1), (5_000, 1)]);
        check(&SIZES, 0, None, [5_000; 2], &[]);
    }

    #[test]
    fn a_larger_pack_is_bought_for_what_is_used_soon() {
        check(&SIZES, 1_000, None, [1_000, 2_000], &[(1_000, 1)]);
        check(&SIZES, 1_000, None, [4_000, 8_000], &[(5_000, 1)]);
        check(&SIZES, 1_000, None, [7_000, 14_000], &[(5_000, 3)]);
        check(&SIZES, 1_000, Some(4_900), [4_000, 8_000], &[(1_000, 1)]);
    }

    /// 6.1 L are needed and 5.8 L used a week. A smaller pack that is cheaper at once must not make a store of the larger one.
    #[test]
    fn one_more_size_makes_no_larger_order_than_the_cheapest_by_the_litre() {
        let further = [23_200, 46_400];
        check(&[(10_000, 6_400, 0)], 6_089, None, further, &[(10_000, 1)]);
        for other in [(2_500, 1_800, 1), (1_000, 800, 1), (1, 1, 1)] {
            check(&[(10_000, 6_400, 0), other], 6_089, None, further, &[(10_000, 1)]);
        }
        check(&[(10_000, 6_400, 0), (20_000, 12_000, 1)], 6_089, None, further, &[(20_000, 1)]);
        check(&[(10_000, 6_400, 0), (5_000, 3_000, 1)], 6_089, None, further, &[(5_000, 2)]);
    }

    #[test]
    fn of_one_size_no_more_is_bought_than_is_needed() {
        check(&SIZES[..1], 1_500, None, [4_000, 8_000], &[(1_000, 2)]);
    }

    #[test]
    fn what_would_expire_is_left_unless_the_fewest_sold_are_used_well_enough() {
        check(&SIZES, 1_500, Some(1_400), [0; 2], &[(1_000, 1)]);
        check(&SIZES, 1_500, Some(300), [0; 2], &[(1_000, 1)]);
        check(&SIZES, 1_500, Some(100), [0; 2], &[]);
        check(&[(1_000, 1_000, 2)], 950, Some(1_400), [0; 2], &[(1_000, 2)]);
        check(&[(1_000, 1_000, 6)], 950, Some(1_400), [0; 2], &[]);
    }
}
