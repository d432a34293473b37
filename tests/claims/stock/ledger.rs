//! One hand at the ledger: what comes in, goes out, is counted, written off, taken back.

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, json, refusal};
use serde_json::json;
use uuid::Uuid;

use super::{Shelf, issue, product, reversal};

on_both! {
    async fn the_lot_that_expires_first_is_poured_first(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "B", Some("2027-03-01"), 500.0).await;
        shelf.receive(&world.ada, "A", Some("2026-12-01"), 200.0).await;
        let slip = shelf.issue(&world.ada, 300.0).await.unwrap();
        let taken: Vec<f64> = slip.movements.iter().map(|movement| movement.change.value).collect();
        assert_eq!(taken, [-200.0, -100.0]);
        assert_eq!(shelf.lots(&world.ada).await, [("B".to_owned(), 400.0)]);
        assert_eq!(world.ada.slip(shelf.site, slip.id).await.unwrap(), slip);
    }

    async fn a_draw_beyond_the_balance_is_refused_with_the_balance(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 200.5).await;
        let error = shelf.issue(&world.ada, 300.0).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.detail.as_str()),
            (ProblemCode::OutOfStock, "asked for 300 mL of which 200.5 mL may be used"));
        assert_eq!(shelf.held(&world.ada).await, 200.5);
    }

    async fn what_was_poured_all_the_same_is_a_shortage_until_a_count(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 200.0).await;
        let body = NewIssue { poured_all_the_same: true, ..issue(300.0) };
        let slip = world.ada.issue_product(shelf.site, shelf.product, &body).await.unwrap();
        assert_eq!(slip.shortage.unwrap().value, 100.0);
        let stock = world.ada.product_stock(shelf.site, shelf.product).await.unwrap();
        assert_eq!((stock.balance.value, stock.shortage.map(|short| short.value)), (0.0, Some(100.0)));
        assert_eq!(world.ada.issue_product(shelf.site, shelf.product, &body).await.unwrap(), slip);
        shelf.count(&world.ada, None, 30.0).await.unwrap();
        let settled = world.ada.shortages(shelf.site, "state=settled").await.unwrap();
        assert_eq!(settled.len(), 1);
        assert_eq!(world.ada.shortages(shelf.site, "state=open").await.unwrap(), []);
        assert_eq!(shelf.held(&world.ada).await, 30.0);
    }

    async fn a_count_settles_only_what_it_tells_of(world: World) {
        let shelf = Shelf::of(&world).await;
        let lot = shelf.receive(&world.ada, "A", None, 200.0).await.movements[0].lot_id;
        world.clock.advance(TimeDelta::hours(2));
        let body = NewIssue { poured_all_the_same: true, ..issue(300.0) };
        world.ada.issue_product(shelf.site, shelf.product, &body).await.unwrap();
        let open = async || world.ada.shortages(shelf.site, "state=open").await.unwrap().len();
        shelf.count(&world.ada, Some(lot), 0.0).await.unwrap();
        assert_eq!(open().await, 1, "the pour may have come from another lot");
        let earlier: NewCount = json(json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product,
            "counted": { "value": 200.0, "unit": "mL" }, "done_at": "2026-11-24T07:00:00Z" }));
        world.ada.count_stock(shelf.site, &earlier).await.unwrap();
        assert_eq!(open().await, 1, "it was poured after that count");
        shelf.count(&world.ada, None, 0.0).await.unwrap();
        assert_eq!(open().await, 0);
    }

    async fn a_receipt_settles_a_shortage_and_a_reversal_withdraws_one(world: World) {
        let shelf = Shelf::of(&world).await;
        for _ in 0..2 {
            let body = NewIssue { poured_all_the_same: true, ..issue(50.0) };
            let slip = world.ada.issue_product(shelf.site, shelf.product, &body).await.unwrap();
            assert_eq!(slip.movements, []);
        }
        let slips = world.ada.shortages(shelf.site, "").await.unwrap();
        world.ada.reverse_slip(shelf.site, slips[0].slip_id, &reversal("was water")).await.unwrap();
        shelf.receive(&world.ada, "A", None, 500.0).await;
        for (state, count) in [("withdrawn", 1), ("settled", 1), ("open", 0)] {
            let shortages = world.ada.shortages(shelf.site, &format!("state={state}")).await.unwrap();
            assert_eq!(shortages.len(), count, "{state}");
        }
        assert_eq!(shelf.held(&world.ada).await, 500.0);
    }

    async fn what_was_poured_before_its_receipt_was_entered_is_drawn_from_it(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 500.0).await;
        let body = NewIssue { poured_all_the_same: true, ..issue(800.0) };
        let slip = world.ada.issue_product(shelf.site, shelf.product, &body).await.unwrap();
        let came_at = Some(Instant(world.server.app.now() - TimeDelta::days(1)));
        let late = NewReceipt { done_at: came_at, ..shelf.receipt("B", None, 1000.0) };
        let receipt = world.ada.receive_product(shelf.site, &late).await.unwrap();
        assert_eq!(world.ada.receive_product(shelf.site, &late).await.unwrap(), receipt);
        assert_eq!(world.ada.shortages(shelf.site, "state=settled").await.unwrap().len(), 1);
        assert_eq!(shelf.lots(&world.ada).await, [("B".to_owned(), 700.0)]);
        world.ada.reverse_slip(shelf.site, slip.id, &reversal("was water")).await.unwrap();
        assert_eq!((shelf.held(&world.ada).await, shelf.moved(&world.ada).await), (1500.0, 1500.0));
        fillmark_server::commands::verify(&world.server.app).await.unwrap();
    }

    async fn the_same_client_id_twice_has_one_effect(world: World) {
        let shelf = Shelf::of(&world).await;
        let receipt = shelf.receipt("A", Some("2027-03-01"), 500.0);
        let first = world.ada.receive_product(shelf.site, &receipt).await.unwrap();
        world.clock.advance(TimeDelta::hours(2));
        assert_eq!(world.ada.receive_product(shelf.site, &receipt).await.unwrap(), first);
        let other = NewReceipt { amount: Quantity::new(501.0, fillmark_domain::Unit::MilliLitre), ..receipt.clone() };
        assert_eq!(refusal(world.ada.receive_product(shelf.site, &other).await), ProblemCode::ClientIdReused);
        let poured = NewIssue { client_id: other.client_id, ..issue(1.0) };
        assert_eq!(refusal(world.ada.issue_product(shelf.site, shelf.product, &poured).await), ProblemCode::ClientIdReused);
        let there = shelf.at(&world, "Hill").await;
        assert_eq!(refusal(world.ada.receive_product(there.site, &receipt).await), ProblemCode::ClientIdReused);
        assert_eq!(shelf.held(&world.ada).await, 500.0);
    }

    async fn a_count_of_a_product_spreads_over_its_lots(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "B", Some("2027-03-01"), 500.0).await;
        shelf.receive(&world.ada, "A", Some("2026-12-01"), 200.0).await;
        shelf.count(&world.ada, None, 600.0).await.unwrap();
        let lots = |a: f64, b: f64| vec![("A".to_owned(), a), ("B".to_owned(), b)];
        assert_eq!(shelf.lots(&world.ada).await, lots(100.0, 500.0));
        shelf.count(&world.ada, None, 620.0).await.unwrap();
        assert_eq!(shelf.lots(&world.ada).await, lots(120.0, 500.0));
        let stock = world.ada.product_stock(shelf.site, shelf.product).await.unwrap();
        shelf.count(&world.ada, Some(stock.lots[1].lot_id), 480.5).await.unwrap();
        assert_eq!(shelf.lots(&world.ada).await, lots(120.0, 480.5));
        assert_eq!(shelf.moved(&world.ada).await, shelf.held(&world.ada).await);
    }

    async fn quarantined_and_expired_lots_are_held_and_never_poured(world: World) {
        let shelf = Shelf::of(&world).await;
        let kept_back = shelf.receive(&world.ada, "Q", None, 300.0).await;
        shelf.receive(&world.ada, "E", Some("2026-11-23"), 200.0).await;
        let lots = world.ada.business();
        let lot = lots.read::<NewLot>(kept_back.lot_id.unwrap()).await.unwrap();
        lots.change(&lot, json!({ "quarantined": true })).await.unwrap();
        let stock = world.ada.product_stock(shelf.site, shelf.product).await.unwrap();
        assert_eq!((stock.balance.value, stock.usable.value), (500.0, 0.0));
        assert_eq!(refusal(shelf.issue(&world.ada, 1.0).await), ProblemCode::OutOfStock);
        let body = NewWriteOff { client_id: Uuid::now_v7(), lot_id: stock.lots[0].lot_id,
            amount: stock.lots[0].balance, reason: "expired".into(), done_at: None };
        world.ada.write_off_lot(shelf.site, &body).await.unwrap();
        world.ada.write_off_lot(shelf.site, &body).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 300.0);
        let more = NewWriteOff { client_id: Uuid::now_v7(), ..body };
        assert_eq!(refusal(world.ada.write_off_lot(shelf.site, &more).await), ProblemCode::OutOfStock);
        fillmark_server::commands::verify(&world.server.app).await.unwrap();
        assert_eq!(refusal(lots.archive(&lots.read::<NewLot>(lot.id).await.unwrap()).await), ProblemCode::Conflict);
    }

    async fn a_lot_that_may_not_be_used_is_drawn_only_when_it_is_named_and_was_poured(world: World) {
        let shelf = Shelf::of(&world).await;
        let lots = world.ada.business();
        for (number, expiry, told) in [("E", Some("2026-11-23"), "expired"), ("Q", None, "quarantine")] {
            let lot_id = shelf.receive(&world.ada, number, expiry, 200.0).await.lot_id;
            let lot = lots.read::<NewLot>(lot_id.unwrap()).await.unwrap();
            lots.change(&lot, json!({ "quarantined": expiry.is_none() })).await.unwrap();
            let named = NewIssue { lot_id, ..issue(250.0) };
            let error = world.ada.issue_product(shelf.site, shelf.product, &named).await.unwrap_err();
            let problem = error.problem().unwrap();
            assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::OutOfStock, Some("/lot_id")));
            assert!(problem.detail.contains("200 mL") && problem.detail.contains(told), "{}", problem.detail);
            let poured = NewIssue { poured_all_the_same: true, ..named };
            let slip = world.ada.issue_product(shelf.site, shelf.product, &poured).await.unwrap();
            assert_eq!((slip.movements[0].change.value, slip.shortage.unwrap().value), (-200.0, 50.0));
        }
        assert_eq!((shelf.held(&world.ada).await, shelf.moved(&world.ada).await), (0.0, 0.0));
    }

    async fn a_lot_that_comes_in_expired_comes_with_a_caution(world: World) {
        let shelf = Shelf::of(&world).await;
        let receipt = shelf.receipt("E", Some("2026-11-23"), 200.0);
        let slip = world.ada.receive_product(shelf.site, &receipt).await.unwrap();
        assert!(slip.cautions.iter().any(|caution| caution.contains("expired")), "{:?}", slip.cautions);
        assert_eq!(world.ada.receive_product(shelf.site, &receipt).await.unwrap(), slip);
        assert_eq!(world.ada.slip(shelf.site, slip.id).await.unwrap(), slip);
        let good = shelf.receive(&world.ada, "G", Some("2026-11-24"), 200.0).await;
        assert!(good.cautions.is_empty(), "{:?}", good.cautions);
    }

    async fn a_movement_is_taken_back_once_by_its_opposite(world: World) {
        let shelf = Shelf::of(&world).await;
        let receipt = shelf.receive(&world.ada, "A", None, 500.0).await;
        let issued = shelf.issue(&world.ada, 100.0).await.unwrap();
        let back = reversal("typed twice");
        let reversed = world.ada.reverse_movement(shelf.site, issued.movements[0].id, &back).await.unwrap();
        assert_eq!(reversed.movements[0].reverses_id, Some(issued.movements[0].id));
        assert_eq!(reversed.reason.as_deref(), Some("typed twice"));
        assert_eq!(world.ada.reverse_movement(shelf.site, issued.movements[0].id, &back).await.unwrap(), reversed);
        let again = world.ada.reverse_movement(shelf.site, issued.movements[0].id, &reversal("again")).await;
        assert_eq!(refusal(again), ProblemCode::Conflict);
        let of_reversal = world.ada.reverse_movement(shelf.site, reversed.movements[0].id, &reversal("no")).await;
        assert_eq!(refusal(of_reversal), ProblemCode::Conflict);
        shelf.issue(&world.ada, 450.0).await.unwrap();
        let used = world.ada.reverse_slip(shelf.site, receipt.id, &reversal("never came")).await;
        assert_eq!(refusal(used), ProblemCode::OutOfStock);
        assert_eq!((shelf.held(&world.ada).await, shelf.moved(&world.ada).await), (50.0, 50.0));
    }

    async fn amounts_are_of_the_products_base_and_no_finer_than_its_thousandth(world: World) {
        let shelf = Shelf::of(&world).await;
        for amount in [json!({ "value": 1.2345, "unit": "mL" }), json!({ "value": 1.0, "unit": "kg" }),
            json!({ "value": 0.0, "unit": "mL" }), json!({ "value": -5.0, "unit": "L" }), json!({ "value": 1e12, "unit": "L" })] {
            let body: NewReceipt = json(json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product, "lot_number": "A", "amount": amount }));
            let error = world.ada.receive_product(shelf.site, &body).await.unwrap_err();
            assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/amount"), "{amount}");
        }
        let body: NewReceipt = json(json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product, "lot_number": "A",
            "amount": { "value": 1.000001, "unit": "L" } }));
        world.ada.receive_product(shelf.site, &body).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 1000.001);
    }

    async fn staff_issue_and_do_not_receive(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 500.0).await;
        let (_, sam) = world.person("Sam", Role::Staff, Some(shelf.site)).await;
        shelf.issue(&sam, 10.0).await.unwrap();
        assert_eq!(refusal(sam.receive_product(shelf.site, &shelf.receipt("B", None, 1.0)).await), ProblemCode::NotAllowed);
        assert_eq!(refusal(shelf.count(&sam, None, 1.0).await), ProblemCode::NotAllowed);
        let (own, of_ada) = (shelf.issue(&sam, 5.0).await.unwrap(), shelf.issue(&world.ada, 5.0).await.unwrap());
        sam.reverse_slip(shelf.site, own.id, &reversal("not used")).await.unwrap();
        let refused = sam.reverse_slip(shelf.site, of_ada.id, &reversal("not used")).await;
        assert_eq!(refusal(refused), ProblemCode::NotAllowed);
        let hill = shelf.at(&world, "Hill").await;
        assert_eq!(refusal(hill.issue(&sam, 1.0).await), ProblemCode::NotFound);
    }

    async fn what_is_not_there_is_named_and_nothing_is_entered(world: World) {
        let shelf = Shelf::of(&world).await;
        let hill = shelf.at(&world, "Hill").await;
        let slip = shelf.receive(&world.ada, "A", None, 500.0).await;
        let nobody = Shelf { site: shelf.site, product: Uuid::now_v7() };
        assert_eq!(refusal(nobody.issue(&world.ada, 1.0).await), ProblemCode::NotFound);
        let lot_elsewhere = NewIssue { lot_id: slip.lot_id, ..issue(1.0) };
        let unknown_lot = NewIssue { lot_id: Some(Uuid::now_v7()), ..issue(1.0) };
        for (site, body) in [(hill.site, lot_elsewhere), (shelf.site, unknown_lot)] {
            let error = world.ada.issue_product(site, shelf.product, &body).await.unwrap_err();
            assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/lot_id"));
        }
        assert_eq!(refusal(shelf.count(&world.ada, Some(Uuid::now_v7()), 1.0).await), ProblemCode::Invalid);
        assert_eq!(refusal(hill.count(&world.ada, None, 1.0).await), ProblemCode::Invalid);
        let at = Some(Instant(world.server.app.now() + TimeDelta::days(1)));
        let early = NewIssue { done_at: at, ..issue(1.0) };
        assert_eq!(refusal(world.ada.issue_product(shelf.site, shelf.product, &early).await), ProblemCode::Invalid);
        let order = NewReceipt { order_id: Some(Uuid::now_v7()), ..shelf.receipt("A", None, 1.0) };
        assert_eq!(refusal(world.ada.receive_product(shelf.site, &order).await), ProblemCode::Invalid);
        assert_eq!(refusal(world.ada.slip(hill.site, slip.id).await), ProblemCode::NotFound);
        let there = world.ada.reverse_movement(hill.site, slip.movements[0].id, &reversal("no")).await;
        assert_eq!(refusal(there), ProblemCode::NotFound);
        assert_eq!(world.ada.movements(shelf.site, "kind=issue").await.unwrap(), []);
        assert_eq!(world.ada.movements(shelf.site, "kind=receipt").await.unwrap().len(), 1);
    }

    async fn a_preparation_turns_lots_into_a_new_lot_or_nothing(world: World) {
        let shelf = Shelf::of(&world).await;
        let salt = product(&world, "Calcium nitrate", "g").await;
        let made = product(&world, "Stock A", "mL").await;
        let salts = Shelf { site: shelf.site, product: salt.id };
        let receipt: NewReceipt = json(json!({ "client_id": Uuid::now_v7(), "product_id": salt.id, "lot_number": "S1",
            "amount": { "value": 5, "unit": "kg" } }));
        world.ada.receive_product(shelf.site, &receipt).await.unwrap();
        shelf.receive(&world.ada, "A", None, 100.0).await;
        let body: NewPreparation = json(json!({ "client_id": Uuid::now_v7(), "product_id": made.id, "lot_number": "P1",
            "expiry_on": "2026-12-24", "amount": { "value": 20, "unit": "L" }, "strength": 100.0, "parts": [
                { "product_id": salt.id, "amount": { "value": 2, "unit": "kg" } },
                { "product_id": shelf.product, "amount": { "value": 150, "unit": "mL" } }] }));
        assert_eq!(refusal(world.ada.make_preparation(shelf.site, &body).await), ProblemCode::OutOfStock);
        assert_eq!((salts.held(&world.ada).await, shelf.held(&world.ada).await), (5000.0, 100.0));
        let as_much_again = NewReceipt { confirmed: true, ..shelf.receipt("A", None, 100.0) };
        world.ada.receive_product(shelf.site, &as_much_again).await.unwrap();
        let slip = world.ada.make_preparation(shelf.site, &body).await.unwrap();
        assert_eq!(world.ada.make_preparation(shelf.site, &body).await.unwrap(), slip);
        assert_eq!((slip.strength, slip.movements.len()), (Some(100.0), 3));
        let stock = Shelf { site: shelf.site, product: made.id };
        assert_eq!(stock.lots(&world.ada).await, [("P1".to_owned(), 20000.0)]);
        assert_eq!((salts.held(&world.ada).await, shelf.held(&world.ada).await), (3000.0, 50.0));
    }

    async fn acids_come_with_their_cautions(world: World) {
        let site = world.site("Harbour").await.id;
        let body = json(json!({ "name": "pH down", "base": "mL", "kind": "ph_adjuster", "mixing_rank": 90,
            "hazards": "phosphoric acid, causes burns" }));
        let business = world.ada.business();
        let acid = business.create::<NewProduct>(&body).await.unwrap();
        assert!(acid.body.cautions[0].contains("eye and hand protection"), "{:?}", acid.body.cautions);
        let shelf = Shelf { site, product: acid.id };
        shelf.receive(&world.ada, "A", None, 100.0).await;
        assert_eq!(shelf.issue(&world.ada, 1.0).await.unwrap().cautions, acid.body.cautions);
        let changed = business.change(&acid, json!({ "storage": "locked" })).await.unwrap();
        assert_eq!(changed.body.cautions, acid.body.cautions);
        assert_eq!(refusal(business.change(&changed, json!({ "base": "g" })).await), ProblemCode::Invalid);
        assert_eq!(refusal(business.archive(&changed).await), ProblemCode::Conflict);
    }

    async fn a_lot_is_received_under_the_label_of_its_day(world: World) {
        let shelf = Shelf::of(&world).await;
        let business = world.ada.business();
        let label = |at: &str| json(json!({ "product_id": shelf.product, "effective_at": at, "full_strength_per_l": 2.5 }));
        let old = business.create::<NewLabelRevision>(&label("2026-01-01T00:00:00Z")).await.unwrap();
        business.create::<NewLabelRevision>(&label("2027-01-01T00:00:00Z")).await.unwrap();
        let slip = shelf.receive(&world.ada, "A", None, 100.0).await;
        let lot = business.read::<NewLot>(slip.lot_id.unwrap()).await.unwrap();
        assert_eq!(lot.body.revision_id, Some(old.id));
        let other = world.ada.receive_product(shelf.site, &shelf.receipt("A", Some("2027-01-01"), 1.0)).await;
        assert_eq!(refusal(other), ProblemCode::Invalid);
    }
}
