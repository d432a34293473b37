//! What counts when a day is shared out: breaks, weight, meters, buildings, two people, and what is begun.

use chrono::NaiveDate;
use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_domain::work::LeftReason;
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::work::seen;
use fillmark_tests::world::{PASSWORD, World, instant, json};
use serde_json::json;
use uuid::Uuid;

const TODAY: &str = "2026-11-24";

fn today() -> NaiveDate {
    TODAY.parse().unwrap()
}

fn steps(rounds: &Rounds) -> Vec<(Uuid, &RoundStep)> {
    rounds.rounds.iter().flat_map(|round| round.steps.iter().map(|step| (round.person_id, step))).collect()
}

fn local(step: &RoundStep) -> String {
    step.starts_at.0.with_timezone(&chrono_tz::Europe::Berlin).format("%H:%M").to_string()
}

on_both! {
    async fn nobody_checks_in_their_break(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        world.check_plan(site, json!({ "room_id": room, "starts_local": "2026-01-01T12:00:00" })).await;
        let (sam, _) = world.person("Sam", Role::Staff, Some(site)).await;
        let shift = json!({ "person_id": sam.id, "day_on": TODAY, "starts_local": "07:00:00", "ends_local": "15:30:00",
            "break_starts_local": "12:00:00", "break_min": 30 });
        let here = world.ada.site(site);
        let mut outside = shift.clone();
        outside["break_starts_local"] = json!("15:15:00");
        let refused = here.create::<NewShift>(&json(outside)).await.unwrap_err();
        assert_eq!(refused.problem().unwrap().errors[0].pointer.as_deref(), Some("/break_starts_local"));
        let kept = here.create::<NewShift>(&json(shift)).await.unwrap();
        assert_eq!(kept.body.break_min, Some(30));
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        assert_eq!(steps(&rounds).iter().map(|(_, step)| local(step)).collect::<Vec<_>>(), ["12:30"]);
    }

    async fn what_matters_more_is_done_where_not_all_can_be(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        for (name, weight) in [("Count flies", 1), ("Dosers", 5)] {
            let plan = json!({ "name": name, "room_id": room, "work_min": 60, "limit_min": 60, "weight": weight });
            world.check_plan(site, plan).await;
        }
        let (sam, _) = world.person("Sam", Role::Staff, Some(site)).await;
        world.shift(site, sam.id, TODAY).await;
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        assert_eq!(steps(&rounds)[0].1.check.as_ref().unwrap().weight, 5);
        assert_eq!(rounds.left[0].reasons[0].code.0, LeftReason::NoTimeInWindow);
    }

    async fn one_pen_is_in_one_hand_at_a_time(world: World) {
        let small = world.greenhouse().await;
        world.ada.site(small.site).create::<NewMeter>(&json(json!({ "name": "Pen", "kind": "ph_and_ec" }))).await.unwrap();
        for name in ["One", "Two"] {
            let body = json!({ "name": name, "mode": "batch", "fill_mark": { "value": 50.0, "unit": "L" } });
            let tank = world.ada.site(small.site).create::<NewTank>(&json(body)).await.unwrap().id;
            let plan = json!({ "name": name, "task": "measure", "metrics": ["ec", "ph"], "sample_point": "tank", "tank_id": tank,
                "work_min": 25, "window_min": 60, "limit_min": 60 });
            world.check_plan(small.site, plan).await;
        }
        for name in ["Sam", "Kim"] {
            let (person, _) = world.person(name, Role::Staff, Some(small.site)).await;
            world.shift(small.site, person.id, "2026-11-25").await;
        }
        let rounds = world.ada.publish_rounds(small.site, "2026-11-25".parse().unwrap()).await.unwrap();
        let mut starts: Vec<String> = steps(&rounds)
            .iter()
            .filter(|(_, step)| step.check.as_ref().unwrap().work_min == 25)
            .map(|(_, step)| local(step))
            .collect();
        starts.sort();
        assert_eq!(starts.len(), 2, "{:?}", rounds.left);
        assert!(starts[1].as_str() >= "08:25", "{starts:?}");
    }

    async fn it_takes_a_walk_to_another_building(world: World) {
        let site = world.site("Harbour").await;
        let walk = json!({ "walk_rooms_min": 2, "walk_buildings_min": 20 });
        world.ada.business().change(&site, walk).await.unwrap();
        for (name, building) in [("Hill", Some("Old house")), ("Shore", None)] {
            let body = json!({ "name": name, "room_use": "growing", "hygiene_rank": 1, "building": building });
            let room = world.ada.site(site.id).create::<NewRoom>(&json(body)).await.unwrap().id;
            world.check_plan(site.id, json!({ "name": name, "room_id": room })).await;
        }
        let (sam, _) = world.person("Sam", Role::Staff, Some(site.id)).await;
        world.shift(site.id, sam.id, TODAY).await;
        let rounds = world.ada.publish_rounds(site.id, today()).await.unwrap();
        assert_eq!(steps(&rounds).iter().map(|(_, step)| local(step)).collect::<Vec<_>>(), ["08:00", "08:30"]);
    }

    async fn a_tank_that_takes_two_is_changed_by_two(world: World) {
        let small = world.greenhouse().await;
        let tank = world.ada.site(small.site).all::<NewTank>("").await.unwrap().remove(0);
        world.ada.site(small.site).change(&tank, json!({ "two_people_change": true })).await.unwrap();
        let (sam, _) = world.person("Sam", Role::Staff, Some(small.site)).await;
        world.shift(small.site, sam.id, TODAY).await;
        world.beat().await;
        let alone = world.ada.publish_rounds(small.site, today()).await.unwrap();
        assert_eq!((steps(&alone).len(), alone.left.len()), (0, 1));
        let (kim, _) = world.person("Kim", Role::Staff, Some(small.site)).await;
        world.shift(small.site, kim.id, TODAY).await;
        let both = world.ada.publish_rounds(small.site, today()).await.unwrap();
        assert_eq!((steps(&both).len(), both.left.len()), (2, 0));
        assert!(steps(&both).iter().all(|(_, step)| step.with_person_id.is_some()));
    }

    async fn who_has_a_check_that_is_overdue_is_warned_once_then_whoever_manages(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        for name in ["Done", "Missed"] {
            world.check_plan(site, json!({ "name": name, "room_id": room })).await;
        }
        let (sam, by_sam) = world.person("Sam", Role::Staff, Some(site)).await;
        world.shift(site, sam.id, TODAY).await;
        world.beat().await;
        let overdue = async || world.ada.alerts(site, "kind=check_overdue").await.unwrap().items;
        world.clock.set(instant("2026-11-24T08:00:00Z"));
        world.beat().await;
        assert_eq!(overdue().await, [], "the window ends at nine");
        world.clock.set(instant("2026-11-24T08:01:00Z"));
        world.beat().await;
        world.beat().await;
        let warned = overdue().await;
        assert!(warned.len() == 2 && warned.iter().all(|alert| alert.person_id == Some(sam.id)), "{warned:?}");
        assert_eq!(world.ada.alerts(site, &format!("person_id={}", sam.id)).await.unwrap().items.len(), 2);
        let checks = world.ada.all_checks(site, &format!("due_on={TODAY}")).await.unwrap();
        let of = |name: &str| checks.iter().find(|check| check.name == name).unwrap().id;
        by_sam.settle_check(site, of("Done"), &seen("2026-11-24T08:00:30Z", "all well")).await.unwrap();
        let rest = overdue().await;
        assert_eq!(rest.iter().map(|alert| alert.about_id).collect::<Vec<_>>(), [of("Missed")]);
        world.clock.set(instant("2026-11-24T11:01:00Z"));
        world.beat().await;
        assert_eq!(overdue().await, []);
        let missed = world.ada.alerts(site, "kind=check_missed").await.unwrap().items;
        assert_eq!(missed.iter().map(|alert| (alert.about_id, alert.person_id)).collect::<Vec<_>>(), [(of("Missed"), None)]);
    }

    async fn what_may_still_be_done_comes_into_the_round_of_the_next_day(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        world.check_plan(site, json!({ "name": "Wash trays", "room_id": room, "limit_min": 4_000, "rule": "FREQ=WEEKLY",
            "starts_local": "2026-11-24T08:00:00" })).await;
        world.check_plan(site, json!({ "name": "Look round", "room_id": room })).await;
        let (sam, _) = world.person("Sam", Role::Staff, Some(site)).await;
        let (kim, _) = world.person("Kim", Role::Staff, Some(site)).await;
        world.shift(site, sam.id, TODAY).await;
        for day in ["2026-11-25", "2026-11-26"] {
            world.shift(site, kim.id, day).await;
        }
        world.beat().await;
        let names = async |day: &str| {
            let rounds = world.ada.rounds(site, Some(day.parse().unwrap())).await.unwrap();
            let steps = rounds.rounds.iter().flat_map(|round| round.steps.iter().map(|step| (round.person_id, step)));
            let mut names: Vec<_> =
                steps.filter_map(|(person, step)| Some((person, step.check.clone()?.name))).collect();
            names.sort_by(|one, other| one.1.cmp(&other.1));
            names
        };
        let of = |person: Uuid, names: &[&str]| names.iter().map(|name| (person, (*name).to_owned())).collect::<Vec<_>>();
        world.clock.set(instant("2026-11-24T22:00:00Z"));
        world.beat().await;
        assert_eq!(names(TODAY).await, of(sam.id, &["Look round", "Wash trays"]));
        assert_eq!(names("2026-11-25").await, of(kim.id, &["Look round"]), "not before the day begins");
        world.clock.set(instant("2026-11-24T23:01:00Z"));
        world.beat().await;
        world.beat().await;
        let day = world.ada.rounds(site, Some("2026-11-25".parse().unwrap())).await.unwrap();
        assert_eq!((names("2026-11-25").await, day.number), (of(kim.id, &["Look round", "Wash trays"]), 2));
        let told: Vec<&str> = day.moves.iter().map(|moved| moved.text.as_str()).collect();
        assert_eq!(told, ["Wash trays (North room) goes from Sam to Kim: it is left over from the day before, when Sam had it"]);
        let overdue = world.ada.alerts(site, "kind=check_overdue").await.unwrap().items;
        assert_eq!(overdue.iter().map(|alert| alert.person_id).collect::<Vec<_>>(), [Some(kim.id)], "and the warning goes along");

        world.clock.set(instant("2026-11-25T08:00:00Z"));
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        let late = world.ada.all_checks(site, &format!("due_on={TODAY}")).await.unwrap();
        let late = late.iter().find(|check| check.name == "Wash trays").unwrap().id;
        let given = json!({ "day_on": "2026-11-25", "check_ids": [late], "to_person_id": sam.id });
        let refused = world.ada.reassign_checks(site, &json(given)).await.unwrap_err();
        assert_eq!(refused.problem().unwrap().detail, "Wash trays cannot go to Sam: they are not there in its time");
        let mut done = seen("2026-11-25T07:59:00Z", "all clean");
        done.done_by = Some(kim.id);
        world.ada.settle_check(site, late, &done).await.unwrap();
        world.ada.publish_rounds(site, "2026-11-25".parse().unwrap()).await.unwrap();
        assert_eq!(names("2026-11-25").await, of(kim.id, &["Look round", "Wash trays"]), "what was done stays on paper");
        world.clock.set(instant("2026-11-25T23:01:00Z"));
        world.beat().await;
        assert_eq!(names("2026-11-26").await, of(kim.id, &["Look round"]), "and is no longer carried");
    }

    async fn who_has_what_is_left_over_is_warned_when_their_day_is_first_published(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        world.check_plan(site, json!({ "name": "Wash trays", "room_id": room, "limit_min": 4_000, "rule": "FREQ=WEEKLY",
            "starts_local": "2026-11-24T08:00:00" })).await;
        let (sam, _) = world.person("Sam", Role::Staff, Some(site)).await;
        let (kim, _) = world.person("Kim", Role::Staff, Some(site)).await;
        world.shift(site, sam.id, TODAY).await;
        world.beat().await;
        let overdue = async || world.ada.alerts(site, "kind=check_overdue").await.unwrap().items[0].person_id;
        world.clock.set(instant("2026-11-24T22:00:00Z"));
        world.beat().await;
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        assert_eq!(overdue().await, Some(sam.id));
        world.clock.set(instant("2026-11-24T23:01:00Z"));
        world.shift(site, kim.id, "2026-11-25").await;
        let rounds = world.ada.publish_rounds(site, "2026-11-25".parse().unwrap()).await.unwrap();
        assert_eq!((rounds.number, steps(&rounds)[0].0, overdue().await), (1, kim.id, Some(kim.id)));
    }

    async fn what_was_done_is_in_the_rounds_of_who_did_it(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        world.check_plan(site, json!({ "name": "Lift trays", "room_id": room, "two_people": true })).await;
        let (asha, by_asha) = world.person("Asha", Role::Staff, Some(site)).await;
        let (chand, _) = world.person("Chand", Role::Staff, Some(site)).await;
        let (bo, _) = world.person("Bo", Role::Staff, Some(site)).await;
        for person in [asha.id, chand.id] {
            world.shift(site, person, TODAY).await;
        }
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        let lift = steps(&rounds)[0].1.check_id;
        world.shift(site, bo.id, TODAY).await;
        world.clock.set(instant("2026-11-24T07:30:00Z"));
        let mut done = seen("2026-11-24T07:20:00Z", "done");
        done.done_with = Some(bo.id);
        by_asha.settle_check(site, lift, &done).await.unwrap();
        let again = world.ada.publish_rounds(site, today()).await.unwrap();
        let mut found: Vec<_> = steps(&again).iter().map(|(person, step)| (*person, step.with_person_id)).collect();
        found.sort();
        assert_eq!(found, [(asha.id, Some(bo.id)), (bo.id, Some(asha.id))]);
        assert!(again.rounds.iter().all(|round| round.minutes == 10));
    }

    async fn what_was_agreed_on_stays_when_the_day_is_published_again(world: World) {
        let site = world.site("Harbour").await.id;
        for name in ["Hill", "Shore"] {
            let room = world.room(site, name, "growing", 1).await;
            world.check_plan(site, json!({ "name": name, "room_id": room, "work_min": 100, "window_min": 240 })).await;
        }
        let (sam, _) = world.person("Sam", Role::Staff, Some(site)).await;
        let (kim, _) = world.person("Kim", Role::Staff, Some(site)).await;
        for person in [sam.id, kim.id] {
            world.shift(site, person, TODAY).await;
        }
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        let of_sam = steps(&rounds).into_iter().find(|(person, _)| *person == sam.id).unwrap().1.check_id;
        let given = json!({ "day_on": TODAY, "check_ids": [of_sam], "to_person_id": kim.id });
        world.ada.reassign_checks(site, &json(given)).await.unwrap();
        let again = world.ada.publish_rounds(site, today()).await.unwrap();
        assert_eq!((again.number, again.moves.len()), (3, 0), "{:?}", again.moves);
        assert!(steps(&again).iter().all(|(person, _)| *person == kim.id));
    }

    async fn what_somebody_has_read_for_stays_with_them(world: World) {
        let small = world.greenhouse().await;
        for (name, time) in [("EC and pH", "08:00"), ("Again", "09:00")] {
            let plan = json!({ "name": name, "task": "measure", "metrics": ["ec", "ph"], "sample_point": "tank",
                "tank_id": small.north_tank, "starts_local": format!("2026-01-01T{time}:00") });
            world.check_plan(small.site, plan).await;
        }
        let (sam, by_sam) = world.person("Sam", Role::Staff, Some(small.site)).await;
        world.shift(small.site, sam.id, TODAY).await;
        world.beat().await;
        let (kim, by_kim) = world.person("Kim", Role::Staff, Some(small.site)).await;
        world.shift(small.site, kim.id, TODAY).await;
        world.clock.set(instant("2026-11-24T07:10:00Z"));
        let ph = reading(small.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:08:00Z");
        by_kim.record_reading(small.site, &ph).await.unwrap();
        let rounds = world.ada.publish_rounds(small.site, today()).await.unwrap();
        let steps = steps(&rounds);
        let named = |name: &str| *steps.iter().find(|(_, step)| step.check.as_ref().unwrap().name == name).unwrap();
        assert_eq!(named("EC and pH").0, sam.id, "it is not Kim's for a reading");
        let ph = reading(small.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:09:00Z");
        by_sam.record_reading(small.site, &ph).await.unwrap();
        let given = |name: &str| -> NewReassignment {
            json(json!({ "day_on": TODAY, "check_ids": [named(name).1.check_id], "to_person_id": kim.id }))
        };
        let begun = world.ada.reassign_checks(small.site, &given("EC and pH")).await.unwrap_err();
        assert_eq!(begun.problem().unwrap().detail, "EC and pH cannot go to Kim: it is begun, settled or withdrawn");
        // A reading is for one check: that of nine is not begun by it.
        world.ada.reassign_checks(small.site, &given("Again")).await.unwrap();
    }
}
