//! Checks that go from one person to another because people want it so, and notes for the next.

use chrono::{NaiveDate, TimeDelta};
use fillmark_api::*;
use fillmark_client::{Client, ClientError};
use fillmark_domain::people::Role;
use fillmark_domain::work::{MoveReason, OfferStanding};
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, instant, json, refusal};
use serde_json::json;
use uuid::Uuid;

const TODAY: &str = "2026-11-24";

/// A clean room and a dirty one that are looked round at eight; Sam has both, Kim came to help.
struct Two {
    site: Uuid,
    clean: Uuid,
    checks: [Uuid; 2],
    sam: (Uuid, Client),
    kim: (Uuid, Client),
}

async fn two_rooms(world: &World) -> Two {
    let site = world.site("Harbour").await.id;
    let mut rooms = Vec::new();
    for (name, rank) in [("Clean", 1), ("Dirty", 5)] {
        let room = world.room(site, name, "growing", rank).await;
        world.check_plan(site, json!({ "name": name, "room_id": room })).await;
        rooms.push(room);
    }
    let (sam, by_sam) = world.person("Sam", Role::Staff, Some(site)).await;
    world.shift(site, sam.id, TODAY).await;
    world.beat().await;
    let (kim, by_kim) = world.person("Kim", Role::Staff, Some(site)).await;
    world.shift(site, kim.id, TODAY).await;
    let own = by_sam.my_round(site, None).await.unwrap();
    let checks = [own.steps[0].check_id, own.steps[1].check_id];
    Two { site, clean: rooms[0], checks, sam: (sam.id, by_sam), kim: (kim.id, by_kim) }
}

async fn names(client: &Client, site: Uuid) -> Vec<String> {
    let own = client.my_round(site, None).await.unwrap();
    own.steps.into_iter().filter_map(|step| step.check).map(|check| check.name).collect()
}

fn given(checks: &[Uuid], to: Uuid) -> NewReassignment {
    json(json!({ "day_on": TODAY, "check_ids": checks, "to_person_id": to }))
}

async fn absent(world: &World, site: Uuid, person: Uuid, (from, until): (&str, &str)) {
    let away = json!({ "person_id": person, "from_at": format!("{from}T00:00:00Z"),
        "until_at": format!("{until}T00:00:00Z"), "reason": "sick" });
    world.ada.site(site).create::<NewAbsence>(&json(away)).await.unwrap();
}

fn detail<T: std::fmt::Debug>(answer: Result<T, ClientError>) -> String {
    answer.unwrap_err().problem().unwrap().detail.clone()
}

