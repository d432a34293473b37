//! Many hands at one ledger.

use std::sync::Arc;

use fillmark_api::*;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, refusal};
use tokio::task::JoinSet;

use super::{Shelf, issue};

on_both! {
    async fn many_who_pour_from_one_lot_never_overdraw_it(world: World) {
        let shelf = Arc::new(Shelf::of(&world).await);
        shelf.receive(&world.ada, "A", None, 1000.0).await;
        let world = Arc::new(world);
        let mut hands = JoinSet::new();
        for _ in 0..24 {
            let (world, shelf) = (world.clone(), shelf.clone());
            hands.spawn(async move { shelf.issue(&world.ada, 70.0).await.map(drop).map_err(|error| error.problem().map(|problem| problem.code)) });
        }
        let answers = hands.join_all().await;
        assert_eq!(answers.iter().filter(|answer| answer.is_ok()).count(), 14);
        assert!(answers.iter().all(|answer| matches!(answer, Ok(()) | Err(Some(ProblemCode::OutOfStock)))), "{answers:?}");
        assert_eq!((shelf.held(&world.ada).await, shelf.moved(&world.ada).await), (20.0, 20.0));
    }

    async fn a_count_and_issues_at_once_keep_the_sum(world: World) {
        let shelf = Arc::new(Shelf::of(&world).await);
        shelf.receive(&world.ada, "A", None, 1000.0).await;
        shelf.receive(&world.ada, "B", None, 1000.0).await;
        let world = Arc::new(world);
        let mut hands = JoinSet::new();
        for hand in 0..12 {
            let (world, shelf) = (world.clone(), shelf.clone());
            hands.spawn(async move {
                match hand % 4 {
                    0 => shelf.count(&world.ada, None, 1500.0).await.map(drop),
                    _ => shelf.issue(&world.ada, 10.0).await.map(drop),
                }.unwrap();
            });
        }
        hands.join_all().await;
        let held = shelf.held(&world.ada).await;
        assert_eq!(shelf.moved(&world.ada).await, held);
        // The last count left 1500 mL, and at most nine issues came after it.
        assert!((1410.0..=1500.0).contains(&held), "{held}");
    }

    async fn one_entry_sent_many_times_at_once_is_entered_once(world: World) {
        let shelf = Arc::new(Shelf::of(&world).await);
        let world = Arc::new(world);
        let receipt = Arc::new(shelf.receipt("A", None, 100.0));
        let poured = Arc::new(issue(30.0));
        let mut hands = JoinSet::new();
        for _ in 0..6 {
            let (world, shelf, receipt) = (world.clone(), shelf.clone(), receipt.clone());
            hands.spawn(async move { world.ada.receive_product(shelf.site, &receipt).await.unwrap().id });
        }
        let mut slips = hands.join_all().await;
        slips.dedup();
        assert_eq!(slips.len(), 1);
        let mut hands = JoinSet::new();
        for _ in 0..6 {
            let (world, shelf, poured) = (world.clone(), shelf.clone(), poured.clone());
            hands.spawn(async move { world.ada.issue_product(shelf.site, shelf.product, &poured).await.unwrap().id });
        }
        let mut slips = hands.join_all().await;
        slips.dedup();
        assert_eq!((slips.len(), shelf.held(&world.ada).await), (1, 70.0));
        let more = world.ada.issue_product(shelf.site, shelf.product, &NewIssue { amount: receipt.amount, ..(*poured).clone() }).await;
        assert_eq!(refusal(more), ProblemCode::ClientIdReused);
    }
}
