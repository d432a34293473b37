//! How much to order, as what packs.

use fillmark_advice::supply::*;
use fillmark_domain::Money;
use fillmark_domain::stock::Offer;
use proptest::prelude::*;

use crate::site::*;

#[test]
fn no_more_is_ordered_than_is_used_before_it_expires() {
    let mut question = site(vec![product(base_a(), ml(0))]);
    question.products[0].offers[0].minimum_packs = 4;
    check(&question, Some(OrderBy::Late(today())), 4);
    question.products[0].shelf_life_days = Some(10);
    let forecast = check(&question, Some(OrderBy::Late(today())), 4);
    assert!(forecast.products[0].cautions.contains(&Caution::SomeLeftOver), "the supplier sells no fewer");
    question.products[0].offers[0].minimum_packs = 0;
    let forecast = check(&question, Some(OrderBy::Late(today())), 1);
    assert!(forecast.products[0].cautions.contains(&Caution::CappedByExpiry));
}

/// Cycles are planned for seventy days and none behind them; a pack keeps for a year and a half.
#[test]
fn a_plan_that_ends_does_not_make_a_pack_expire() {
    let mut question = site(vec![product(base_a(), ml(0))]);
    question.products[0].shelf_life_days = Some(540);
    question.products[0].offers[0].pack = ml(20_000);
    question.tanks[0].fed = question.tanks[0].fed.clone().into_iter().take(70).collect();
    let forecast = check(&question, Some(OrderBy::Late(today())), 1);
    let cautions = &forecast.products[0].cautions;
    assert!(
        !cautions.contains(&Caution::CappedByExpiry) && !cautions.contains(&Caution::SomeLeftOver),
        "{cautions:?}"
    );
    assert!(cautions.iter().any(|caution| matches!(caution, Caution::PlanEnds { .. })), "{cautions:?}");
    // Another product's tank goes on.
    question.tanks.extend(site(vec![product(base_b(), ml(0))]).tanks);
    question.products.push(product(base_b(), ml(0)));
    let told = fillmark_advice::supply::forecast(&question);
    let ends = |place: usize| {
        told.products[place].cautions.iter().any(|one| matches!(one, Caution::PlanEnds { .. }))
    };
    assert!(ends(0) && !ends(1));
}

/// 100 mL a day last 2 days, and a pack may be used for 4 days: of its litre some 400 mL are used.
#[test]
fn a_pack_is_bought_for_what_is_used_of_it() {
    let of = |pack, life| {
        let offers = vec![Offer { pack: ml(pack), ..offer(base_a()) }];
        let asked = ProductAsked { offers, shelf_life_days: Some(life), ..product(base_a(), ml(200)) };
        let told = forecast(&site(vec![asked])).products.remove(0);
        (told.purchase.map(|purchase| purchase.pack_count()), told.cautions)
    };
    let (packs, cautions) = of(1_000, 4);
    assert_eq!(packs, Some(1));
    assert!(cautions.contains(&Caution::SomeLeftOver), "{cautions:?}");
    assert_eq!(of(5_000, 4).0, Some(0), "of five litres less than a fifth");
}

/// Of 3 L the half expires on the 18th, when 15 days have used 100 mL each: fresh packs of 30 days are needed from then on.
#[test]
fn what_expires_covers_nothing_of_what_a_fresh_pack_is_for() {
    let asked = ProductAsked {
        on_hand: vec![lot(ml(3_000), Some(day("2031-03-17")))],
        shelf_life_days: Some(30),
        ..product(base_a(), ml(0))
    };
    let purchase = forecast(&site(vec![asked])).products.remove(0).purchase.unwrap();
    let at_most = purchase.at_most.unwrap();
    assert!((ml(2_500)..=ml(3_300)).contains(&at_most), "{at_most}");
}

