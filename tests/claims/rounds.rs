//! Rounds: shared out by shift, absence, qualification and hygiene, published, printed.

use chrono::{NaiveDate, TimeDelta};
use fillmark_api::*;
use fillmark_client::Client;
use fillmark_domain::people::Role;
use fillmark_domain::work::{LeftReason, MoveReason};
use fillmark_tests::on_both;
use fillmark_tests::work::seen;
use fillmark_tests::world::{World, instant, json, refusal};
use serde_json::json;
use uuid::Uuid;

const TODAY: &str = "2026-11-24";

fn today() -> NaiveDate {
    TODAY.parse().unwrap()
}

/// A site with three rooms that are looked round at eight: clean, dirty, and quarantine, the last with the
/// lowest rank.
struct Three {
    site: Uuid,
    clean: Uuid,
    sam: (Uuid, Client),
}

async fn three_rooms(world: &World) -> Three {
    let site = world.site("Harbour").await.id;
    let mut clean = Uuid::nil();
    for (name, room_use, rank) in
        [("Quarantine", "quarantine", 0), ("Dirty", "growing", 5), ("Clean", "growing", 1)]
    {
        let room = world.room(site, name, room_use, rank).await;
        world.check_plan(site, json!({ "name": name, "room_id": room })).await;
        clean = room;
    }
    let (sam, client) = world.person("Sam", Role::Staff, Some(site)).await;
    Three { site, clean, sam: (sam.id, client) }
}

fn names(round: &Round) -> Vec<&str> {
    round.steps.iter().filter_map(|step| step.check.as_ref()).map(|check| check.name.as_str()).collect()
}

fn left(rounds: &Rounds) -> Vec<(&str, LeftReason)> {
    rounds
        .left
        .iter()
        .map(|left| (left.check.as_ref().unwrap().name.as_str(), left.reasons[0].code.0))
        .collect()
}

