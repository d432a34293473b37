//! What goes in one order, from whom, and what other sites give first.

use chrono::Days;
use fillmark_advice::supply::*;
use fillmark_domain::Currency;
use fillmark_domain::stock::{Offer, Supplier};
use fillmark_domain::{Id, Money};

use crate::site::*;

#[test]
fn part_b_is_ordered_with_part_a() {
    let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(2_600))]);
    question.in_step = vec![(base_a(), base_b())];
    let forecast = forecast(&question);
    let [a, b] = [0, 1].map(|position: usize| forecast.products[position].purchase.clone().unwrap());
    assert_eq!(a.order_by, b.order_by);
    assert_eq!((a.in_step_with, b.in_step_with), (None, Some(base_a())));
    assert_eq!(forecast.orders[0].products, [base_a(), base_b()]);
}

#[test]
fn an_order_below_the_suppliers_least_value_draws_the_next_one_forward() {
    let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(4_000))]);
    assert_eq!(forecast(&question).orders.len(), 2);
    question.suppliers[0].minimum_order_minor = 2_000;
    let orders = forecast(&question).orders;
    assert_eq!(orders.len(), 1);
    let order = &orders[0];
    assert_eq!(
        (order.value.minor, order.below_minimum_minor, order.freight_minor),
        (2_000, Some(0), Some(0))
    );
    assert!(order.cautions.is_empty());
}

/// What is bought anyway lasts shortest: more of it is bought before anything that is wanted in two months.
#[test]
fn what_still_lacks_of_the_least_value_is_bought_of_what_runs_out_first() {
    let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(9_000))]);
    let bought = |question: &Question| {
        let forecast = forecast(question);
        let a = forecast.products[0].purchase.clone().unwrap();
        let without = a.raised.map(|raised| raised.without);
        (a.amount, without, forecast.orders[0].value.minor, forecast.orders[0].products.clone())
    };
    let (alone, none, ..) = bought(&question);
    assert_eq!(none, None);
    question.suppliers[0].minimum_order_minor = 2_500;
    let (amount, without, value, products) = bought(&question);
    assert_eq!((without, products), (Some(alone), vec![base_a()]));
    assert!(amount > alone && (2_500..4_000).contains(&value), "{amount} {value}");
    question.suppliers[0].minimum_order_minor = 1_000_000;
    assert_eq!(bought(&question).0, alone, "what is not reached is not half reached");
}

#[test]
fn a_suppliers_terms_in_another_currency_are_no_part_of_the_sum() {
    let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(5_000))]);
    question.suppliers[0].minimum_order_minor = 2_500;
    question.suppliers[0].currency = Currency::from_code("GBP").unwrap();
    let orders = forecast(&question).orders;
    assert_eq!(orders.len(), 2);
    for order in orders {
        assert_eq!((order.below_minimum_minor, order.freight_minor), (None, None));
        let currency = question.suppliers[0].currency;
        assert_eq!(order.cautions, [Caution::TermsInOtherCurrency { currency }]);
    }
}

#[test]
fn a_site_spares_what_it_holds_beyond_six_weeks() {
    let of = |held| forecast(&site(vec![product(base_a(), ml(held))]));
    let needing = of(300);
    let needed = needing.products[0].purchase.as_ref().unwrap().needed.base_units();
    let spare = |held| spare_for(&needing, &of(held)).first().map(|spare| spare.spare);
    assert_eq!(spare(60_000), Some(needed), "no more than is needed");
    assert_eq!(spare(4_000), None, "less than its own six weeks");
}

#[test]
fn what_would_expire_at_one_site_is_spared_for_another() {
    let needing = forecast(&site(vec![product(base_a(), ml(300))]));
    let expiring_in = |days| {
        let mut question = site(vec![product(base_a(), ml(60_000))]);
        question.products[0].on_hand[0].expiry = Some(question.today + Days::new(days));
        forecast(&question)
    };
    let giving = expiring_in(30);
    assert!(giving.products[0].purchase.is_some(), "there is to be more of it when that has expired");
    // 100 mL a day until its last day, of which 300 are there.
    let spare = spare_for(&needing, &giving)[0].spare;
    assert!((spare - (31.0 * 100.0 - 300.0)).abs() < 1e-6, "{spare}");
    let used = site(vec![product(base_a(), ml(300))]);
    let other = Giver { site: id(30), forecast: &giving };
    let bought = answer_with(&used, use_of(&used), &[other]).products[0].purchase.clone().unwrap();
    assert_eq!(bought.transfers[0].amount, ml(2_800), "proposed as it is spared");
    assert_eq!(spare_for(&needing, &expiring_in(10)), [], "nobody could use it up");
}

