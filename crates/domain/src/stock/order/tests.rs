use super::*;
use crate::Currency;
use crate::stock::testing::{day, id};

fn base_a() -> Id<Product> {
    id("Base A")
}

fn two_packs_of_a() -> Order {
    let line = OrderLine {
        product: base_a(),
        offer: id("offer"),
        packs: 2,
        pack: Amount::from_thousandths(5_000),
        base: Base::Volume,
        price: Money::new(1_990, Currency::from_code("EUR").unwrap()),
        why: None,
    };
    Order::draft(id("supplier"), vec![line])
}

fn came(thousandths: i64) -> Received {
    Received { product: base_a(), amount: Amount::from_thousandths(thousandths), on: day("2031-01-10") }
}

fn placed() -> Order {
    two_packs_of_a().place(day("2031-01-05"), day("2031-01-12")).unwrap()
}

#[track_caller]
fn check(order: Result<Order, NotAllowed>, state: Option<&str>) {
    assert_eq!(order.as_ref().ok().map(|order| order.state.code()), state, "{order:?}");
}

#[test]
fn an_order_is_received_when_all_of_it_came() {
    check(placed().receive(came(5_000)), Some("part_received"));
    check(placed().receive(came(10_000)), Some("received"));
    check(placed().receive(came(5_000)).unwrap().receive(came(6_000)), Some("received"));
    check(placed().receive(came(5_000)).unwrap().close_short(), Some("received"));
}

/// Of two packs of 5 mL a fifth came ahead, then the rest in two parts.
#[test]
fn the_supplier_has_sent_it_when_half_of_it_came() {
    let on = |thousandths, date| Received { on: day(date), ..came(thousandths) };
    let ahead = placed().receive(on(2_000, "2031-01-06")).unwrap();
    assert_eq!(placed().came_on(), None);
    assert_eq!(ahead.came_on(), None);
    assert_eq!(ahead.clone().close_short().unwrap().came_on(), Some(day("2031-01-06")));
    let most = ahead.receive(on(3_000, "2031-01-12")).unwrap();
    assert_eq!(most.came_on(), Some(day("2031-01-12")));
    assert_eq!(most.clone().receive(on(5_000, "2031-01-20")).unwrap().came_on(), Some(day("2031-01-12")));
    assert_eq!(most.receive(on(5_000, "2031-01-07")).unwrap().came_on(), Some(day("2031-01-07")));
}

/// A dear product counts by its price, not by its millilitres.
#[test]
fn of_an_order_its_value_must_have_come() {
    let dear = OrderLine {
        product: id("Base B"),
        price: Money::new(9_900, two_packs_of_a().lines[0].price.currency),
        ..two_packs_of_a().lines[0].clone()
    };
    let both = Order { lines: vec![two_packs_of_a().lines[0].clone(), dear], ..placed() };
    let a = both.receive(came(10_000)).unwrap();
    assert_eq!(a.came_on(), None);
    let b =
        Received { product: id("Base B"), amount: Amount::from_thousandths(5_000), on: day("2031-01-15") };
    assert_eq!(a.receive(b).unwrap().came_on(), Some(day("2031-01-15")));
}

/// Two products, of which one pack of four each came before it was closed short.
#[test]
fn of_what_was_closed_short_only_what_is_named_is_awaited_again() {
    let line = |product: &str| OrderLine {
        product: id(product),
        offer: id(&format!("offer of {product}")),
        packs: 4,
        ..two_packs_of_a().lines[0].clone()
    };
    let both = Order { lines: vec![line("Base A"), line("Base B")], ..placed() };
    let closed = both.receive(came(5_000)).unwrap().close_short().unwrap();
    let named = closed.clone().confirmed(None, &[(id("offer of Base A"), 2)]).unwrap();
    assert_eq!(named.outstanding(), [(base_a(), Amount::from_thousandths(5_000))]);
    let part = placed().receive(came(4_000)).unwrap().close_short().unwrap();
    let more = Order { lines: vec![part.lines[0].clone(), line("Base B")], ..part };
    let b_only = more.confirmed(None, &[(id("offer of Base B"), 1)]).unwrap();
    assert_eq!(b_only.outstanding(), [(id("Base B"), Amount::from_thousandths(5_000))], "no rest of a pack");
    let day_only = closed.confirmed(Some(day("2031-02-01")), &[]).unwrap();
    assert_eq!(day_only.outstanding().len(), 2);
}

#[test]
fn what_came_beyond_a_pack_hinders_no_confirmation() {
    let part = placed().receive(came(5_050)).unwrap();
    check(part.clone().confirmed(None, &[(id("offer"), 1)]), Some("received"));
    check(part.confirmed(None, &[(id("offer"), 0)]), None);
}

#[test]
fn what_never_came_is_kept_of_an_order_closed_short() {
    let short = placed().receive(came(4_000)).unwrap();
    assert_eq!(short.never_came(), []);
    assert_eq!(short.close_short().unwrap().never_came(), [(base_a(), Amount::from_thousandths(6_000))]);
    assert_eq!(placed().receive(came(10_000)).unwrap().never_came(), []);
}

#[test]
fn other_lines_are_approved_anew() {
    let approval = Approval { by: None, at: DateTime::UNIX_EPOCH };
    let approved = two_packs_of_a().approve(approval).unwrap();
    assert_eq!(approved.approved, Some(approval));
    let lines = approved.lines.clone();
    assert_eq!(approved.clone().with_lines(lines).unwrap().approved, None);
    assert_eq!(approved.place(day("2031-01-05"), day("2031-01-12")).unwrap().approved, Some(approval));
    check(placed().approve(approval), None);
    check(Order::draft(id("supplier"), Vec::new()).approve(approval), None);
}