on_both! {
    async fn who_works_elsewhere_has_no_shift_here_and_does_nothing_here(world: World) {
        let small = world.greenhouse().await;
        let hill = world.site("Hill").await.id;
        let (kim, _) = world.person("Kim", Role::Staff, Some(hill)).await;
        let (sam, _) = world.person("Sam", Role::Staff, Some(small.site)).await;
        let here = world.ada.site(small.site);
        let shift = |person: Uuid, day: &str| -> NewShift {
            json(json!({ "person_id": person, "day_on": day, "starts_local": "07:00:00", "ends_local": "15:30:00" }))
        };
        let roleless = |error: fillmark_client::ClientError, pointer: &str| {
            let fault = &error.problem().unwrap().errors[0];
            assert_eq!((fault.pointer.as_deref(), fault.code.as_str()), (Some(pointer), "no_role"));
        };
        roleless(here.create::<NewShift>(&shift(kim.id, TODAY)).await.unwrap_err(), "/person_id");
        roleless(here.create::<NewShift>(&shift(sam.id, "2026-11-23")).await.unwrap_err(), "/person_id");
        let mut read = fillmark_tests::greenhouse::reading(small.north_tank, "ph", 6.0, "[pH]", "2026-11-24T06:00:00Z");
        read.done_by = Some(kim.id);
        roleless(world.ada.record_reading(small.site, &read).await.unwrap_err(), "/done_by");

        here.create::<NewShift>(&shift(sam.id, TODAY)).await.unwrap();
        here.create::<NewShift>(&shift(sam.id, "2026-11-25")).await.unwrap();
        world.check_plan(small.site, json!({ "room_id": small.north_room })).await;
        let steps = async |day: &str| {
            let day = world.ada.publish_rounds(small.site, day.parse().unwrap()).await.unwrap();
            day.rounds.iter().map(|round| round.steps.len()).sum::<usize>()
        };
        world.beat().await;
        assert_eq!((steps(TODAY).await, steps("2026-11-25").await), (2, 1), "a tank change is due today");
        let business = world.ada.business();
        let role = business.all::<NewMembership>("").await.unwrap().into_iter().find(|one| one.body.person_id == sam.id);
        business.change(&role.unwrap(), json!({ "until_at": "2026-11-24T17:00:00Z" })).await.unwrap();
        world.beat().await;
        let tomorrow = world.ada.rounds(small.site, Some("2026-11-25".parse().unwrap())).await.unwrap();
        assert_eq!(tomorrow.rounds.len(), 0, "handed on to nobody");
        assert_eq!((steps(TODAY).await, steps("2026-11-25").await), (2, 0));
    }

    async fn a_person_sees_their_round_from_clean_to_dirty_with_quarantine_last(world: World) {
        let Three { site, sam: (sam, client), .. } = three_rooms(&world).await;
        let (kim, _) = world.person("Kim", Role::Staff, Some(site)).await;
        world.shift(site, sam, TODAY).await;
        world.beat().await;
        let own = client.my_round(site, None).await.unwrap();
        assert_eq!((own.person_id, names(&own)), (sam, vec!["Clean", "Dirty", "Quarantine"]));
        let mine = world.ada.all_checks(site, &format!("person_id={sam}&due_on={TODAY}")).await.unwrap();
        assert_eq!(mine.len(), 3);
        assert_eq!(world.ada.all_checks(site, &format!("person_id={}", kim.id)).await.unwrap().len(), 0);
    }

    async fn who_has_nothing_to_do_has_a_round_without_checks(world: World) {
        let Three { site, sam: (sam, client), .. } = three_rooms(&world).await;
        world.shift(site, sam, TODAY).await;
        world.beat().await;
        let (kim, by_kim) = world.person("Kim", Role::Staff, Some(site)).await;
        let empty = |day: &str, person_id| Round {
            id: None,
            person_id,
            day_on: day.parse().unwrap(),
            minutes: 0,
            fair_minutes: 0,
            steps: vec![],
        };
        assert_eq!(by_kim.my_round(site, None).await.unwrap(), empty(TODAY, kim.id));
        let unpublished = client.my_round(site, Some("2026-12-24".parse().unwrap())).await.unwrap();
        assert_eq!(unpublished, empty("2026-12-24", sam));
        let elsewhere = world.site("Hill").await.id;
        assert_eq!(refusal(by_kim.my_round(elsewhere, None).await), ProblemCode::NotFound);
        for day in [None, Some(today())] {
            assert_eq!(refusal(world.ada.my_round(Uuid::now_v7(), day).await), ProblemCode::NotFound);
        }
    }

    async fn who_is_away_gets_nothing_and_what_nobody_can_do_is_told(world: World) {
        let Three { site, sam: (sam, _), .. } = three_rooms(&world).await;
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        assert_eq!(left(&rounds)[0].1, LeftReason::NobodyOnShift);
        assert_eq!(rounds.left[0].cures[0].text, "somebody more for 10 minutes, who has been in no dirtier room");
        world.shift(site, sam, TODAY).await;
        let away = json!({ "person_id": sam, "from_at": "2026-11-23T00:00:00Z", "until_at": "2026-11-27T00:00:00Z", "reason": "sick" });
        world.ada.site(site).create::<NewAbsence>(&json(away)).await.unwrap();
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        assert_eq!((rounds.number, rounds.rounds.len()), (2, 0));
        assert!(left(&rounds).iter().all(|(_, reason)| *reason == LeftReason::AllAbsent));
        assert_eq!(rounds.left[0].reasons[0].text, "who would be on shift is away");
    }

    async fn nobody_works_at_two_sites_at_once(world: World) {
        let Three { site, .. } = three_rooms(&world).await;
        let hill = world.site_in("Hill", "Europe/Helsinki").await.id;
        let (kim, _) = world.person("Kim", Role::Staff, None).await;
        let there = world.shift(hill, kim.id, TODAY).await;
        let here = world.ada.site(site);
        let shift = |starts: &str| -> NewShift {
            json(json!({ "person_id": kim.id, "day_on": TODAY, "starts_local": starts, "ends_local": "18:00" }))
        };
        let overlaps = |error: fillmark_client::ClientError| {
            let fault = error.problem().unwrap().errors[0].clone();
            assert_eq!((fault.pointer.as_deref(), fault.code.as_str()), (Some("/starts_local"), "overlaps"));
            fault.detail
        };
        let told = overlaps(here.create::<NewShift>(&shift("14:29")).await.unwrap_err());
        let taken = "they work at another site from 2026-11-24 06:00 until 2026-11-24 14:30";
        assert!(told.ends_with(taken) && !told.contains("Hill"), "{told}");
        let late = here.create::<NewShift>(&shift("14:30")).await.unwrap();
        overlaps(here.change(&late, json!({ "starts_local": "14:00" })).await.unwrap_err());
        world.ada.site(hill).archive(&there).await.unwrap();
        here.change(&late, json!({ "starts_local": "14:00" })).await.unwrap();

        let tomorrow: NewShift = json(json!({ "person_id": kim.id, "day_on": "2026-11-25", "starts_local": "07:00", "ends_local": "15:00" }));
        let hill = world.ada.site(hill);
        let both = tokio::join!(here.create(&tomorrow), hill.create(&tomorrow));
        assert_eq!(usize::from(both.0.is_ok()) + usize::from(both.1.is_ok()), 1, "of two at once one is taken");
    }

    async fn who_is_ill_at_one_site_is_ill_at_the_other(world: World) {
        let Three { site, .. } = three_rooms(&world).await;
        let hill = world.site("Hill").await.id;
        let (kim, _) = world.person("Kim", Role::Staff, None).await;
        world.shift(site, kim.id, TODAY).await;
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        assert_eq!((rounds.rounds.len(), rounds.left.len()), (1, 0));
        let away = json!({ "person_id": kim.id, "from_at": "2026-11-23T00:00:00Z", "until_at": "2026-11-27T00:00:00Z", "reason": "sick" });
        world.ada.site(hill).create::<NewAbsence>(&json(away)).await.unwrap();
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        assert_eq!((rounds.rounds.len(), rounds.left.len()), (0, 3));
        assert!(left(&rounds).iter().all(|(_, reason)| *reason == LeftReason::AllAbsent));
        assert!(rounds.moves.iter().all(|moved| moved.code.0 == MoveReason::PersonAway), "{:?}", rounds.moves);
        let days = world.ada.coverage(site, &format!("from_on={TODAY}&until_on={TODAY}")).await.unwrap().days;
        assert_eq!((days[0].there_min, days[0].is_covered), (0, false));
    }

    async fn who_is_not_qualified_is_not_sent(world: World) {
        let Three { site, clean, sam: (sam, _) } = three_rooms(&world).await;
        let business = world.ada.business();
        let acid = business.create::<NewQualification>(&json(json!({ "name": "Acid" }))).await.unwrap();
        world.check_plan(site, json!({ "name": "Acid", "room_id": clean, "qualification_id": acid.id })).await;
        world.shift(site, sam, TODAY).await;
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        assert_eq!(left(&rounds), [("Acid", LeftReason::NobodyQualified)]);
        assert_eq!(rounds.left[0].reasons[0].text, "nobody on shift then holds Acid");
        let held = json!({ "person_id": sam, "qualification_id": acid.id, "from_on": "2026-01-01", "until_on": TODAY });
        let held = business.create::<NewHeldQualification>(&json(held)).await.unwrap();
        assert_eq!(left(&world.ada.publish_rounds(site, today()).await.unwrap()), []);
        business.change(&held, json!({ "until_on": "2026-11-23" })).await.unwrap();
        assert_eq!(left(&world.ada.publish_rounds(site, today()).await.unwrap()), [("Acid", LeftReason::NobodyQualified)]);
        assert_eq!(refusal(business.archive(&acid).await), ProblemCode::Conflict);
    }

    async fn of_two_the_one_who_is_away_is_told(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        world.check_plan(site, json!({ "name": "Lift trays", "room_id": room, "two_people": true })).await;
        let mut people = Vec::new();
        for name in ["Noor", "Ben"] {
            let (person, _) = world.person(name, Role::Staff, Some(site)).await;
            world.shift(site, person.id, TODAY).await;
            people.push(person.id);
        }
        world.ada.publish_rounds(site, today()).await.unwrap();
        let away = json!({ "person_id": people[1], "from_at": "2026-11-24T00:00:00Z", "until_at": "2026-11-25T00:00:00Z", "reason": "sick" });
        world.ada.site(site).create::<NewAbsence>(&json(away)).await.unwrap();
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        let text = "Lift trays (North room) goes from Noor and Ben to nobody: one of them is not there for it any more, and it takes two";
        assert_eq!((rounds.moves[0].code.0, rounds.moves[0].text.as_str()), (MoveReason::PersonAway, text));
        let (cem, _) = world.person("Cem", Role::Staff, Some(site)).await;
        world.shift(site, cem.id, TODAY).await;
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        assert_eq!(rounds.left, []);
    }

    async fn a_break_is_no_absence(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        world.check_plan(site, json!({ "room_id": room, "starts_local": "2026-01-01T12:00:00", "window_min": 30, "limit_min": 30 })).await;
        let (sam, _) = world.person("Sam", Role::Staff, Some(site)).await;
        let shift = json!({ "person_id": sam.id, "day_on": TODAY, "starts_local": "07:00:00", "ends_local": "15:30:00",
            "break_starts_local": "12:00:00", "break_min": 30 });
        world.ada.site(site).create::<NewShift>(&json(shift)).await.unwrap();
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        let reason = &rounds.left[0].reasons[0];
        assert_eq!((reason.code.0, reason.text.as_str()), (LeftReason::OnBreak, "who would be on shift has their break then"));
    }

    async fn publishing_again_leaves_what_is_begun_with_whom_it_is(world: World) {
        let Three { site, sam: (sam, client), .. } = three_rooms(&world).await;
        world.shift(site, sam, TODAY).await;
        world.beat().await;
        world.clock.set(instant("2026-11-24T07:05:00Z"));
        let own = client.my_round(site, None).await.unwrap();
        client.settle_check(site, own.steps[0].check_id, &seen("2026-11-24T07:04:00Z", "all well")).await.unwrap();
        client.open_check(site, own.steps[1].check_id).await.unwrap();
        let (kim, _) = world.person("Kim", Role::Staff, Some(site)).await;
        world.shift(site, kim.id, TODAY).await;
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        let of = |person: Uuid| rounds.rounds.iter().find(|round| round.person_id == person).map(names).unwrap_or_default();
        assert_eq!(of(sam)[..2], ["Clean", "Dirty"]);
        assert_eq!(of(sam).len() + of(kim.id).len(), 3);
        assert_eq!(rounds.number, 2);
    }

    async fn beats_publish_today_and_tomorrow_once(world: World) {
        let Three { site, sam: (sam, _), .. } = three_rooms(&world).await;
        world.beat().await;
        assert_eq!(refusal(world.ada.rounds(site, None).await), ProblemCode::NotFound);
        world.shift(site, sam, TODAY).await;
        world.shift(site, sam, "2026-11-25").await;
        let beats = [(); 3].map(|()| {
            let app = world.server.app.clone();
            tokio::spawn(async move { fillmark_actions::work::beat(&app).await })
        });
        for beat in beats {
            beat.await.unwrap().unwrap();
        }
        for day in [today(), today() + TimeDelta::days(1)] {
            let rounds = world.ada.rounds(site, Some(day)).await.unwrap();
            assert_eq!((rounds.number, rounds.published_by, rounds.rounds.len()), (1, None, 1), "{day}");
        }
        assert_eq!(refusal(world.ada.rounds(site, Some(today() + TimeDelta::days(2))).await), ProblemCode::NotFound);
    }

    async fn a_night_shift_does_the_checks_after_midnight(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        world.check_plan(site, json!({ "room_id": room, "starts_local": "2026-01-01T02:00:00" })).await;
        let (sam, _) = world.person("Sam", Role::Staff, Some(site)).await;
        let night = json!({ "person_id": sam.id, "day_on": TODAY, "starts_local": "22:00", "ends_local": "06:00" });
        world.ada.site(site).create::<NewShift>(&json(night)).await.unwrap();
        let rounds = world.ada.publish_rounds(site, today() + TimeDelta::days(1)).await.unwrap();
        assert_eq!((rounds.rounds.len(), rounds.left.len()), (1, 0));
    }

    async fn a_printed_round_says_where_and_what_with_its_band(world: World) {
        let small = world.greenhouse().await;
        let plan = json!({ "name": "EC and pH", "task": "measure", "metrics": ["ec", "ph"], "sample_point": "tank", "tank_id": small.north_tank,
            "limit_min": 1_500 });
        world.check_plan(small.site, plan).await;
        let (sam, client) = world.person("Sam", Role::Staff, Some(small.site)).await;
        world.shift(small.site, sam.id, TODAY).await;
        world.beat().await;
        let own = client.my_round(small.site, None).await.unwrap();
        let sheet = client.round_sheet(small.site, own.id.unwrap()).await.unwrap();
        for part in ["Harbour: round of Sam on 2026-11-24", "North room, North tank: EC and pH", "1 to 1.8, aim 1.4", "[pH]", "____", "acid into water",
            "(08:00 to 09:00, at the latest 09:00 on 25 November)"] {
            assert!(sheet.contains(part), "{part} in {sheet}");
        }
    }

    async fn what_moves_says_why_and_what_is_left_says_what_would_help(world: World) {
        let Three { site, clean, sam: (sam, client) } = three_rooms(&world).await;
        world.shift(site, sam, TODAY).await;
        world.beat().await;
        let acid = world.ada.business().create::<NewQualification>(&json(json!({ "name": "Acid" }))).await.unwrap();
        world.check_plan(site, json!({ "name": "Doser", "room_id": clean, "starts_local": "2026-01-01T07:15:00", "qualification_id": acid.id })).await;
        let (kim, by_kim) = world.person("Kim", Role::Staff, Some(site)).await;
        world.shift(site, kim.id, TODAY).await;
        let away = json!({ "person_id": sam, "from_at": "2026-11-24T00:00:00Z", "until_at": "2026-11-25T00:00:00Z", "reason": "sick" });
        world.ada.site(site).create::<NewAbsence>(&json(away)).await.unwrap();
        let rounds = world.ada.publish_rounds(site, today()).await.unwrap();
        let clean = rounds.moves.iter().find(|moved| moved.text.starts_with("Clean")).unwrap();
        assert_eq!(clean.text, "Clean goes from Sam to Kim: who had it is not there for it any more");
        assert_eq!((rounds.moves.len(), &clean.from_person_ids[..], &clean.to_person_ids[..]), (3, &[sam][..], &[kim.id][..]));
        let cure = &rounds.left[0].cures[0];
        assert_eq!((cure.code.as_str(), cure.person_id, cure.qualification_id), ("qualify", Some(kim.id), Some(acid.id)));
        assert_eq!(cure.text, "Kim has the time, but would have to be qualified: Acid");
        let own = by_kim.my_round(site, None).await.unwrap();
        assert_eq!(own.steps[0].moved.as_ref().unwrap().code.0, MoveReason::PersonAway);
        assert_eq!(world.ada.rounds(site, None).await.unwrap(), rounds, "kept as it was told");
        assert_eq!(client.my_round(site, None).await.unwrap().steps, [], "handed on");
    }

    async fn only_managers_publish_and_only_days_to_come(world: World) {
        let Three { site, sam: (_, client), .. } = three_rooms(&world).await;
        assert_eq!(refusal(client.publish_rounds(site, today()).await), ProblemCode::NotAllowed);
        assert_eq!(refusal(world.ada.publish_rounds(site, today() - TimeDelta::days(1)).await), ProblemCode::Invalid);
        let day = async |day: &str| world.ada.get::<Rounds>(&format!("/sites/{site}/rounds?day_on={day}")).await;
        assert_eq!(refusal(day("someday").await), ProblemCode::BadRequest);
        let error = day("-200000-01-01").await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].parameter.as_deref()), (ProblemCode::Invalid, Some("day_on")));
    }
}