#[test]
fn what_expires_soonest_is_given_first() {
    let holding = |held, expiry_days: Option<u64>| {
        let mut question = site(vec![product(base_a(), ml(held))]);
        question.products[0].on_hand[0].expiry = expiry_days.map(|days| question.today + Days::new(days));
        forecast(&question)
    };
    let (keeps, expires, sooner) =
        (holding(90_000, None), holding(9_000, Some(60)), holding(6_000, Some(30)));
    let used = site(vec![product(base_a(), ml(300))]);
    let others = [(30, &keeps), (31, &expires), (32, &sooner)];
    let others = others.map(|(site, forecast)| Giver { site: id(site), forecast });
    let bought = answer_with(&used, use_of(&used), &others).products[0].purchase.clone().unwrap();
    let from: Vec<_> = bought.transfers.iter().map(|transfer| transfer.from).collect();
    assert_eq!(from[..1], [id(32)], "{:?}", bought.transfers);
    assert!(!from.contains(&id(30)), "{:?}", bought.transfers);
}

#[test]
fn what_is_due_next_goes_along_where_its_freight_costs_more_than_holding_it() {
    let of = |freight_minor| {
        let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(3_500))]);
        question.suppliers[0].freight_minor = freight_minor;
        forecast(&question)
    };
    let kept_apart = of(5);
    assert_eq!(kept_apart.orders.len(), 2);
    let joint = of(900);
    assert_eq!(joint.orders.len(), 1);
    let b = joint.products[1].purchase.clone().unwrap();
    let forward = b.brought_forward.unwrap();
    assert_eq!(forward.to, joint.orders[0].order_by.date());
    // A litre at 10.00 held for some two weeks at a quarter of its price a year.
    assert!(
        matches!(forward.gains, Gains::Freight { saved_minor: 900, holding_minor: 8..=14 }),
        "{forward:?}"
    );
    assert!(
        b.told().contains(
            "already: an order of its own would cost 9.00 EUR of freight, and holding it longer costs 0."
        ),
        "{}",
        b.told()
    );
}

/// A litre at 10.00 lasts ten days; three more of each of two products lie for some weeks at a quarter of their price a year, which is
/// less than the three freights they spare.
#[test]
fn an_order_is_as_much_larger_as_saves_more_freight_than_holding_costs() {
    let of = |freight_minor| {
        let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(2_000))]);
        question.suppliers[0].freight_minor = freight_minor;
        forecast(&question)
    };
    let packs = |forecast: &Forecast| {
        [0, 1].map(|place: usize| forecast.products[place].purchase.as_ref().unwrap().pack_count())
    };
    let without = of(0);
    let one = packs(&without);
    assert_eq!(packs(&of(1)), one, "0.01 a week is less than holding costs");
    let larger = of(500);
    assert_eq!(packs(&larger), one.map(|packs| packs + 3), "four weeks' use more");
    assert_eq!(larger.orders[0].value.minor, without.orders[0].value.minor + 6_000);
    let a = larger.products[0].purchase.clone().unwrap();
    let raised = a.raised.unwrap();
    assert_eq!((raised.without, raised.weeks), (without.products[0].purchase.as_ref().unwrap().amount, 4));
    let Gains::Freight { saved_minor, holding_minor } = raised.gains else { panic!("{:?}", raised.gains) };
    assert!(0 < holding_minor && holding_minor < saved_minor && saved_minor <= 2_000, "{raised:?}");
    assert!(a.told().contains("use of 4 weeks more of all that is in the order saves"), "{}", a.told());
}

/// A can of 20 L at 160.00 lasts 200 days, and a second one would lie as long for a freight of 2.00.
#[test]
fn no_can_is_bought_far_ahead_for_a_small_freight() {
    let of = |freight_minor| {
        let mut question = site(vec![product(base_a(), ml(2_000))]);
        question.suppliers[0].freight_minor = freight_minor;
        let offer = &mut question.products[0].offers[0];
        (offer.pack, offer.price) = (ml(20_000), Money::new(16_000, offer.price.currency));
        forecast(&question).products[0].purchase.clone().unwrap()
    };
    let bought = of(200);
    assert_eq!((bought.pack_count(), bought.raised), (1, None));
}

/// Base B is due a fortnight after base A and goes along; four weeks more of it are counted from the day of the order.
#[test]
fn what_goes_along_is_used_before_it_expires_and_bought_no_further_than_the_rest() {
    let of = |shelf_life_days| {
        let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(3_500))]);
        question.suppliers[0].freight_minor = 900;
        question.products[1].shelf_life_days = shelf_life_days;
        let forecast = forecast(&question);
        let lasts = |place: usize, held: i64| {
            let purchase = forecast.products[place].purchase.clone().unwrap();
            (held + purchase.amount.base_units() as i64, purchase)
        };
        (lasts(0, 2_000).0, lasts(1, 3_500))
    };
    let (a, (b, _)) = of(None);
    assert!((a - b).abs() <= 1_000, "{a} {b}: as far as the packs go");
    for days in 14..80 {
        let (_, (_, b)) = of(Some(days));
        assert!(b.at_most.is_some_and(|at_most| b.amount <= at_most), "{days}: {} {:?}", b.amount, b.at_most);
    }
}

