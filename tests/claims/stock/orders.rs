//! Orders: from the draft to the last canister.

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_client::ClientError;
use fillmark_domain::people::Role;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, json, refusal};
use futures_util::future::join_all;
use serde_json::json;
use uuid::Uuid;

use super::{Shelf, product, reversal};

async fn supplier(world: &World, name: &str) -> Supplier {
    let body = json(json!({ "name": name, "order_days": ["tuesday", "thursday"], "cut_off_local": "12:00",
        "promised_lead_days": 3, "currency": "EUR" }));
    world.ada.business().create::<NewSupplier>(&body).await.unwrap()
}

async fn offer(world: &World, shelf: &Shelf, supplier: Uuid) -> Offer {
    let body = json(
        json!({ "supplier_id": supplier, "product_id": shelf.product, "pack": { "value": 5, "unit": "L" },
        "price_minor": 1990, "currency": "EUR", "minimum_packs": 1 }),
    );
    world.ada.site(shelf.site).create::<NewOffer>(&body).await.unwrap()
}

fn two_packs(offer: &Offer) -> NewOrder {
    NewOrder { lines: vec![NewOrderLine { offer_id: offer.id, packs: 2 }] }
}

async fn placed(world: &World, shelf: &Shelf) -> Order {
    let supplier = supplier(world, "Greenline").await;
    let offer = offer(world, shelf, supplier.id).await;
    let draft = world.ada.draft_order(shelf.site, &two_packs(&offer)).await.unwrap();
    let placing = NewPlacing { placed_at: None, expected_on: None, confirmed: false };
    world.ada.place_order(shelf.site, draft.id, &placing).await.unwrap()
}

