//! Counting: what is next, and what a difference may come from.

use chrono::TimeDelta;
use fillmark_actions::Clock;
use fillmark_api::*;
use fillmark_domain::stock::{DifferenceKind, SlipKind, WhyCount};
use fillmark_tests::on_both;
use fillmark_tests::world::{World, json};
use serde_json::json;
use uuid::Uuid;

use super::{Shelf, issue, product, reversal};

async fn due(world: &World, site: Uuid, query: &str) -> Vec<(String, WhyCount)> {
    let list = world.ada.due_counts(site, query).await.unwrap();
    list.products.into_iter().map(|one| (one.name, one.why.0)).collect()
}

on_both! {
    async fn what_was_never_counted_is_counted_before_what_moved_and_what_is_short_before_both(world: World) {
        let shelf = Shelf::of(&world).await;
        let other = Shelf { site: shelf.site, product: product(&world, "Grow B", "mL").await.id };
        shelf.receive(&world.ada, "A1", None, 5000.0).await;
        other.receive(&world.ada, "B1", None, 5000.0).await;
        world.clock.advance(TimeDelta::hours(1));
        shelf.count(&world.ada, None, 5000.0).await.unwrap();
        world.clock.advance(TimeDelta::hours(1));
        let named = |name: &str, why| (name.to_owned(), why);
        assert_eq!(due(&world, shelf.site, "kind=rotating").await, [named("Grow B", WhyCount::NeverCounted)],
            "of what was counted nothing moved since");
        shelf.issue(&world.ada, 100.0).await.unwrap();
        let both = [named("Grow B", WhyCount::NeverCounted), named("Grow A", WhyCount::Moved)];
        assert_eq!(due(&world, shelf.site, "kind=rotating").await, both);
        assert_eq!(due(&world, shelf.site, "kind=rotating&number=1").await, both[..1]);
        let body = NewIssue { poured_all_the_same: true, ..issue(6000.0) };
        world.ada.issue_product(shelf.site, shelf.product, &body).await.unwrap();
        assert_eq!(due(&world, shelf.site, "kind=rotating").await[0], named("Grow A", WhyCount::Short));
    }

    async fn who_counts_is_told_where_it_stands_and_not_what_is_held(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A1", None, 4321.0).await;
        let list = world.ada.due_counts(shelf.site, "kind=full").await.unwrap();
        assert_eq!(list.products[0].lot_numbers, ["A1"]);
        assert_eq!(list.products[0].counted_on, None);
        assert!(!serde_json::to_string(&list).unwrap().contains("4321"), "{list:?}");
        let error = world.ada.due_counts(shelf.site, "kind=all").await.unwrap_err();
        assert!(error.problem().unwrap().errors[0].detail.contains("full, rotating"), "{error:?}");
    }

    async fn counts_that_were_made_are_listed_the_latest_first_where_asked(world: World) {
        let shelf = Shelf::of(&world).await;
        let other = Shelf { site: shelf.site, product: product(&world, "Grow B", "mL").await.id };
        shelf.receive(&world.ada, "A1", None, 5000.0).await;
        other.receive(&world.ada, "B1", None, 5000.0).await;
        assert_eq!(world.ada.list_counts(shelf.site, "").await.unwrap().items, []);
        let mut made = Vec::new();
        for (of, found) in [(&shelf, 5000.0), (&other, 4900.0), (&shelf, 4950.0)] {
            world.clock.advance(TimeDelta::hours(1));
            made.push(of.count(&world.ada, None, found).await.unwrap().id);
        }
        world.ada.reverse_slip(shelf.site, made[2], &reversal("miscounted")).await.unwrap();
        let listed = |query: &'static str| {
            let world = &world;
            async move {
                let counts = world.ada.list_counts(shelf.site, query).await.unwrap().items;
                counts.into_iter().map(|one| (one.slip_id, one.changed.value, one.taken_back)).collect::<Vec<_>>()
            }
        };
        let [first, second, third] = [(made[0], 0.0, false), (made[1], -100.0, false), (made[2], -50.0, true)];
        assert_eq!(listed("").await, [first, second, third]);
        assert_eq!(listed("sort=-done_at&limit=2").await, [third, second]);
        let of_b = world.ada.list_counts(shelf.site, &format!("product_id={}", other.product)).await.unwrap();
        let names: Vec<_> = of_b.items.iter().map(|one| (one.name.as_str(), one.counted.value)).collect();
        assert_eq!(names, [("Grow B", 4900.0)]);
        let first = world.ada.list_counts(shelf.site, "limit=2").await.unwrap();
        let cursor = first.next_cursor.unwrap();
        let rest = world.ada.list_counts(shelf.site, &format!("limit=2&cursor={cursor}")).await.unwrap();
        let last: Vec<_> = rest.items.iter().map(|one| one.slip_id).collect();
        assert_eq!((first.items.len(), last, rest.next_cursor), (2, vec![made[2]], None));
    }

    async fn a_count_that_is_typed_in_late_is_listed_with_what_it_found_itself(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A1", None, 5000.0).await;
        world.clock.advance(TimeDelta::hours(1));
        let earlier = world.clock.now();
        world.clock.advance(TimeDelta::hours(1));
        shelf.count(&world.ada, None, 4900.0).await.unwrap();
        let late = json(json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product, "done_at": earlier,
            "counted": { "value": 4950.0, "unit": "mL" } }));
        world.ada.count_stock(shelf.site, &late).await.unwrap();
        let counts = world.ada.list_counts(shelf.site, "").await.unwrap().items;
        let told: Vec<_> = counts.iter().map(|one| (one.counted.value, one.changed.value)).collect();
        assert_eq!(told, [(4950.0, -50.0), (4900.0, -100.0)], "the second found 100 missing as it was entered");
    }

    async fn what_measuring_leaves_is_told_as_that(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A1", None, 5000.0).await;
        world.clock.advance(TimeDelta::hours(1));
        let first = shelf.count(&world.ada, None, 5000.0).await.unwrap();
        let found = world.ada.count_found(shelf.site, first.id).await.unwrap();
        assert_eq!((found.difference.value, found.counted_before, found.causes.len()), (0.0, false, 0));
        for _ in 0..4 {
            world.clock.advance(TimeDelta::hours(1));
            shelf.issue(&world.ada, 100.0).await.unwrap();
        }
        world.clock.advance(TimeDelta::hours(1));
        let second = shelf.count(&world.ada, None, 4585.0).await.unwrap();
        let found = world.ada.count_found(shelf.site, second.id).await.unwrap();
        let told = (found.held.value, found.counted.value, found.difference.value, found.taken.value);
        assert_eq!(told, (4600.0, 4585.0, -15.0, 400.0));
        assert_eq!(found.since_at, first.done_at);
        // Each of four doses of 100 mL to a twentieth, twice their spread: 2 · 0.05 · 100 · √4.
        assert_eq!(found.causes[0].kind.0, DifferenceKind::Measuring);
        assert!(found.causes[0].told.contains("4 doses") && found.causes[0].told.contains("20 mL"), "{found:?}");
    }

    async fn what_was_poured_beyond_the_record_points_to_a_delivery_nobody_entered(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A1", None, 200.0).await;
        world.clock.advance(TimeDelta::hours(1));
        let body = NewIssue { poured_all_the_same: true, ..issue(300.0) };
        world.ada.issue_product(shelf.site, shelf.product, &body).await.unwrap();
        world.clock.advance(TimeDelta::hours(1));
        let slip = shelf.count(&world.ada, None, 900.0).await.unwrap();
        let found = world.ada.count_found(shelf.site, slip.id).await.unwrap();
        let cause = &found.causes[0];
        assert_eq!((cause.kind.0, cause.explains.unwrap().value), (DifferenceKind::NotReceived, 100.0));
        assert!(cause.told.contains("100 mL") && cause.told.contains("delivery"), "{cause:?}");
    }

    async fn only_a_count_is_read_as_one_and_only_by_who_may(world: World) {
        let shelf = Shelf::of(&world).await;
        let receipt = shelf.receive(&world.ada, "A1", None, 200.0).await;
        assert_eq!(receipt.kind.0, SlipKind::Receipt);
        let error = world.ada.count_found(shelf.site, receipt.id).await.unwrap_err();
        assert_eq!(error.problem().unwrap().code, ProblemCode::NotFound);
    }

    async fn a_count_typed_in_after_a_later_one_leaves_what_that_found(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 500.0).await;
        world.clock.advance(TimeDelta::hours(1));
        let earlier = Instant(world.server.app.now());
        world.clock.advance(TimeDelta::hours(1));
        let later = shelf.count(&world.ada, None, 400.0).await.unwrap();
        shelf.issue(&world.ada, 390.0).await.unwrap();
        let counted = |ml: f64| -> NewCount {
            json(json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product,
                "counted": { "value": ml, "unit": "mL" }, "done_at": earlier }))
        };
        let difference = async |id| world.ada.count_found(shelf.site, id).await.unwrap().difference.value;
        let first = world.ada.count_stock(shelf.site, &counted(430.0)).await.unwrap();
        assert_eq!((shelf.held(&world.ada).await, shelf.moved(&world.ada).await), (10.0, 10.0));
        assert_eq!((difference(first.id).await, difference(later.id).await), (-70.0, -30.0));
        world.ada.reverse_slip(shelf.site, first.id, &reversal("another shelf")).await.unwrap();
        assert_eq!((shelf.held(&world.ada).await, difference(later.id).await), (10.0, -100.0));
        world.ada.count_stock(shelf.site, &counted(430.0)).await.unwrap();
        world.ada.reverse_slip(shelf.site, later.id, &reversal("another shelf")).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 40.0, "the earlier count stands alone");
        let poured_at = Some(Instant(earlier.0 - TimeDelta::minutes(30)));
        let late = NewIssue { done_at: poured_at, ..issue(50.0) };
        world.ada.issue_product(shelf.site, shelf.product, &late).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 40.0, "and has found what was poured before it");
    }

    async fn what_had_not_come_cannot_have_been_counted(world: World) {
        let shelf = Shelf::of(&world).await;
        let before = Instant(world.server.app.now() - TimeDelta::hours(1));
        shelf.receive(&world.ada, "A", None, 500.0).await;
        let body: NewCount = json(json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product,
            "counted": { "value": 450, "unit": "mL" }, "done_at": before }));
        let refused = world.ada.count_stock(shelf.site, &body).await.unwrap_err();
        assert_eq!(refused.problem().unwrap().errors[0].code, "no_lot");
        assert_eq!(shelf.held(&world.ada).await, 500.0);
    }

    async fn a_count_that_looks_mis_keyed_is_asked_back_and_tells_nothing(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 5437.0).await;
        let body: NewCount = json(json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product,
            "counted": { "value": 5.4, "unit": "mL" } }));
        let refused = world.ada.count_stock(shelf.site, &body).await.unwrap_err();
        let problem = refused.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/counted")));
        assert!(!problem.errors[0].detail.contains("543"), "{problem:?}");
        let sure = NewCount { confirmed: true, ..body };
        world.ada.count_stock(shelf.site, &sure).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 5.4);
    }
}
