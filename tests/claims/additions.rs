//! Additions: what goes into a tank comes from the shelf, once, and can be taken back once.

use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_tests::Feeding;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, instant, refusal};
use serde_json::json;
use uuid::Uuid;

/// 200 mL that expire in December and 500 mL that expire in March.
async fn two_lots(world: &World) -> Feeding {
    let feeding = world.feeding().await;
    feeding.receive(&world.ada, feeding.grow_a, "B", "2027-03-01", 500.0).await;
    feeding.receive(&world.ada, feeding.grow_a, "A", "2026-12-01", 200.0).await;
    feeding
}

fn reversal(reason: &str) -> NewReversal {
    NewReversal { client_id: Uuid::now_v7(), reason: reason.into() }
}

on_both! {
    async fn what_expires_first_is_poured_first(world: World) {
        let feeding = two_lots(&world).await;
        let kept = world.ada.record_addition(feeding.here.site, &feeding.addition(300.0)).await.unwrap();
        let taken: Vec<f64> = kept.lots.iter().map(|lot| lot.amount.value).collect();
        assert_eq!((taken, kept.shortage), (vec![200.0, 100.0], None));
        let left = world.ada.product_stock(feeding.here.site, feeding.grow_a).await.unwrap().lots;
        assert_eq!(left.iter().map(|lot| (lot.number.as_str(), lot.balance.value)).collect::<Vec<_>>(), [("B", 400.0)]);
        let movements = world.ada.movements(feeding.here.site, "").await.unwrap();
        assert_eq!(movements.iter().filter(|movement| movement.change.value < 0.0).count(), 2);
    }

    async fn the_lot_on_the_label_is_the_lot_that_is_drawn(world: World) {
        let feeding = two_lots(&world).await;
        let stock = world.ada.product_stock(feeding.here.site, feeding.grow_a).await.unwrap();
        let march = stock.lots.iter().find(|lot| lot.number == "B").unwrap().lot_id;
        let labelled = NewAddition { lot_id: Some(march), ..feeding.addition(300.0) };
        let kept = world.ada.record_addition(feeding.here.site, &labelled).await.unwrap();
        assert_eq!(kept.lots.iter().map(|lot| (lot.lot_id, lot.amount.value)).collect::<Vec<_>>(), [(march, 300.0)]);
    }

    async fn beyond_the_balance_nothing_is_entered_and_the_balance_is_named(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let error = world.ada.record_addition(site, &feeding.addition(701.0)).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!(problem.code, ProblemCode::OutOfStock);
        assert!(problem.detail.contains("700 mL"), "{}", problem.detail);
        assert!(world.ada.additions(site, "").await.unwrap().is_empty());
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 700.0);
        assert!(world.ada.shortages(site, "").await.unwrap().is_empty());
    }

    async fn a_batch_pours_from_what_the_items_before_it_left(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let items = [400.0, 400.0, 300.0].map(|ml| feeding.addition(ml)).to_vec();
        let answer = world.ada.record_additions(site, &AdditionBatch { items }).await.unwrap();
        assert_eq!(answer.results[1].problem.as_ref().unwrap().code, ProblemCode::OutOfStock);
        assert_eq!((answer.summary.created_count, answer.summary.rejected_count), (2, 1));
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 0.0);
        let mut poured: Vec<Vec<f64>> = Vec::new();
        for kept in world.ada.additions(site, "").await.unwrap() {
            poured.push(kept.lots.iter().map(|lot| lot.amount.value).collect());
        }
        poured.sort_by_key(Vec::len);
        assert_eq!(poured, [vec![300.0], vec![200.0, 200.0]]);
        assert_eq!(world.ada.movements(site, "kind=issue").await.unwrap().len(), 3);
    }

    async fn a_round_typed_in_late_is_not_drawn_a_second_time(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let counted = fillmark_tests::world::json(json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a,
            "counted": { "value": 450, "unit": "mL" }, "done_at": "2026-11-23T18:00:00Z" }));
        world.ada.count_stock(site, &counted).await.unwrap();
        let at = |hour: u32| Instant(fillmark_tests::world::instant(&format!("2026-11-23T{hour:02}:00:00Z")));
        let late = |hour, ml| NewAddition { recorded_at: at(hour), ..feeding.addition(ml) };
        let items = vec![feeding.addition(30.0), late(7, 150.0), late(19, 20.0), late(8, 100.0)];
        let answer = world.ada.record_additions(site, &AdditionBatch { items }).await.unwrap();
        assert_eq!(answer.summary.created_count, 4);
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 400.0, "450 without 30 and 20");
        let mut lots: Vec<Vec<f64>> = Vec::new();
        for kept in world.ada.additions(site, "sort=recorded_at").await.unwrap() {
            lots.push(kept.lots.iter().map(|lot| lot.amount.value).collect());
        }
        assert_eq!(lots, [vec![150.0], vec![50.0, 50.0], vec![20.0], vec![30.0]]);
    }

    async fn poured_all_the_same_what_was_missing_is_a_shortage(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let poured = NewAddition { poured_all_the_same: true, ..feeding.addition(750.0) };
        let kept = world.ada.record_addition(site, &poured).await.unwrap();
        assert_eq!((kept.amount.value, kept.shortage.map(|short| short.value)), (750.0, Some(50.0)));
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 0.0);
        assert_eq!(world.ada.shortages(site, "state=open").await.unwrap().len(), 1);
        world.ada.reverse_addition(site, kept.id, &reversal("was the other tank")).await.unwrap();
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 700.0);
        assert!(world.ada.shortages(site, "state=open").await.unwrap().is_empty());
    }

    async fn sent_twice_it_is_poured_once(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let addition = feeding.addition(100.0);
        let first = world.ada.record_addition(site, &addition).await.unwrap();
        assert_eq!(world.ada.record_addition(site, &addition).await.unwrap(), first);
        let mut other = addition.clone();
        other.amount.value = 101.0;
        assert_eq!(refusal(world.ada.record_addition(site, &other).await), ProblemCode::ClientIdReused);
        let new = feeding.addition(50.0);
        let batch = AdditionBatch { items: vec![addition, other, new.clone(), new] };
        let answer = world.ada.record_additions(site, &batch).await.unwrap();
        let outcomes: Vec<_> = answer.results.iter().map(|result| result.outcome).collect();
        use BatchOutcome::{Created, Duplicate, Rejected};
        assert_eq!(outcomes, [Duplicate, Rejected, Created, Duplicate]);
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 550.0);
    }

    async fn two_who_send_the_same_at_once_pour_once(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        for _ in 0..5 {
            let addition = NewAddition { confirmed: true, ..feeding.addition(10.0) };
            let both = tokio::join!(world.ada.record_addition(site, &addition), sam.record_addition(site, &addition));
            assert_eq!(both.0.unwrap().id, both.1.unwrap().id);
            let five = || NewAddition { confirmed: true, ..feeding.addition(5.0) };
            let batch = AdditionBatch { items: vec![five(), five()] };
            let both = tokio::join!(world.ada.record_additions(site, &batch), sam.record_additions(site, &batch));
            let (one, other) = (both.0.unwrap().summary, both.1.unwrap().summary);
            assert_eq!((one.created_count + other.created_count, one.duplicate_count + other.duplicate_count), (2, 2));
        }
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 600.0);
    }

    async fn a_batch_arrives_whole_though_parts_of_it_come_one_by_one_meanwhile(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        for _ in 0..4 {
            let items: Vec<NewAddition> =
                (0..12).map(|_| NewAddition { confirmed: true, ..feeding.addition(1.0) }).collect();
            let batch = AdditionBatch { items: items.clone() };
            let single = |at: usize| world.ada.record_addition(site, &items[at]);
            let (whole, one, two, three, four) =
                tokio::join!(world.ada.record_additions(site, &batch), single(1), single(4), single(7), single(10));
            for sent in [one, two, three, four] {
                sent.unwrap();
            }
            let summary = whole.unwrap().summary;
            assert_eq!(summary.created_count + summary.duplicate_count, 12, "{summary:?}");
        }
    }

    async fn the_same_entered_by_somebody_else_is_asked_back(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        let first = world.ada.record_addition(site, &feeding.addition(10.0)).await.unwrap();
        world.ada.record_addition(site, &feeding.addition(10.0)).await.expect("one person doses twice");
        let later = |minutes| Instant(first.recorded_at.0 + chrono::TimeDelta::minutes(minutes));
        let again = NewAddition { recorded_at: later(9), ..feeding.addition(10.0) };
        let error = sam.record_addition(site, &again).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!(problem.code, ProblemCode::ConfirmationNeeded);
        assert_eq!(problem.errors[0].pointer.as_deref(), Some("/amount"));
        assert!(problem.errors[0].detail.contains(&first.id.to_string()), "{}", problem.errors[0].detail);
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 680.0);
        sam.record_addition(site, &NewAddition { confirmed: true, ..again }).await.unwrap();
        sam.record_addition(site, &NewAddition { recorded_at: later(9), ..feeding.addition(11.0) }).await.unwrap();
        sam.record_addition(site, &NewAddition { recorded_at: later(25), ..feeding.addition(10.0) }).await.unwrap();
    }

    async fn many_times_the_usual_is_asked_back(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        feeding.receive(&world.ada, feeding.grow_a, "A", "2027-03-01", 60_000.0).await;
        let asked = |error: fillmark_client::ClientError| {
            let problem = error.problem().unwrap();
            assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/amount")));
            problem.errors[0].detail.clone()
        };
        let told = asked(world.ada.record_addition(site, &feeding.addition(40_000.0)).await.unwrap_err());
        assert!(told.contains("one takes 400 mL"), "{told}");
        world.ada.record_addition(site, &feeding.addition(40.0)).await.unwrap();
        world.clock.advance(chrono::TimeDelta::minutes(5));
        let now = Instant(world.server.app.now());
        let slip = NewAddition { recorded_at: now, ..feeding.addition(400.0) };
        let told = asked(world.ada.record_addition(site, &slip).await.unwrap_err());
        assert!(told.contains("the most of it that the tank was given lately, 40 mL"), "{told}");
        let reason = Code(fillmark_domain::entries::AdditionReason::TopUp);
        let other = NewAddition { client_id: Uuid::now_v7(), reason, ..slip.clone() };
        world.ada.record_addition(site, &other).await.expect("a top-up is not a correction");
        world.ada.record_addition(site, &NewAddition { confirmed: true, ..slip }).await.unwrap();
    }

    async fn water_that_the_tank_cannot_hold_is_asked_back(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        let amount = fillmark_tests::world::json(json!({ "value": 500.0, "unit": "L" }));
        let flood = NewAddition { product_id: None, amount, ..feeding.addition(1.0) };
        let error = world.ada.record_addition(site, &flood).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/amount")));
        world.ada.record_addition(site, &NewAddition { confirmed: true, ..flood }).await.unwrap();
    }

    async fn a_thousandth_of_the_water_that_goes_in_each_day_is_asked_back(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        let water = |day: u32, value: f64, unit: &str| NewAddition {
            client_id: Uuid::now_v7(),
            product_id: None,
            amount: fillmark_tests::world::json(json!({ "value": value, "unit": unit })),
            reason: Code(fillmark_domain::entries::AdditionReason::TopUp),
            recorded_at: instant(&format!("2026-11-{day}T07:00:00+01:00")).into(),
            ..feeding.addition(1.0)
        };
        for day in 20..23 {
            world.ada.record_addition(site, &water(day, 20.0, "L")).await.unwrap();
        }
        let error = world.ada.record_addition(site, &water(23, 20.0, "mL")).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/amount")));
        assert!(problem.errors[0].detail.contains("a small part of what the tank is filled up with"), "{problem:?}");
        world.ada.record_addition(site, &water(23, 0.5, "L")).await.expect("a small top-up");
    }

    async fn two_who_pour_the_last_of_it_at_once_do_not_both_get_it(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        let half = || NewAddition { confirmed: true, ..feeding.addition(400.0) };
        let (one, other) = (half(), half());
        let refused = match tokio::join!(world.ada.record_addition(site, &one), sam.record_addition(site, &other)) {
            (Ok(_), Err(error)) | (Err(error), Ok(_)) => error,
            other => panic!("{other:?}"),
        };
        assert_eq!(refused.problem().unwrap().code, ProblemCode::OutOfStock);
        assert_eq!(feeding.held(&world.ada, feeding.grow_a).await, 300.0);
    }

    async fn two_who_pour_the_same_in_another_order_never_wait_for_each_other(world: World) {
        let feeding = two_lots(&world).await;
        feeding.receive(&world.ada, feeding.grow_b, "B1", "2027-03-01", 3000.0).await;
        let pair = |swapped: bool| {
            let (mut a, b) = (feeding.addition(1.0), feeding.addition(1.0));
            a.product_id = Some(feeding.grow_b);
            AdditionBatch { items: if swapped { vec![b, a] } else { vec![a, b] } }
        };
        // More at once would wait for connections rather than for each other.
        let batches: Vec<AdditionBatch> = (0..12).map(|n| pair(n % 2 == 0)).collect();
        let sent = batches.iter().map(|batch| world.ada.record_additions(feeding.here.site, batch));
        for answer in futures_util::future::join_all(sent).await {
            assert_eq!(answer.unwrap().summary.created_count, 2);
        }
    }

    async fn taken_back_it_returns_to_its_lots_and_only_once(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let kept = world.ada.record_addition(site, &feeding.addition(300.0)).await.unwrap();
        let back = reversal("typed for the wrong tank");
        let opposite = world.ada.reverse_addition(site, kept.id, &back).await.unwrap();
        assert_eq!((opposite.amount.value, opposite.reverses_id), (-300.0, Some(kept.id)));
        assert_eq!(world.ada.reverse_addition(site, kept.id, &back).await.unwrap(), opposite);
        for id in [kept.id, opposite.id] {
            assert_eq!(refusal(world.ada.reverse_addition(site, id, &reversal("again")).await), ProblemCode::Conflict);
        }
        let lots = world.ada.product_stock(site, feeding.grow_a).await.unwrap().lots;
        let held: Vec<_> = lots.iter().map(|lot| (lot.number.as_str(), lot.balance.value)).collect();
        assert_eq!(held, [("A", 200.0), ("B", 500.0)]);
        let both = world.ada.additions(site, "sort=recorded_at").await.unwrap();
        assert_eq!(both.iter().find(|one| one.id == kept.id).unwrap().reversed_by_id, Some(opposite.id));
    }

    async fn staff_take_back_what_they_entered_themselves_for_a_day(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let (person, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        let kept = sam.record_addition(site, &feeding.addition(10.0)).await.unwrap();
        assert_eq!((kept.done_by, kept.entered_by), (Some(person.id), Some(person.id)));
        let (of_ada, later) = (NewAddition { confirmed: true, ..feeding.addition(10.0) }, feeding.addition(20.0));
        let of_ada = world.ada.record_addition(site, &of_ada).await.unwrap();
        assert_eq!(refusal(sam.reverse_addition(site, of_ada.id, &reversal("no")).await), ProblemCode::NotAllowed);
        let back = reversal("the wrong tank");
        let opposite = sam.reverse_addition(site, kept.id, &back).await.unwrap();
        let later = sam.record_addition(site, &later).await.unwrap();
        world.clock.set(fillmark_tests::world::instant("2026-11-25T06:00:01Z"));
        for (client, name) in [(&world.ada, "ada"), (&sam, "sam")] {
            client.sign_in(name, fillmark_tests::world::PASSWORD).await.unwrap();
        }
        assert_eq!(refusal(sam.reverse_addition(site, later.id, &reversal("too late")).await), ProblemCode::NotAllowed);
        assert_eq!(sam.reverse_addition(site, kept.id, &back).await.unwrap(), opposite, "sent again");
        world.ada.reverse_addition(site, later.id, &reversal("managers may")).await.unwrap();
        let (_, kim) = world.person("Kim", Role::Auditor, Some(site)).await;
        assert_eq!(refusal(kim.record_addition(site, &feeding.addition(10.0)).await), ProblemCode::NotAllowed);
        assert_eq!(refusal(kim.reverse_addition(site, of_ada.id, &reversal("no")).await), ProblemCode::NotAllowed);
        assert_eq!(kim.additions(site, "").await.unwrap().len(), 5);
    }

    async fn water_needs_no_lot_and_amounts_fit_what_is_poured(world: World) {
        let feeding = two_lots(&world).await;
        let site = feeding.here.site;
        let water = |value: f64, unit: &str| {
            let amount = fillmark_tests::world::json(json!({ "value": value, "unit": unit }));
            NewAddition { product_id: None, amount, ..feeding.addition(1.0) }
        };
        let kept = world.ada.record_addition(site, &water(12.0, "L")).await.unwrap();
        assert_eq!((kept.product_id, kept.lots.len()), (None, 0));
        let kilogram = NewAddition { product_id: Some(feeding.grow_a), ..water(1.0, "kg") };
        for wrong in [water(1.0, "kg"), water(-1.0, "L"), water(0.0, "L"), kilogram] {
            let error = world.ada.record_addition(site, &wrong).await.unwrap_err();
            assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/amount"), "{wrong:?}");
        }
        let nowhere = NewAddition { tank_id: Uuid::now_v7(), ..feeding.addition(1.0) };
        let error = world.ada.record_addition(site, &nowhere).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/tank_id"));
    }
}