on_both! {
    async fn an_order_is_expected_when_the_supplier_promised(world: World) {
        let shelf = Shelf::of(&world).await;
        // A Tuesday, 07:00 in Berlin, before the cut-off; three days later is a Friday.
        let order = placed(&world, &shelf).await;
        assert_eq!((order.state.as_str(), order.value_minor), ("placed", 3980));
        assert_eq!(order.expected_on.map(|day| day.to_string()).as_deref(), Some("2026-11-27"));
        assert_eq!(order.outstanding[0].amount.value, 10_000.0);
    }

    async fn a_supplier_who_takes_orders_on_no_day_is_none(world: World) {
        let body = json(json!({ "name": "Greenline", "order_days": [], "promised_lead_days": 3, "currency": "EUR" }));
        let error = world.ada.business().create::<NewSupplier>(&body).await.unwrap_err();
        let fault = &error.problem().unwrap().errors[0];
        assert_eq!(fault.pointer.as_deref(), Some("/order_days"), "{fault:?}");
        let supplier = supplier(&world, "Greenline").await;
        let error = world.ada.business().change(&supplier, json!({ "order_days": [] })).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/order_days"));
    }

    async fn an_order_below_the_least_of_its_supplier_is_asked_back(world: World) {
        let shelf = Shelf::of(&world).await;
        let terms = json(json!({ "name": "Greenline", "order_days": ["tuesday"], "cut_off_local": "12:00", "promised_lead_days": 3,
            "minimum_order_minor": 5000, "freight_minor": 990, "currency": "EUR" }));
        let supplier = world.ada.business().create::<NewSupplier>(&terms).await.unwrap();
        let offer = offer(&world, &shelf, supplier.id).await;
        let draft = world.ada.draft_order(shelf.site, &two_packs(&offer)).await.unwrap();
        let missing = "10.20 EUR are missing to the supplier's least order of 50.00 EUR, freight not counted";
        for told in [&draft, &world.ada.order(shelf.site, draft.id).await.unwrap(), &world.ada.orders(shelf.site, "").await.unwrap()[0]] {
            assert_eq!((told.below_minimum_minor, told.freight_minor), (Some(1020), Some(990)));
            assert_eq!(told.cautions, [missing]);
        }
        let placing = NewPlacing { placed_at: None, expected_on: None, confirmed: false };
        let error = world.ada.place_order(shelf.site, draft.id, &placing).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].code.as_str()), (ProblemCode::ConfirmationNeeded, "below_least_order"));
        assert_eq!(problem.errors[0].detail, missing);
        assert_eq!(world.ada.order(shelf.site, draft.id).await.unwrap().state, "draft");
        let confirmed = NewPlacing { confirmed: true, ..placing };
        let placed = world.ada.place_order(shelf.site, draft.id, &confirmed).await.unwrap();
        assert_eq!((placed.state.as_str(), placed.below_minimum_minor, placed.cautions.len()), ("placed", None, 0));
        let three = NewOrder { lines: vec![NewOrderLine { offer_id: offer.id, packs: 3 }] };
        let enough = world.ada.draft_order(shelf.site, &three).await.unwrap();
        assert_eq!((enough.below_minimum_minor, enough.cautions.len()), (Some(0), 0));
        assert_eq!(world.ada.place_order(shelf.site, enough.id, &placing).await.unwrap().state, "placed");
    }

    async fn what_the_office_does_is_done_by_the_clock_of_the_server(world: World) {
        let shelf = Shelf::of(&world).await;
        let offer = offer(&world, &shelf, supplier(&world, "Greenline").await.id).await;
        let order = world.ada.draft_order(shelf.site, &two_packs(&offer)).await.unwrap();
        let ahead = |minutes| Some(Instant(world.server.app.now() + TimeDelta::minutes(minutes)));
        let placing = |placed_at| NewPlacing { placed_at, expected_on: None, confirmed: false };
        let error = world.ada.place_order(shelf.site, order.id, &placing(ahead(6))).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/placed_at"));
        world.ada.place_order(shelf.site, order.id, &placing(ahead(5))).await.unwrap();
        let came = |done_at| NewReceipt { done_at, ..shelf.receipt("A", None, 5000.0) };
        let error = world.ada.receive_product(shelf.site, &came(ahead(6))).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/done_at"));
        world.ada.receive_product(shelf.site, &came(ahead(5))).await.unwrap();
        let here = world.ada.site(shelf.site);
        let meter = here.create::<NewMeter>(&json(json!({ "name": "Pen", "kind": "ec" }))).await.unwrap().id;
        let calibrate = |at: Option<Instant>, due: &str| -> NewCalibration { json(json!({ "meter_id": meter,
            "calibrated_at": at, "standards": "1413 uS/cm", "passed": true, "next_due_on": due })) };
        for (at, due, pointer) in [(ahead(6), "2026-12-24", "/calibrated_at"), (ahead(0), "2026-11-23", "/next_due_on")] {
            let error = here.create::<NewCalibration>(&calibrate(at, due)).await.unwrap_err();
            assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some(pointer));
        }
        here.create::<NewCalibration>(&calibrate(ahead(5), "2026-11-24")).await.unwrap();
    }

    async fn what_is_far_from_the_packs_on_offer_is_asked_back(world: World) {
        let shelf = Shelf::of(&world).await;
        offer(&world, &shelf, supplier(&world, "Greenline").await.id).await;
        for ml in [5.0, 5_000_000.0] {
            let receipt = shelf.receipt("A", None, ml);
            let error = world.ada.receive_product(shelf.site, &receipt).await.unwrap_err();
            let problem = error.problem().unwrap();
            assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/amount")));
            let confirmed = NewReceipt { confirmed: true, ..receipt };
            world.ada.receive_product(shelf.site, &confirmed).await.unwrap();
        }
        shelf.receive(&world.ada, "A", None, 1000.0).await;
    }

    async fn the_same_delivery_entered_again_is_asked_back(world: World) {
        let shelf = Shelf::of(&world).await;
        let first = shelf.receive(&world.ada, "L-2026-077", None, 5000.0).await;
        let (_, sam) = world.person("Sam", Role::Manager, Some(shelf.site)).await;
        world.clock.advance(TimeDelta::minutes(90));
        for person in [&world.ada, &sam] {
            let error = person.receive_product(shelf.site, &shelf.receipt("L-2026-077", None, 5000.0)).await.unwrap_err();
            let problem = error.problem().unwrap();
            assert_eq!((problem.code, problem.errors[0].code.as_str()), (ProblemCode::ConfirmationNeeded, "entered_before"));
            assert!(problem.errors[0].detail.contains(&first.id.to_string()), "{problem:?}");
        }
        assert_eq!(shelf.held(&world.ada).await, 5000.0);
        shelf.receive(&sam, "L-2026-077", None, 4000.0).await;
        shelf.receive(&sam, "L-2026-078", None, 5000.0).await;
        let confirmed = NewReceipt { confirmed: true, ..shelf.receipt("L-2026-077", None, 5000.0) };
        let second = sam.receive_product(shelf.site, &confirmed).await.unwrap();
        for slip in [first.id, second.id] {
            world.ada.reverse_slip(shelf.site, slip, &reversal("nothing came")).await.unwrap();
        }
        shelf.receive(&world.ada, "L-2026-077", None, 5000.0).await;
        world.clock.advance(TimeDelta::hours(3));
        shelf.receive(&world.ada, "L-2026-077", None, 5000.0).await;
        assert_eq!(shelf.held(&world.ada).await, 19_000.0);
    }

    async fn an_order_is_received_in_parts(world: World) {
        let shelf = Shelf::of(&world).await;
        let order = placed(&world, &shelf).await;
        let part = NewReceipt { order_id: Some(order.id), ..shelf.receipt("A", None, 4_000.0) };
        let slip = world.ada.receive_product(shelf.site, &part).await.unwrap();
        world.ada.receive_product(shelf.site, &part).await.unwrap();
        let state = |order: &Order| (order.state.clone(), order.received.len(), order.outstanding.len());
        let now = world.ada.order(shelf.site, order.id).await.unwrap();
        assert_eq!(state(&now), ("part_received".to_owned(), 1, 1));
        assert_eq!(refusal(world.ada.cancel_order(shelf.site, order.id).await), ProblemCode::Conflict);
        let rest = NewReceipt { order_id: Some(order.id), ..shelf.receipt("B", None, 6_000.0) };
        world.ada.receive_product(shelf.site, &rest).await.unwrap();
        let now = world.ada.order(shelf.site, order.id).await.unwrap();
        assert_eq!(state(&now), ("received".to_owned(), 2, 0));
        world.ada.reverse_slip(shelf.site, slip.id, &reversal("was another delivery")).await.unwrap();
        let now = world.ada.order(shelf.site, order.id).await.unwrap();
        assert_eq!(state(&now), ("part_received".to_owned(), 1, 1));
        let closed = world.ada.close_order(shelf.site, order.id).await.unwrap();
        assert_eq!((state(&closed), closed.never_came[0].amount.value), (("received".to_owned(), 1, 0), 4_000.0));
        let table = world.ada.get_text(&format!("/sites/{}/orders?format=csv", shelf.site)).await.unwrap();
        assert!(table.contains(",Greenline,") && table.contains(",Grow A,"), "{table}");
        let late = NewReceipt { order_id: Some(order.id), ..shelf.receipt("C", None, 1.0) };
        assert_eq!(refusal(world.ada.receive_product(shelf.site, &late).await), ProblemCode::Conflict);
        assert_eq!(shelf.held(&world.ada).await, 6_000.0);
    }

    async fn a_supplier_confirms_another_day_and_other_packs(world: World) {
        let shelf = Shelf::of(&world).await;
        let order = placed(&world, &shelf).await;
        let confirm = async |body: serde_json::Value| world.ada.confirm_order(shelf.site, order.id, &json(body)).await;
        let packs = |packs: u32| json!([{ "offer_id": order.lines[0].offer_id, "packs": packs }]);
        let later = confirm(json!({ "expected_on": "2026-12-02" })).await.unwrap();
        assert_eq!(later.expected_on.map(|day| day.to_string()).as_deref(), Some("2026-12-02"));
        assert_eq!((later.state.as_str(), later.outstanding[0].amount.value), ("placed", 10_000.0));
        let more = confirm(json!({ "lines": packs(3) })).await.unwrap();
        assert_eq!((more.outstanding[0].amount.value, more.value_minor, more.expected_on), (15_000.0, 5970, later.expected_on));
        assert_eq!(refusal(confirm(json!({ "lines": packs(0) })).await), ProblemCode::Conflict, "that is to be cancelled");
        let error = confirm(json!({ "expected_on": "2026-11-23" })).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].code, "before_placed");
        for far in [json!({ "lines": packs(3000) }), json!({ "expected_on": "2036-12-02" })] {
            assert_eq!(refusal(confirm(far).await), ProblemCode::ConfirmationNeeded);
        }
        assert_eq!(refusal(confirm(json!({})).await), ProblemCode::Invalid);
        let other = json!([{ "offer_id": Uuid::now_v7(), "packs": 1 }]);
        let error = confirm(json!({ "lines": other })).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/lines/0/offer_id"));
        let part = NewReceipt { order_id: Some(order.id), ..shelf.receipt("A", None, 5_000.0) };
        world.ada.receive_product(shelf.site, &part).await.unwrap();
        let all = confirm(json!({ "lines": packs(1) })).await.unwrap();
        assert_eq!((all.state.as_str(), all.never_came.len()), ("received", 0));
        let error = confirm(json!({ "lines": packs(0) })).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].code, "fewer_than_came");
        let after_all = confirm(json!({ "lines": packs(2) })).await.unwrap();
        assert_eq!((after_all.state.as_str(), after_all.outstanding[0].amount.value), ("part_received", 5_000.0));
    }

    async fn a_draft_whose_offer_has_changed_is_asked_back(world: World) {
        let shelf = Shelf::of(&world).await;
        let supplier = supplier(&world, "Greenline").await;
        let offer = offer(&world, &shelf, supplier.id).await;
        let draft = world.ada.draft_order(shelf.site, &two_packs(&offer)).await.unwrap();
        let place = async |confirmed| {
            let placing = NewPlacing { placed_at: None, expected_on: None, confirmed };
            world.ada.place_order(shelf.site, draft.id, &placing).await
        };
        let asked = |error: ClientError| error.problem().unwrap().errors[0].detail.clone();
        let site = world.ada.site(shelf.site);
        let dearer = site.change(&offer, json!({ "price_minor": 2490, "minimum_packs": 3 })).await.unwrap();
        let doubts = place(false).await.unwrap_err();
        let told: Vec<String> = doubts.problem().unwrap().errors.iter().map(|fault| fault.detail.clone()).collect();
        assert_eq!(told, ["Grow A costs 24.90 EUR a pack now, and 19.90 EUR when it was drafted", "Grow A is sold from 3 packs on now"]);
        let dearer = site.change(&dearer, json!({ "minimum_packs": 1 })).await.unwrap();
        let redrafted = world.ada.redraft_order(shelf.site, &draft, &two_packs(&offer)).await.unwrap();
        assert_eq!(redrafted.value_minor, 4980);
        site.archive(&dearer).await.unwrap();
        assert_eq!(asked(place(false).await.unwrap_err()), "Grow A is no longer offered");
        assert_eq!(place(true).await.unwrap().state, "placed");
    }

    async fn a_supplier_with_terms_in_another_money_is_told_on_the_draft(world: World) {
        let shelf = Shelf::of(&world).await;
        let supplier = supplier(&world, "Greenline").await;
        let offer = offer(&world, &shelf, supplier.id).await;
        world.ada.business().change(&supplier, json!({ "currency": "GBP" })).await.unwrap();
        let draft = world.ada.draft_order(shelf.site, &two_packs(&offer)).await.unwrap();
        assert_eq!(draft.cautions, ["the supplier's least order and freight are in GBP and not reckoned with"]);
    }

    async fn several_people_take_in_parts_of_one_order_at_once(world: World) {
        let shelf = Shelf::of(&world).await;
        let order = placed(&world, &shelf).await;
        let part = |lot: &str| NewReceipt { order_id: Some(order.id), ..shelf.receipt(lot, None, 1_000.0) };
        let parts: Vec<NewReceipt> = ["A", "B", "C", "D", "E", "F"].map(part).into();
        for came in join_all(parts.iter().map(|part| world.ada.receive_product(shelf.site, part))).await {
            came.unwrap();
        }
        let now = world.ada.order(shelf.site, order.id).await.unwrap();
        assert_eq!((now.received.len(), now.outstanding[0].amount.value), (6, 4_000.0));
        assert_eq!(shelf.held(&world.ada).await, 6_000.0);
    }

    async fn an_order_closed_short_awaits_its_rest_again_when_a_part_is_taken_back(world: World) {
        let shelf = Shelf::of(&world).await;
        let order = placed(&world, &shelf).await;
        let part = NewReceipt { order_id: Some(order.id), ..shelf.receipt("A", None, 4_000.0) };
        let slip = world.ada.receive_product(shelf.site, &part).await.unwrap();
        world.ada.close_order(shelf.site, order.id).await.unwrap();
        let back = world.ada.reverse_slip(shelf.site, slip.id, &reversal("another lot")).await.unwrap();
        assert!(back.cautions.iter().any(|caution| caution.starts_with("The order had been closed short")), "{back:?}");
        assert_eq!(world.ada.order(shelf.site, order.id).await.unwrap().state, "placed");
        let again = NewReceipt { order_id: Some(order.id), ..shelf.receipt("B", None, 10_000.0) };
        let slip = world.ada.receive_product(shelf.site, &again).await.unwrap();
        let back = world.ada.reverse_slip(shelf.site, slip.id, &reversal("another lot")).await.unwrap();
        assert!(!back.cautions.iter().any(|caution| caution.starts_with("The order")), "{back:?}");
    }

    async fn far_more_than_was_ordered_is_asked_back(world: World) {
        let shelf = Shelf::of(&world).await;
        let order = placed(&world, &shelf).await;
        let slip_of_a_digit = NewReceipt { order_id: Some(order.id), ..shelf.receipt("A", None, 100_000.0) };
        let error = world.ada.receive_product(shelf.site, &slip_of_a_digit).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/amount")));
        assert_eq!(problem.errors[0].detail, "100000 mL came of which the order still awaited 10000 mL");
        assert_eq!(shelf.held(&world.ada).await, 0.0);
        let confirmed = NewReceipt { confirmed: true, ..slip_of_a_digit };
        world.ada.receive_product(shelf.site, &confirmed).await.unwrap();
        world.ada.receive_product(shelf.site, &NewReceipt { confirmed: false, ..confirmed }).await.expect("the same again");
        assert_eq!(shelf.held(&world.ada).await, 100_000.0);
    }

    async fn somewhat_more_than_was_ordered_is_taken_in_with_a_caution(world: World) {
        let shelf = Shelf::of(&world).await;
        let order = placed(&world, &shelf).await;
        let of_order = |lot: &str, ml| NewReceipt { order_id: Some(order.id), ..shelf.receipt(lot, None, ml) };
        let part = world.ada.receive_product(shelf.site, &of_order("A", 6_000.0)).await.unwrap();
        let rest = world.ada.receive_product(shelf.site, &of_order("B", 5_000.0)).await.unwrap();
        let more = |slip: &Slip| slip.cautions.iter().any(|caution| caution.starts_with("more came than the order"));
        assert_eq!((more(&part), more(&rest)), (false, true), "{:?}", rest.cautions);
    }

    async fn an_order_that_is_given_up_tells_when_it_was_placed(world: World) {
        let shelf = Shelf::of(&world).await;
        let order = placed(&world, &shelf).await;
        let given_up = world.ada.cancel_order(shelf.site, order.id).await.unwrap();
        assert!(order.placed_on.is_some(), "{order:?}");
        assert_eq!((given_up.state.as_str(), given_up.placed_on), ("cancelled", order.placed_on));
        assert_eq!(world.ada.order(shelf.site, order.id).await.unwrap(), given_up);
    }

    async fn only_a_draft_is_changed_and_against_its_version(world: World) {
        let shelf = Shelf::of(&world).await;
        let supplier = supplier(&world, "Greenline").await;
        let offer = offer(&world, &shelf, supplier.id).await;
        let draft = world.ada.draft_order(shelf.site, &two_packs(&offer)).await.unwrap();
        let three = NewOrder { lines: vec![NewOrderLine { offer_id: offer.id, packs: 3 }] };
        let changed = world.ada.redraft_order(shelf.site, &draft, &three).await.unwrap();
        assert_eq!((changed.lines[0].packs, changed.version), (3, 2));
        assert_eq!(refusal(world.ada.redraft_order(shelf.site, &draft, &three).await), ProblemCode::Stale);
        let body = NewReceipt { order_id: Some(draft.id), ..shelf.receipt("A", None, 1.0) };
        assert_eq!(refusal(world.ada.receive_product(shelf.site, &body).await), ProblemCode::Conflict);
        assert_eq!(refusal(world.ada.business().archive(&supplier).await), ProblemCode::Conflict);
        assert_eq!(world.ada.cancel_order(shelf.site, draft.id).await.unwrap().state, "cancelled");
        assert_eq!(refusal(world.ada.redraft_order(shelf.site, &changed, &three).await), ProblemCode::Conflict);
        assert_eq!(world.ada.orders(shelf.site, "state=cancelled").await.unwrap().len(), 1);
    }

    async fn an_offer_speaks_the_sites_money_and_the_products_unit(world: World) {
        let shelf = Shelf::of(&world).await;
        let supplier = supplier(&world, "Greenline").await;
        let body = json(json!({ "supplier_id": supplier.id, "product_id": shelf.product, "pack": { "value": 5, "unit": "kg" },
            "price_minor": 1990, "currency": "GBP" }));
        let error = world.ada.site(shelf.site).create::<NewOffer>(&body).await.unwrap_err();
        let pointers: Vec<_> = error.problem().unwrap().errors.iter().map(|fault| fault.pointer.clone().unwrap()).collect();
        assert_eq!(pointers, ["/currency", "/pack"]);
    }

    async fn an_order_takes_offers_of_one_supplier_and_only_what_it_lists(world: World) {
        let shelf = Shelf::of(&world).await;
        let order = placed(&world, &shelf).await;
        let other = product(&world, "Grow B", "mL").await;
        let part_b = Shelf { site: shelf.site, product: other.id };
        let body = NewReceipt { order_id: Some(order.id), ..part_b.receipt("A", None, 1.0) };
        let error = world.ada.receive_product(shelf.site, &body).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].code, "not_ordered");
        let second = supplier(&world, "Bluewater").await;
        let elsewhere = offer(&world, &part_b, second.id).await;
        let lines = vec![NewOrderLine { offer_id: order.lines[0].offer_id, packs: 1 }, NewOrderLine { offer_id: elsewhere.id, packs: 1 }];
        let error = world.ada.draft_order(shelf.site, &NewOrder { lines }).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/lines/1/offer_id"));
    }
}
