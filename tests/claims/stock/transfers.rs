//! Between two sites.

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_domain::Coded;
use fillmark_domain::people::Role;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, json, refusal};
use serde_json::json;
use uuid::Uuid;

use super::{Shelf, reversal};

fn sending(shelf: &Shelf, to: &Shelf, ml: f64) -> NewTransfer {
    json(
        json!({ "client_id": Uuid::now_v7(), "product_id": shelf.product, "amount": { "value": ml, "unit": "mL" },
        "to_site_id": to.site }),
    )
}

fn arrival() -> NewArrival {
    NewArrival { client_id: Uuid::now_v7(), done_at: None }
}

on_both! {
    async fn a_transfer_is_in_no_sites_stock_until_it_arrives(world: World) {
        let harbour = Shelf::of(&world).await;
        let hill = harbour.at(&world, "Hill").await;
        harbour.receive(&world.ada, "A", Some("2026-12-01"), 200.0).await;
        harbour.receive(&world.ada, "B", None, 200.0).await;
        let body = sending(&harbour, &hill, 300.0);
        let sent = world.ada.send_transfer(harbour.site, &body).await.unwrap();
        assert_eq!(world.ada.send_transfer(harbour.site, &body).await.unwrap(), sent);
        assert_eq!((harbour.held(&world.ada).await, hill.held(&world.ada).await), (100.0, 0.0));
        assert_eq!(world.ada.transfers(hill.site, "").await.unwrap(), std::slice::from_ref(&sent));
        let comes = arrival();
        let came = world.ada.take_in_transfer(hill.site, sent.id, &comes).await.unwrap();
        assert_eq!(came.state.0.code(), "arrived");
        assert_eq!(world.ada.take_in_transfer(hill.site, sent.id, &comes).await.unwrap(), came);
        assert_eq!(refusal(world.ada.take_in_transfer(hill.site, sent.id, &arrival()).await), ProblemCode::Conflict);
        assert_eq!(hill.lots(&world.ada).await, [("A".to_owned(), 200.0), ("B".to_owned(), 100.0)]);
        assert_eq!(world.ada.transfer(harbour.site, sent.id).await.unwrap(), came);
        fillmark_server::commands::verify(&world.server.app).await.unwrap();
    }

    async fn each_end_of_a_transfer_is_its_own_managers(world: World) {
        let harbour = Shelf::of(&world).await;
        let hill = harbour.at(&world, "Hill").await;
        harbour.receive(&world.ada, "A", None, 200.0).await;
        let (_, mia) = world.person("Mia", Role::Manager, Some(harbour.site)).await;
        let (_, noa) = world.person("Noa", Role::Manager, Some(hill.site)).await;
        let sent = mia.send_transfer(harbour.site, &sending(&harbour, &hill, 1.0)).await.unwrap();
        assert_eq!(refusal(noa.send_transfer(harbour.site, &sending(&harbour, &hill, 1.0)).await), ProblemCode::NotFound);
        assert_eq!(refusal(mia.take_in_transfer(hill.site, sent.id, &arrival()).await), ProblemCode::NotFound);
        assert_eq!(refusal(mia.take_in_transfer(harbour.site, sent.id, &arrival()).await), ProblemCode::NotFound);
        noa.take_in_transfer(hill.site, sent.id, &arrival()).await.unwrap();
        assert_eq!(hill.lots(&noa).await, [("A".to_owned(), 1.0)]);
        let nowhere = Shelf { site: Uuid::now_v7(), product: harbour.product };
        let refused = mia.send_transfer(harbour.site, &sending(&harbour, &nowhere, 1.0)).await;
        assert_eq!(refusal(refused), ProblemCode::Invalid);
        let own = sending(&harbour, &harbour, 1.0);
        assert_eq!(refusal(world.ada.send_transfer(harbour.site, &own).await), ProblemCode::Invalid);
    }

    async fn a_site_is_put_away_when_nothing_of_it_is_left_or_under_way(world: World) {
        let harbour = Shelf::of(&world).await;
        let hill = harbour.at(&world, "Hill").await;
        let business = world.ada.business();
        let archive = async |site: Uuid| {
            let site = business.read::<NewSite>(site).await.unwrap();
            let refused = business.archive(&site).await;
            refused.err().map(|error| error.problem().unwrap().detail.clone())
        };
        harbour.receive(&world.ada, "A", None, 200.0).await;
        assert_eq!(archive(harbour.site).await.as_deref(), Some("stock still depends on this site"));
        let sent = world.ada.send_transfer(harbour.site, &sending(&harbour, &hill, 200.0)).await.unwrap();
        for end in [harbour.site, hill.site] {
            assert_eq!(archive(end).await.as_deref(), Some("a transfer under way still depends on this site"));
        }
        world.ada.take_in_transfer(hill.site, sent.id, &arrival()).await.unwrap();
        assert_eq!(archive(harbour.site).await, None);
        assert!(archive(hill.site).await.is_some());
    }

    async fn what_was_sent_in_error_is_taken_back_until_it_arrives(world: World) {
        let harbour = Shelf::of(&world).await;
        let hill = harbour.at(&world, "Hill").await;
        harbour.receive(&world.ada, "A", Some("2026-12-01"), 200.0).await;
        harbour.receive(&world.ada, "B", None, 200.0).await;
        let (_, mia) = world.person("Mia", Role::Manager, Some(harbour.site)).await;
        let sent = world.ada.send_transfer(harbour.site, &sending(&harbour, &hill, 300.0)).await.unwrap();
        let movements = world.ada.slip(harbour.site, sent.out_slip_id).await.unwrap().movements;
        let part = world.ada.reverse_movement(harbour.site, movements[0].id, &reversal("no")).await;
        assert_eq!(refusal(part), ProblemCode::Conflict);
        let back = reversal("the wrong site");
        let slip = mia.reverse_slip(harbour.site, sent.out_slip_id, &back).await.unwrap();
        assert_eq!(mia.reverse_slip(harbour.site, sent.out_slip_id, &back).await.unwrap(), slip);
        assert_eq!((harbour.held(&world.ada).await, harbour.moved(&world.ada).await), (400.0, 400.0));
        let now = world.ada.transfer(hill.site, sent.id).await.unwrap();
        assert_eq!((now.state.0.code(), now.taken_back_at.is_some()), ("taken_back", true));
        assert_eq!(refusal(world.ada.take_in_transfer(hill.site, sent.id, &arrival()).await), ProblemCode::Conflict);
        let again = world.ada.reverse_slip(harbour.site, sent.out_slip_id, &reversal("again")).await;
        assert_eq!(refusal(again), ProblemCode::Conflict);
        let sent = world.ada.send_transfer(harbour.site, &sending(&harbour, &hill, 300.0)).await.unwrap();
        world.ada.take_in_transfer(hill.site, sent.id, &arrival()).await.unwrap();
        let arrived = world.ada.reverse_slip(harbour.site, sent.out_slip_id, &reversal("too late")).await;
        assert_eq!(refusal(arrived), ProblemCode::Conflict);
        assert_eq!((harbour.held(&world.ada).await, hill.held(&world.ada).await), (100.0, 300.0));
    }

    async fn what_was_sent_before_a_count_arrives_though_it_is_typed_in_after_it(world: World) {
        let harbour = Shelf::of(&world).await;
        let hill = harbour.at(&world, "Hill").await;
        harbour.receive(&world.ada, "A", None, 1000.0).await;
        let sent_at = Some(Instant(world.server.app.now()));
        world.clock.advance(TimeDelta::hours(1));
        harbour.count(&world.ada, None, 900.0).await.unwrap();
        world.clock.advance(TimeDelta::hours(1));
        let late = NewTransfer { done_at: sent_at, ..sending(&harbour, &hill, 100.0) };
        let sent = world.ada.send_transfer(harbour.site, &late).await.unwrap();
        assert_eq!(harbour.held(&world.ada).await, 900.0, "the count had found it gone");
        world.ada.take_in_transfer(hill.site, sent.id, &arrival()).await.unwrap();
        assert_eq!(hill.lots(&world.ada).await, [("A".to_owned(), 100.0)]);
    }

    async fn a_count_meanwhile_tells_whether_what_is_taken_back_had_left(world: World) {
        let harbour = Shelf::of(&world).await;
        let hill = harbour.at(&world, "Hill").await;
        harbour.receive(&world.ada, "A", None, 1000.0).await;
        // Typed in before the count, and after it, which had found it gone all the same.
        for typed_late in [false, true] {
            let sent_at = Some(Instant(world.server.app.now()));
            let body = NewTransfer { done_at: sent_at, ..sending(&harbour, &hill, 100.0) };
            world.clock.advance(TimeDelta::hours(1));
            let on_time = if typed_late { None } else { Some(world.ada.send_transfer(harbour.site, &body).await.unwrap()) };
            harbour.count(&world.ada, None, 900.0).await.unwrap();
            world.clock.advance(TimeDelta::hours(1));
            let sent = match on_time {
                Some(sent) => sent,
                None => world.ada.send_transfer(harbour.site, &body).await.unwrap(),
            };
            world.ada.reverse_slip(harbour.site, sent.out_slip_id, &reversal("the road is closed")).await.unwrap();
            assert_eq!(harbour.held(&world.ada).await, 1000.0, "it came back");
        }
        world.clock.advance(TimeDelta::hours(1));
        let sent = world.ada.send_transfer(harbour.site, &sending(&harbour, &hill, 100.0)).await.unwrap();
        world.clock.advance(TimeDelta::hours(1));
        harbour.count(&world.ada, None, 1000.0).await.unwrap();
        world.ada.reverse_slip(harbour.site, sent.out_slip_id, &reversal("it never left")).await.unwrap();
        assert_eq!((harbour.held(&world.ada).await, harbour.moved(&world.ada).await), (1000.0, 1000.0));
    }

    async fn whatever_is_sent_and_taken_in_nothing_is_lost(world: World) {
        let harbour = Shelf::of(&world).await;
        let hill = harbour.at(&world, "Hill").await;
        harbour.receive(&world.ada, "A", Some("2027-01-01"), 1000.0).await;
        hill.receive(&world.ada, "B", None, 500.0).await;
        let mut seed = 20_261_124_u64;
        let mut next = |below: u64| {
            // Knuth's multiplier (The Art of Computer Programming 2, section 3.3.4): the same walk on each run.
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 33) % below
        };
        let mut on_the_way: Vec<(Uuid, Uuid, f64)> = Vec::new();
        for _ in 0..24 {
            let (from, to) = if next(2) == 0 { (&harbour, &hill) } else { (&hill, &harbour) };
            let ml = (next(700) + 1) as f64;
            if let Ok(sent) = world.ada.send_transfer(from.site, &sending(from, to, ml)).await {
                on_the_way.push((to.site, sent.id, ml));
            }
            if !on_the_way.is_empty() && next(3) > 0 {
                let (site, id, _) = on_the_way.remove(next(on_the_way.len() as u64) as usize);
                world.ada.take_in_transfer(site, id, &arrival()).await.unwrap();
            }
            let (here, there) = (harbour.held(&world.ada).await, hill.held(&world.ada).await);
            let between: f64 = on_the_way.iter().map(|(_, _, ml)| ml).sum();
            assert_eq!(here + there + between, 1500.0);
            assert_eq!((harbour.moved(&world.ada).await, hill.moved(&world.ada).await), (here, there));
        }
    }
}