/// A can of 3 L lasts thirty days. What is needed with four weeks more takes a second one, which spares one order and no more.
#[test]
fn no_more_orders_are_told_as_saved_than_the_packs_save() {
    let of = |freight_minor| {
        let mut question = site(vec![product(base_a(), ml(500))]);
        question.suppliers[0].freight_minor = freight_minor;
        let offer = &mut question.products[0].offers[0];
        (offer.pack, offer.price) = (ml(3_000), Money::new(1_990, offer.price.currency));
        forecast(&question).products[0].purchase.clone().unwrap()
    };
    for freight in [100, 200, 500, 1_500] {
        let bought = of(freight);
        if let Some(raised) = bought.raised {
            let Gains::Freight { saved_minor, .. } = raised.gains else { panic!("{raised:?}") };
            assert_eq!((saved_minor, bought.pack_count()), (freight, 2), "{bought:?}");
        }
    }
    assert!(of(1_500).raised.is_some());
}

/// Ten cans at half the price are not bought for a use of few weeks, whatever the freight.
#[test]
fn a_freight_makes_no_order_larger_than_its_weeks() {
    let mut question = site(vec![product(base_a(), ml(500))]);
    question.suppliers[0].freight_minor = 1_500;
    let plain = offer(base_a());
    let cheap = Money::new(500, plain.price.currency);
    question.products[0].offers.push(Offer { price: cheap, minimum_packs: 20, ..plain });
    let bought = forecast(&question).products[0].purchase.clone().unwrap();
    let weeks = bought.raised.map_or(0, |raised| raised.weeks);
    assert!(weeks <= 4 && bought.pack_count() < 10, "{} packs, {weeks} weeks", bought.pack_count());
}

#[test]
fn no_order_is_larger_for_a_freight_that_another_order_brings_anyway() {
    let of = |shelf_life_days| {
        let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(2_000))]);
        question.suppliers[0].freight_minor = 900;
        question.products[1].shelf_life_days = shelf_life_days;
        forecast(&question).products[0].purchase.clone().unwrap().raised.map(|raised| raised.weeks)
    };
    assert_eq!(of(None), Some(4));
    assert_eq!(of(Some(20)), None, "base B would expire");
}

#[test]
fn what_would_expire_first_is_not_brought_forward() {
    let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(3_500))]);
    question.suppliers[0].freight_minor = 900;
    question.products[1].shelf_life_days = Some(12);
    assert_eq!(forecast(&question).orders.len(), 2);
}

fn other_supplier() -> Id<Supplier> {
    id(11)
}

/// Base A also from another supplier, a litre at a lower price, with a freight of its own; base B only from Greenline.
fn with_another_supplier(price: i64, freight_minor: i64) -> Question {
    let mut question = site(vec![product(base_a(), ml(2_000)), product(base_b(), ml(2_000))]);
    let plain = offer(base_a());
    let price = Money::new(price, plain.price.currency);
    question.products[0].offers.push(Offer { supplier: other_supplier(), price, ..plain });
    let terms = SupplierAsked { supplier: other_supplier(), freight_minor, ..question.suppliers[0].clone() };
    question.suppliers.push(terms);
    question
}

#[test]
fn a_lower_price_with_a_freight_of_its_own_is_weighed_against_going_along() {
    let from = |price, freight| {
        forecast(&with_another_supplier(price, freight)).products[0].purchase.clone().unwrap().supplier
    };
    assert_eq!(from(900, 500), greenline());
    assert_eq!(from(900, 0), other_supplier());
    assert_eq!(from(400, 500), other_supplier());
}

#[test]
fn what_another_site_can_spare_comes_first_and_only_the_rest_is_bought() {
    let needing = site(vec![product(base_a(), ml(300))]);
    let used = use_of(&needing);
    let alone = answer(&needing, used.clone()).products[0].purchase.clone().unwrap();
    assert_eq!((alone.transfers.len(), alone.pack_count()), (0, 2));
    let with = |held: &[i64]| {
        let others: Vec<Forecast> =
            held.iter().map(|held| forecast(&site(vec![product(base_a(), ml(*held))]))).collect();
        let givers: Vec<Giver<'_>> =
            (30..).zip(&others).map(|(site, forecast)| Giver { site: id(site), forecast }).collect();
        answer_with(&needing, used.clone(), &givers)
    };
    let whole = with(&[60_000]);
    let bought = whole.products[0].purchase.clone().unwrap();
    assert_eq!((bought.transfers.len(), bought.lines.len()), (1, 0));
    assert!(bought.transfers[0].amount >= alone.needed && whole.orders.is_empty());
    assert!(bought.told().contains("can come from another site"), "{}", bought.told());
    assert_eq!(with(&[4_000]).products[0].purchase, Some(alone), "less than its own six weeks");
}