/// Offers of Greenline as (pack in mL, price, least number).
fn offers(sizes: &[(i64, i64, u32)]) -> Vec<Offer> {
    let of = |(pack, price, minimum_packs): &(i64, i64, u32)| {
        let plain = offer(base_a());
        Offer {
            pack: ml(*pack),
            price: Money::new(*price, plain.price.currency),
            minimum_packs: *minimum_packs,
            ..plain
        }
    };
    sizes.iter().map(of).collect()
}

#[track_caller]
fn check_packs(held: i64, sizes: &[(i64, i64, u32)], bought: &[(i64, i64)]) -> Purchase {
    let asked = ProductAsked { offers: offers(sizes), ..product(base_a(), ml(held)) };
    let purchase = forecast(&site(vec![asked])).products.remove(0).purchase.unwrap();
    let told: Vec<(i64, i64)> =
        purchase.lines.iter().map(|line| (line.offer.pack.thousandths() / 1_000, line.packs.count)).collect();
    assert_eq!(told, bought, "{purchase:?}");
    purchase
}

#[test]
fn several_sizes_are_mixed_where_that_is_cheapest() {
    // Some 1.73 L are needed at once; for four weeks or eight they would be hardly cheaper by the litre.
    let purchase = check_packs(0, &[(1_000, 900, 0), (500, 500, 0), (400, 380, 0)], &[(1_000, 1), (400, 2)]);
    assert_eq!((purchase.amount, purchase.cost.minor), (ml(1_800), 1_660));
    assert!(purchase.told().contains("the cheapest mix of packs"), "{}", purchase.told());
}

#[test]
fn a_pack_that_is_taken_for_its_price_by_the_litre_says_so() {
    // 100 mL a day, a week's stock: some 950 mL are needed, and five litres last seven weeks more.
    let purchase = check_packs(700, &[(1_000, 500, 0), (5_000, 1_990, 0), (20_000, 6_000, 0)], &[(5_000, 1)]);
    let stocks_up = purchase.stocks_up.as_ref().expect("it is more than is needed");
    assert_eq!((stocks_up.lasts_weeks, stocks_up.instead_of[0].offer.pack), (8, ml(1_000)));
    let told = "1 × 5000 mL hold 5000 mL, more than is needed: they are cheaper by the litre than";
    let weeks = "and with them the stock lasts 8 weeks.";
    let why = purchase.told();
    assert!(why.contains(told) && why.contains(weeks), "{why}");
    let enough = check_packs(700, &[(1_000, 500, 0)], &[(1_000, stocks_up.instead_of[0].packs.count)]);
    assert!(enough.stocks_up.is_none() && !enough.told().contains("by the litre"), "{}", enough.told());
}

#[test]
fn a_price_break_is_taken_where_what_it_holds_is_used_soon() {
    check_packs(0, &[(1_000, 1_000, 0), (1_000, 800, 5)], &[(1_000, 5)]);
    check_packs(0, &[(1_000, 1_000, 0), (1_000, 800, 20)], &[(1_000, 2)]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn no_single_offer_holds_as_much_for_less(
        held in 0_i64..3_000,
        sizes in prop::collection::vec((100_i64..6_000, 100_i64..5_000, 0_u32..4), 1..4),
    ) {
        let asked = ProductAsked { offers: offers(&sizes), ..product(base_a(), ml(held)) };
        let mut question = site(vec![asked]);
        let whole = forecast(&question).products[0].purchase.clone().unwrap();
        prop_assert!(whole.amount >= whole.needed);
        prop_assert_eq!(whole.lines.iter().map(|line| line.packs.amount).sum::<fillmark_domain::Amount>(), whole.amount);
        prop_assert_eq!(whole.lines.iter().map(|line| line.cost.minor).sum::<i64>(), whole.cost.minor);
        for offer in offers(&sizes) {
            question.products[0].offers = vec![offer];
            let alone = forecast(&question).products[0].purchase.clone().unwrap();
            prop_assert!(
                alone.amount < whole.amount || whole.cost.minor <= alone.cost.minor,
                "{whole:?} {alone:?}"
            );
        }
    }
}
