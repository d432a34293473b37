//! What is typed in, or taken back, late: a count stays as it was counted.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_api::*;
use fillmark_client::ClientError;
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, json, refusal};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use serde_json::{Value, json};
use uuid::Uuid;

use super::{Shelf, issue, product, reversal};

/// Acts of one run of the model.
const ACTS: usize = 60;

/// What was done and stands, as anybody would write it on paper.
struct Paper {
    at: DateTime<Utc>,
    slip: Uuid,
    told: Told,
}

#[derive(Clone, Copy)]
enum Told {
    Counted(f64),
    Changed(f64),
}

/// What is on the shelf: the last count, and what was done since.
fn on_the_shelf(papers: &[Paper]) -> f64 {
    let mut papers: Vec<&Paper> = papers.iter().collect();
    papers.sort_by_key(|paper| paper.at);
    papers.iter().fold(0.0, |held, paper| match paper.told {
        Told::Counted(ml) => ml,
        Told::Changed(by) => held + by,
    })
}

/// One random act at a random instant of the day before, entered now.
async fn act(world: &World, shelf: &Shelf, random: &mut StdRng) -> Result<Paper, ClientError> {
    let at = world.server.app.now() - TimeDelta::seconds(random.random_range(60..80_000));
    let whole = |ml: f64| json!({ "value": ml, "unit": "mL" });
    let body = |fields: Value| {
        let mut body = json!({ "client_id": Uuid::now_v7(), "done_at": Instant(at), "confirmed": true });
        body.as_object_mut().unwrap().extend(fields.as_object().unwrap().clone());
        body
    };
    let ml = f64::from(random.random_range(1..400_u32));
    let (slip, told) = match random.random_range(0..10) {
        0..3 => {
            let lot = ["A", "B", "C"][random.random_range(0..3)];
            let receipt =
                body(json!({ "product_id": shelf.product, "lot_number": lot, "amount": whole(ml) }));
            (world.ada.receive_product(shelf.site, &json(receipt)).await?, Told::Changed(ml))
        }
        3..6 => {
            let mut issued = body(json!({ "amount": whole(ml) }));
            issued.as_object_mut().unwrap().remove("confirmed");
            (world.ada.issue_product(shelf.site, shelf.product, &json(issued)).await?, Told::Changed(-ml))
        }
        6..8 => {
            let lots = world.ada.product_stock(shelf.site, shelf.product).await?.lots;
            let lot = lots.get(random.random_range(0..3)).map_or(Uuid::now_v7(), |lot| lot.lot_id);
            let mut lost = body(json!({ "lot_id": lot, "amount": whole(ml), "reason": "spilt" }));
            lost.as_object_mut().unwrap().remove("confirmed");
            (world.ada.write_off_lot(shelf.site, &json(lost)).await?, Told::Changed(-ml))
        }
        _ => {
            let counted = body(json!({ "product_id": shelf.product, "counted": whole(ml + 300.5) }));
            (world.ada.count_stock(shelf.site, &json(counted)).await?, Told::Counted(ml + 300.5))
        }
    };
    Ok(Paper { at, slip: slip.id, told })
}