on_both! {
    async fn a_manager_gives_a_check_and_whoever_had_it_sees_it_go(world: World) {
        let Two { site, clean, checks, sam: (sam, by_sam), kim: (kim, by_kim) } = two_rooms(&world).await;
        let rounds = world.ada.reassign_checks(site, &given(&checks[..1], kim)).await.unwrap();
        assert_eq!((rounds.number, rounds.moves.len(), rounds.moves[0].code.0), (2, 1, MoveReason::Agreed));
        assert_eq!(rounds.moves[0].from_person_ids, [sam]);
        assert_eq!((names(&by_sam, site).await, names(&by_kim, site).await), (vec!["Dirty".into()], vec!["Clean".to_owned()]));
        let twice = world.ada.reassign_checks(site, &given(&checks[..1], kim)).await;
        assert_eq!(detail(twice), "Clean cannot go to Kim: they have it already");
        let room = json(json!({ "day_on": TODAY, "room_id": clean, "to_person_id": kim }));
        assert_eq!(world.ada.reassign_checks(site, &room).await.unwrap().number, 2, "nothing moves");
        let stranger = world.ada.reassign_checks(site, &given(&checks[1..], Uuid::now_v7())).await;
        assert_eq!(refusal(stranger), ProblemCode::Invalid);
    }

    async fn rules_stand_against_a_gift_and_are_told(world: World) {
        let Two { site, clean, checks, kim: (kim, by_kim), .. } = two_rooms(&world).await;
        let acid = world.ada.business().create::<NewQualification>(&json(json!({ "name": "Acid" }))).await.unwrap();
        world.check_plan(site, json!({ "name": "Doser", "room_id": clean, "qualification_id": acid.id })).await;
        let doser = world.ada.all_checks(site, &format!("due_on={TODAY}")).await.unwrap();
        let doser = doser.iter().find(|check| check.name == "Doser").unwrap().id;
        let refused = world.ada.reassign_checks(site, &given(&[doser], kim)).await;
        assert_eq!(detail(refused), "Doser cannot go to Kim: they are not qualified for it");
        world.ada.reassign_checks(site, &given(&checks[1..], kim)).await.unwrap();
        world.clock.set(instant("2026-11-24T07:05:00Z"));
        by_kim.open_check(site, checks[1]).await.unwrap();
        let refused = world.ada.reassign_checks(site, &given(&checks[..1], kim)).await;
        assert_eq!(detail(refused), "Clean cannot go to Kim: they would go from a dirty room to a clean one");
        let refused = world.ada.reassign_checks(site, &given(&checks[1..], kim)).await;
        assert_eq!(detail(refused), "Dirty cannot go to Kim: it is begun, settled or withdrawn");
    }

    async fn staff_take_over_from_who_is_away_and_from_nobody_else(world: World) {
        let Two { site, checks, sam: (sam, by_sam), kim: (kim, by_kim), .. } = two_rooms(&world).await;
        let given_away = by_sam.reassign_checks(site, &given(&checks[..1], kim)).await;
        assert_eq!(detail(given_away), "only a manager gives checks to others: they can be offered");
        let there = by_kim.reassign_checks(site, &given(&checks, kim)).await;
        assert_eq!(detail(there), "somebody who is there has it: they can offer it, or a manager can give it");
        assert_eq!(refusal(by_kim.reassign_checks(site, &given(&checks, kim)).await), ProblemCode::NotAllowed);
        absent(&world, site, sam, (TODAY, "2026-11-25")).await;
        let rounds = by_kim.reassign_checks(site, &given(&checks, kim)).await.unwrap();
        assert_eq!(rounds.moves[0].code.0, MoveReason::TakenOver);
        assert_eq!(rounds.moves[0].text, "Clean goes from Sam to Kim: Kim took it over, since Sam is away");
        assert_eq!(names(&by_kim, site).await, ["Clean", "Dirty"]);
    }

    async fn whether_somebody_is_away_is_asked_of_the_time_of_the_check(world: World) {
        let Two { site, checks, sam: (sam, _), kim: (kim, by_kim), .. } = two_rooms(&world).await;
        let tomorrow = "2026-11-25";
        world.shift(site, sam, tomorrow).await;
        let rounds = world.ada.publish_rounds(site, tomorrow.parse().unwrap()).await.unwrap();
        world.shift(site, kim, tomorrow).await;
        absent(&world, site, sam, (tomorrow, "2026-11-26")).await;
        let there = by_kim.reassign_checks(site, &given(&checks, kim)).await;
        assert_eq!(detail(there), "somebody who is there has it: they can offer it, or a manager can give it");
        let of_tomorrow: Vec<Uuid> = rounds.rounds[0].steps.iter().map(|step| step.check_id).collect();
        let all = json(json!({ "day_on": tomorrow, "check_ids": of_tomorrow, "to_person_id": kim }));
        let rounds = by_kim.reassign_checks(site, &all).await.unwrap();
        assert_eq!((rounds.rounds.len(), rounds.rounds[0].person_id), (1, kim));
    }

    async fn an_offer_goes_over_when_it_is_accepted_and_only_then(world: World) {
        let Two { site, clean, checks, kim: (kim, by_kim), sam: (_, by_sam) } = two_rooms(&world).await;
        let room = json(json!({ "day_on": TODAY, "room_id": clean, "to_person_id": kim, "note": "I leave at nine" }));
        assert_eq!(refusal(by_kim.offer_checks(site, &room).await), ProblemCode::Invalid);
        let offer = by_sam.offer_checks(site, &room).await.unwrap();
        assert_eq!((&offer.check_ids[..], offer.state.0), (&checks[..1], OfferStanding::Open));
        assert_eq!(names(&by_sam, site).await, ["Clean", "Dirty"]);
        assert_eq!(by_kim.check_offers(site, &format!("to_id={kim}&state=open")).await.unwrap().items, std::slice::from_ref(&offer));
        assert_eq!(detail(by_sam.accept_checks(site, offer.id).await), "nobody accepts their own offer");
        assert_eq!(refusal(by_sam.accept_checks(site, offer.id).await), ProblemCode::NotAllowed);
        assert_eq!(by_kim.accept_checks(site, offer.id).await.unwrap().state.0, OfferStanding::Accepted);
        assert_eq!((names(&by_sam, site).await, names(&by_kim, site).await), (vec!["Dirty".into()], vec!["Clean".to_owned()]));
        assert_eq!(detail(by_kim.accept_checks(site, offer.id).await), "the offer is settled already");
    }

    async fn what_goes_another_way_is_offered_no_longer(world: World) {
        let Two { site, checks, sam: (_, by_sam), kim: (kim, _), .. } = two_rooms(&world).await;
        let offer = json(json!({ "day_on": TODAY, "check_ids": [checks[0]] }));
        let first = by_sam.offer_checks(site, &offer).await.unwrap().id;
        let other = json(json!({ "day_on": TODAY, "check_ids": [checks[1]] }));
        let other = by_sam.offer_checks(site, &other).await.unwrap().id;
        world.clock.set(instant("2026-11-24T08:01:00Z"));
        world.beat().await;
        let warned = async || {
            let alerts = world.ada.alerts(site, "kind=check_overdue").await.unwrap().items;
            alerts.into_iter().find(|alert| alert.about_id == checks[0]).unwrap()
        };
        let before = warned().await;
        world.ada.reassign_checks(site, &given(&checks[..1], kim)).await.unwrap();
        let standing = async |id: Uuid| {
            let offers = world.ada.check_offers(site, "").await.unwrap().items;
            offers.into_iter().find(|offer| offer.id == id).unwrap()
        };
        let gone = standing(first).await;
        assert_eq!((gone.state.0, gone.settled_by, gone.settled_at.is_some()), (OfferStanding::Lapsed, None, true));
        assert_eq!(standing(other).await.state.0, OfferStanding::Open);
        let after = warned().await;
        assert_eq!((after.id, after.person_id), (before.id, Some(kim)), "whoever has it now is warned");
        world.clock.advance(TimeDelta::days(1));
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        world.beat().await;
        assert_eq!(standing(other).await.state.0, OfferStanding::Lapsed, "its day is over");
    }

    async fn two_swap_both_or_nothing(world: World) {
        let Two { site, checks, kim: (kim, by_kim), sam: (sam, by_sam), .. } = two_rooms(&world).await;
        world.ada.reassign_checks(site, &given(&checks[..1], kim)).await.unwrap();
        let swap = json(json!({ "day_on": TODAY, "check_ids": [checks[1]], "return_check_ids": [checks[0]], "to_person_id": kim }));
        let offer = by_sam.offer_checks(site, &swap).await.unwrap();
        by_kim.accept_checks(site, offer.id).await.unwrap();
        assert_eq!((names(&by_sam, site).await, names(&by_kim, site).await), (vec!["Clean".into()], vec!["Dirty".to_owned()]));
        let declined = by_sam.offer_checks(site, &json(json!({ "day_on": TODAY, "check_ids": [checks[0]], "to_person_id": kim }))).await.unwrap();
        assert_eq!(by_kim.end_check_offer(site, declined.id).await.unwrap().state.0, OfferStanding::Declined);
        let rounds = world.ada.rounds(site, None).await.unwrap();
        assert_eq!((rounds.number, rounds.rounds.iter().any(|round| round.person_id == sam)), (3, true));
    }

    async fn what_nobody_could_accept_is_not_offered(world: World) {
        let Two { site, checks, kim: (kim, _), sam: (_, by_sam), .. } = two_rooms(&world).await;
        let not_theirs = json!({ "day_on": TODAY, "check_ids": [checks[0]], "return_check_ids": [checks[1]], "to_person_id": kim });
        assert_eq!(refusal(by_sam.offer_checks(site, &json(not_theirs)).await), ProblemCode::Invalid);
        let twice = json!({ "day_on": TODAY, "check_ids": [checks[0], checks[0]], "to_person_id": kim });
        assert_eq!(refusal(by_sam.offer_checks(site, &json(twice)).await), ProblemCode::Invalid);
        world.clock.set(instant("2026-11-24T07:05:00Z"));
        by_sam.open_check(site, checks[0]).await.unwrap();
        for (to, name) in [(Some(kim), "Kim"), (None, "anybody")] {
            let begun = json!({ "day_on": TODAY, "check_ids": [checks[0]], "to_person_id": to });
            let refused = by_sam.offer_checks(site, &json(begun)).await;
            assert_eq!(detail(refused), format!("Clean cannot go to {name}: it is begun, settled or withdrawn"));
        }
    }

    async fn a_note_is_for_the_next(world: World) {
        let Two { site, clean, checks, kim: (kim, by_kim), sam: (_, by_sam) } = two_rooms(&world).await;
        let note = by_sam.write_handover_note(site, &json(json!({ "room_id": clean, "text": "The pump hums" }))).await.unwrap();
        by_sam.write_handover_note(site, &json(json!({ "check_id": checks[0], "text": "Pen is slow" }))).await.unwrap();
        assert_eq!(refusal(by_sam.see_handover_note(site, note.id).await), ProblemCode::Conflict);
        let day: NaiveDate = TODAY.parse().unwrap();
        assert_eq!(by_kim.rounds(site, Some(day)).await.unwrap().number, 1);
        assert_eq!(by_kim.handover_notes(site, "seen=false").await.unwrap().items.len(), 2);
        let own = by_sam.my_round(site, None).await.unwrap();
        let sheet = by_kim.round_sheet(site, own.id.unwrap()).await.unwrap();
        assert!(sheet.contains("From Sam, Clean: The pump hums"), "{sheet}");
        assert!(sheet.contains("From Sam, Clean, Clean: Pen is slow"), "the room's check of that name: {sheet}");
        assert_eq!(by_kim.see_handover_note(site, note.id).await.unwrap().seen_by, Some(kim));
        let unseen = by_kim.handover_notes(site, "seen=false").await.unwrap().items;
        assert_eq!(unseen.iter().map(|note| note.text.as_str()).collect::<Vec<_>>(), ["Pen is slow"]);
        assert_eq!(by_kim.handover_notes(site, "seen=true&seen=false").await.unwrap().items.len(), 2);
        let nowhere = json(json!({ "room_id": Uuid::now_v7(), "text": "?" }));
        assert_eq!(refusal(by_sam.write_handover_note(site, &nowhere).await), ProblemCode::Invalid);
    }
}