#[test]
fn the_message_names_what_is_ordered_and_when_it_is_expected() {
    let told = placed().message(id("order"), "Greenline", "Harbour Street", |_| "Base A".into());
    for part in [
        "To Greenline",
        "Harbour Street",
        &Order::reference(id("order")),
        "- 2 x Base A in packs of 5 mL",
        "expect it on 2031-01-12",
    ] {
        assert!(told.contains(part), "{told}");
    }
    assert!(
        !two_packs_of_a()
            .message(id("order"), "Greenline", "Harbour Street", |_| String::new())
            .contains("expect it")
    );
}

#[test]
fn the_message_of_a_cancelled_order_calls_it_off() {
    let cancelled = placed().cancel(day("2031-01-06")).unwrap();
    let told = cancelled.message(id("order"), "Greenline", "Harbour Street", |_| "Base A".into());
    assert!(told.contains("please cancel it") && told.contains("2 x Base A"), "{told}");
    assert!(!told.contains("Please send"), "{told}");
}

#[test]
fn what_has_come_is_not_ordered_again() {
    let told = |order: &Order| order.message(id("order"), "Greenline", "Harbour Street", |_| "Base A".into());
    let part = placed().receive(came(4_000)).unwrap();
    let asks = told(&part);
    assert!(asks.contains("a part has come") && asks.contains("- 6 mL of Base A"), "{asks}");
    let closed = told(&part.close_short().unwrap());
    assert!(closed.contains("is closed") && closed.contains("send nothing more"), "{closed}");
    for text in [asks, closed] {
        assert!(!text.contains("Please send to"), "{text}");
    }
}

#[test]
fn what_is_not_allowed_is_told_with_what_is() {
    let told = |refused: Result<Order, NotAllowed>| refused.unwrap_err().to_string();
    let part = placed().receive(came(5_000)).unwrap();
    assert_eq!(
        told(part.clone().cancel(day("2031-01-11"))),
        "an order that is part_received cannot be cancelled: close it short, since a part of it came"
    );
    assert!(
        told(part.close_short().unwrap().receive(came(1))).contains("take in what came without naming it")
    );
    assert!(told(placed().with_lines(Vec::new())).contains("note what its supplier confirms"));
}

#[test]
fn only_what_the_state_allows_is_done() {
    check(two_packs_of_a().receive(came(5_000)), None);
    check(placed().place(day("2031-01-06"), day("2031-01-12")), None);
    check(placed().with_lines(Vec::new()), None);
    check(placed().cancel(day("2031-01-06")), Some("cancelled"));
    check(placed().receive(came(5_000)).unwrap().cancel(day("2031-01-11")), None);
    check(Order::draft(id("supplier"), Vec::new()).place(day("2031-01-05"), day("2031-01-06")), None);
    check(two_packs_of_a().place(day("2031-01-05"), day("2031-01-04")), None);
    check(placed().receive(Received { product: id("Base B"), ..came(1) }), None);
    check(placed().receive(Received { on: day("2031-01-04"), ..came(1) }), None);
}

#[test]
fn what_had_not_come_is_awaited_again() {
    check(placed().receive(came(10_000)).unwrap().take_back(&came(10_000)), Some("placed"));
    let twice = placed().receive(came(4_000)).unwrap().receive(came(6_000)).unwrap();
    check(twice.take_back(&came(6_000)), Some("part_received"));
    check(placed().receive(came(4_000)).unwrap().take_back(&came(5_000)), None);
    check(placed().take_back(&came(5_000)), None);
}

#[test]
fn half_as_much_again_as_is_awaited_looks_mis_keyed() {
    let exceeded = |order: &Order, thousandths| {
        order.exceeded_by(&came(thousandths)).map(|awaited| awaited.thousandths())
    };
    assert_eq!(exceeded(&placed(), 15_000), None);
    assert_eq!(exceeded(&placed(), 15_001), Some(10_000));
    assert_eq!(exceeded(&placed().receive(came(6_000)).unwrap(), 6_001), Some(4_000));
}

#[test]
fn what_is_outstanding_shrinks_with_what_comes() {
    let open = |order: &Order| order.outstanding().iter().map(|(_, left)| left.thousandths()).sum::<i64>();
    assert_eq!(open(&two_packs_of_a()), 0);
    assert_eq!(open(&placed()), 10_000);
    assert_eq!(open(&placed().receive(came(4_000)).unwrap()), 6_000);
}

/// Two packs at 19.90 of a supplier with this least order.
#[track_caller]
fn check_least(minimum_order_minor: i64, currency: &str, told: Option<&str>) {
    let supplier = Supplier {
        name: "Greenline".into(),
        order_days: crate::Week::EVERY_DAY,
        cut_off: chrono::NaiveTime::MIN,
        promised_lead_days: 3,
        minimum_order_minor,
        freight_minor: 990,
        currency: Currency::from_code(currency).unwrap(),
    };
    let short = two_packs_of_a().short_of_least(&supplier);
    assert_eq!(short.map(|short| short.to_string()).as_deref(), told);
}

#[test]
fn an_order_below_the_least_of_its_supplier_says_what_is_missing() {
    check_least(0, "EUR", None);
    check_least(3_980, "EUR", None);
    check_least(
        10_000,
        "EUR",
        Some("60.20 EUR are missing to the supplier's least order of 100.00 EUR, freight not counted"),
    );
    check_least(10_000, "GBP", None);
}