on_both! {
    async fn whatever_order_it_is_typed_in_the_last_count_and_what_was_done_since_is_on_the_shelf(world: World) {
        let site = world.site("Harbour").await.id;
        for seed in 0..4 {
            let shelf = Shelf { site, product: product(&world, &format!("Grow {seed}"), "mL").await.id };
            let (mut random, mut papers, mut refused) = (StdRng::seed_from_u64(seed), Vec::new(), 0);
            for _ in 0..ACTS {
                if random.random_range(0..4) == 0 && !papers.is_empty() {
                    let one = random.random_range(0..papers.len());
                    let paper: &Paper = &papers[one];
                    match world.ada.reverse_slip(shelf.site, paper.slip, &reversal("mistyped")).await {
                        Ok(_) => drop(papers.swap_remove(one)),
                        Err(_) => refused += 1,
                    }
                } else {
                    match act(&world, &shelf, &mut random).await {
                        Ok(paper) => papers.push(paper),
                        Err(_) => refused += 1,
                    }
                }
                let (held, moved) = (shelf.held(&world.ada).await, shelf.moved(&world.ada).await);
                assert!((held - on_the_shelf(&papers)).abs() < 1e-6 && (held - moved).abs() < 1e-6,
                    "{held} held, {moved} moved, {} on paper (seed {seed})", on_the_shelf(&papers));
            }
            assert!(papers.len() > 10 && refused < ACTS / 2, "{} stand, {refused} refused", papers.len());
        }
    }

    async fn what_is_taken_back_after_a_count_leaves_what_was_counted(world: World) {
        let shelf = Shelf::of(&world).await;
        let receipt = shelf.receive(&world.ada, "A", None, 1000.0).await;
        let again = shelf.receive(&world.ada, "A2", None, 100.0).await;
        world.clock.advance(TimeDelta::minutes(1));
        let poured = shelf.issue(&world.ada, 200.0).await.unwrap();
        world.clock.advance(TimeDelta::minutes(1));
        let count = shelf.count(&world.ada, None, 800.0).await.unwrap();
        world.clock.advance(TimeDelta::minutes(1));

        let difference = async || world.ada.count_found(shelf.site, count.id).await.unwrap();
        let back = world.ada.reverse_slip(shelf.site, again.id, &reversal("entered twice")).await.unwrap();
        assert!(back.cautions.iter().any(|caution| caution.contains("stays as counted")), "{back:?}");
        assert_eq!(shelf.lots(&world.ada).await, [("A".to_owned(), 800.0)], "and of the lot that came");
        let told = difference().await;
        assert_eq!((told.held.value, told.difference.value, told.taken.value), (800.0, 0.0, 200.0));

        world.ada.reverse_slip(shelf.site, poured.id, &reversal("was water")).await.unwrap();
        let told = difference().await;
        assert_eq!((shelf.held(&world.ada).await, told.held.value, told.difference.value), (800.0, 1000.0, -200.0));
        assert_eq!(told.taken.value, 0.0, "it was never taken");
        world.ada.reverse_slip(shelf.site, receipt.id, &reversal("another product")).await.unwrap();
        assert_eq!((shelf.held(&world.ada).await, difference().await.held.value), (800.0, 0.0));
        world.ada.reverse_slip(shelf.site, count.id, &reversal("another shelf")).await.unwrap();
        assert_eq!((shelf.held(&world.ada).await, shelf.moved(&world.ada).await), (0.0, 0.0));
    }

    async fn a_count_that_changed_nothing_is_taken_back_all_the_same(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 500.0).await;
        world.clock.advance(TimeDelta::minutes(1));
        let poured_at = Some(Instant(world.server.app.now()));
        world.clock.advance(TimeDelta::minutes(1));
        let count = shelf.count(&world.ada, None, 500.0).await.unwrap();
        let back = reversal("another shelf");
        let taken_back = world.ada.reverse_slip(shelf.site, count.id, &back).await.unwrap();
        assert_eq!((taken_back.reverses_slip_id, taken_back.movements.len()), (Some(count.id), 0));
        assert_eq!(world.ada.reverse_slip(shelf.site, count.id, &back).await.unwrap(), taken_back);
        assert_eq!(refusal(world.ada.reverse_slip(shelf.site, count.id, &reversal("again")).await), ProblemCode::Conflict);
        let late = NewIssue { done_at: poured_at, ..issue(150.0) };
        world.ada.issue_product(shelf.site, shelf.product, &late).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 350.0, "no count had found it");
    }

    async fn a_delivery_typed_in_after_a_count_that_had_found_it_explains_what_was_too_much(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", Some("2026-12-20"), 100.0).await;
        let came_at = Some(Instant(world.server.app.now()));
        world.clock.advance(TimeDelta::minutes(1));
        let count = shelf.count(&world.ada, None, 600.0).await.unwrap();
        assert_eq!(shelf.lots(&world.ada).await, [("A".to_owned(), 600.0)]);
        world.clock.advance(TimeDelta::minutes(1));

        let late = NewReceipt { done_at: came_at, ..shelf.receipt("B", None, 500.0) };
        let receipt = world.ada.receive_product(shelf.site, &late).await.unwrap();
        assert!(receipt.cautions.iter().any(|caution| caution.contains("stays as counted")), "{receipt:?}");
        assert_eq!(world.ada.slip(shelf.site, receipt.id).await.unwrap(), receipt);
        let lots = |a: f64, b: f64| [("A".to_owned(), a), ("B".to_owned(), b)];
        assert_eq!(shelf.lots(&world.ada).await, lots(100.0, 500.0));
        assert_eq!(world.ada.count_found(shelf.site, count.id).await.unwrap().difference.value, 0.0);

        let lot = receipt.lot_id.unwrap();
        let spilt = NewWriteOff { client_id: Uuid::now_v7(), lot_id: lot, reason: "spilt".into(), done_at: came_at,
            amount: Quantity::new(50.0, fillmark_domain::Unit::MilliLitre) };
        world.ada.write_off_lot(shelf.site, &spilt).await.unwrap();
        assert_eq!(shelf.lots(&world.ada).await, lots(100.0, 500.0), "what the count left is there");
        world.ada.reverse_movement(shelf.site, receipt.movements[0].id, &reversal("never came")).await.unwrap();
        assert_eq!((shelf.held(&world.ada).await, shelf.moved(&world.ada).await), (600.0, 600.0));
    }

    async fn a_delivery_typed_in_late_leaves_every_later_count_of_a_lot_as_it_was(world: World) {
        let shelf = Shelf::of(&world).await;
        let first = shelf.receive(&world.ada, "A", Some("2026-12-20"), 100.0).await;
        let came_at = Some(Instant(world.server.app.now()));
        let lots = |a: f64, b: f64| [("A".to_owned(), a), ("B".to_owned(), b)];
        for (lot, ml) in [(None, 120.0), (first.lot_id, 100.0)] {
            world.clock.advance(TimeDelta::hours(1));
            shelf.count(&world.ada, lot, ml).await.unwrap();
        }
        let late = NewReceipt { done_at: came_at, ..shelf.receipt("B", None, 20.0) };
        let receipt = world.ada.receive_product(shelf.site, &late).await.unwrap();
        assert_eq!(shelf.lots(&world.ada).await, lots(100.0, 20.0));
        world.ada.reverse_slip(shelf.site, receipt.id, &reversal("another product")).await.unwrap();
        assert_eq!(shelf.lots(&world.ada).await, [("A".to_owned(), 100.0)]);
    }

    async fn a_whole_count_is_taken_back_whole(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 50.0).await;
        shelf.receive(&world.ada, "B", None, 100.0).await;
        world.clock.advance(TimeDelta::hours(1));
        let count = shelf.count(&world.ada, None, 30.0).await.unwrap();
        let part = world.ada.reverse_movement(shelf.site, count.movements[0].id, &reversal("it was there")).await;
        assert_eq!(refusal(part), ProblemCode::Conflict);
        assert_eq!(shelf.held(&world.ada).await, 30.0);
        world.ada.reverse_slip(shelf.site, count.id, &reversal("it was there")).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 150.0);
    }

    async fn a_count_typed_in_later_is_laid_against_its_own_moment(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 500.0).await;
        let counted_at = Instant(world.server.app.now());
        world.clock.advance(TimeDelta::hours(1));
        shelf.issue(&world.ada, 100.0).await.unwrap();
        let body: NewCount = json(json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product,
            "counted": { "value": 450, "unit": "mL" }, "done_at": counted_at }));
        world.ada.count_stock(shelf.site, &body).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 350.0);
        let less: NewCount = json(json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product,
            "counted": { "value": 80, "unit": "mL" }, "done_at": counted_at }));
        assert_eq!(refusal(world.ada.count_stock(shelf.site, &less).await), ProblemCode::Conflict);
    }

    async fn a_loss_is_shared_so_that_no_lot_loses_what_was_poured_from_it_since(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "x1", Some("2026-12-01"), 500.0).await;
        shelf.receive(&world.ada, "x2", Some("2027-03-01"), 1000.0).await;
        let counted_at = Instant(world.server.app.now());
        world.clock.advance(TimeDelta::days(2));
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        shelf.issue(&world.ada, 200.0).await.unwrap();
        let body: NewCount = json(json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product,
            "counted": { "value": 1050, "unit": "mL" }, "done_at": counted_at }));
        world.ada.count_stock(shelf.site, &body).await.unwrap();
        assert_eq!(shelf.lots(&world.ada).await, [("x2".to_owned(), 850.0)]);
    }

    async fn what_was_poured_before_a_count_and_entered_after_it_had_been_found(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 1000.0).await;
        world.clock.advance(TimeDelta::hours(1));
        let poured_at = Some(Instant(world.server.app.now()));
        world.clock.advance(TimeDelta::hours(1));
        let count = shelf.count(&world.ada, None, 800.0).await.unwrap();
        let late = |ml: f64| NewIssue { done_at: poured_at, ..issue(ml) };
        let slip = world.ada.issue_product(shelf.site, shelf.product, &late(200.0)).await.unwrap();
        let changes = |slip: &Slip| slip.movements.iter().map(|one| one.change.value).collect::<Vec<_>>();
        assert_eq!((shelf.held(&world.ada).await, changes(&slip)), (800.0, vec![-200.0, 200.0]));
        world.ada.reverse_slip(shelf.site, slip.id, &reversal("was water")).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 800.0);

        shelf.issue(&world.ada, 700.0).await.unwrap();
        let again = world.ada.issue_product(shelf.site, shelf.product, &late(200.0)).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 100.0, "more than is left today was there then");
        let beyond = world.ada.issue_product(shelf.site, shelf.product, &late(801.0)).await;
        assert_eq!(refusal(beyond), ProblemCode::OutOfStock);
        let body = NewIssue { poured_all_the_same: true, ..late(801.0) };
        let beyond = world.ada.issue_product(shelf.site, shelf.product, &body).await.unwrap();
        assert_eq!(beyond.shortage.as_ref().map(|short| short.value), Some(1.0));
        assert_eq!(world.ada.shortages(shelf.site, "state=open").await.unwrap(), [], "the count settled it");
        world.ada.reverse_slip(shelf.site, beyond.id, &reversal("was water")).await.unwrap();

        let uncounted = reversal("another product");
        let back = world.ada.reverse_slip(shelf.site, count.id, &uncounted).await.unwrap();
        assert_eq!(world.ada.reverse_slip(shelf.site, count.id, &uncounted).await.unwrap(), back);
        assert_eq!(shelf.held(&world.ada).await, 100.0, "1000 without 700 and 200");
        world.ada.reverse_slip(shelf.site, again.id, &reversal("was water")).await.unwrap();
        assert_eq!((shelf.held(&world.ada).await, shelf.moved(&world.ada).await), (300.0, 300.0));
    }

    async fn a_count_that_is_taken_back_takes_along_what_it_had_found(world: World) {
        let shelf = Shelf::of(&world).await;
        shelf.receive(&world.ada, "A", None, 1000.0).await;
        world.clock.advance(TimeDelta::hours(1));
        let poured_at = Some(Instant(world.server.app.now()));
        world.clock.advance(TimeDelta::hours(1));
        let count = shelf.count(&world.ada, None, 800.0).await.unwrap();
        let late = NewIssue { done_at: poured_at, ..issue(150.0) };
        world.ada.issue_product(shelf.site, shelf.product, &late).await.unwrap();
        assert_eq!(shelf.held(&world.ada).await, 800.0);
        world.ada.reverse_slip(shelf.site, count.id, &reversal("another shelf")).await.unwrap();
        assert_eq!((shelf.held(&world.ada).await, shelf.moved(&world.ada).await), (850.0, 850.0));
    }
}
