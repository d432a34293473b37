//! What becomes of checks: opened, done in time or late, excused.

use chrono::TimeDelta;
use fillmark_api::{
    Check, NewCompletion, NewExcusal, NewHeldQualification, NewOutage, NewQualification, ProblemCode,
};
use fillmark_client::ClientError;
use fillmark_domain::people::Role;
use fillmark_domain::work::CheckStanding;
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::work::seen;
use fillmark_tests::world::{World, instant, json, refusal};
use serde_json::json;
use uuid::Uuid;

/// A room that is looked round at eight (seven in UTC) each day, done late after nine, missed after twelve.
async fn daily(world: &World) -> (Uuid, Check) {
    let site = world.site("Harbour").await.id;
    let room = world.room(site, "North room", "growing", 1).await;
    world.check_plan(site, json!({ "room_id": room })).await;
    (site, world.ada.all_checks(site, "").await.unwrap().remove(0))
}

#[track_caller]
fn detail(answer: Result<Check, ClientError>) -> String {
    answer.unwrap_err().problem().unwrap().detail.clone()
}

on_both! {
    async fn done_after_its_window_a_check_is_late(world: World) {
        let (site, check) = daily(&world).await;
        world.clock.set(instant("2026-11-24T08:30:00Z"));
        let done = world.ada.settle_check(site, check.id, &seen("2026-11-24T08:29:00Z", "all well")).await.unwrap();
        assert_eq!((done.state.0, done.late, done.note.as_deref()), (CheckStanding::Done, Some(true), Some("all well")));
    }

    async fn a_round_typed_in_later_counts_by_when_it_was_done(world: World) {
        let (site, check) = daily(&world).await;
        let (sam, _) = world.person("Sam", Role::Staff, Some(site)).await;
        world.clock.set(instant("2026-11-24T10:30:00Z"));
        let typed = NewCompletion { done_by: Some(sam.id), ..seen("2026-11-24T07:10:00Z", "all well") };
        let done = world.ada.settle_check(site, check.id, &typed).await.unwrap();
        assert_eq!((done.late, done.state_by), (Some(false), Some(sam.id)));
        assert_eq!(done.state_at.unwrap().0, instant("2026-11-24T07:10:00Z"));
        assert_eq!(done.received_at.unwrap().0, instant("2026-11-24T10:30:00Z"));
        assert_ne!(done.entered_by, Some(sam.id));
        world.clock.set(instant("2026-11-24T12:00:00Z"));
        world.beat().await;
        assert_eq!(world.ada.check(site, check.id).await.unwrap().state.0, CheckStanding::Done);
    }

    async fn what_was_done_in_time_and_typed_in_after_it_was_found_missed_is_done(world: World) {
        let (site, check) = daily(&world).await;
        world.clock.set(instant("2026-11-24T12:00:00Z"));
        world.beat().await;
        assert_eq!(world.ada.check(site, check.id).await.unwrap().state.0, CheckStanding::Missed);
        let too_late = world.ada.settle_check(site, check.id, &seen("2026-11-24T11:30:00Z", "all well")).await;
        assert_eq!(refusal(too_late), ProblemCode::Conflict);
        let done = world.ada.settle_check(site, check.id, &seen("2026-11-24T07:10:00Z", "all well")).await.unwrap();
        assert_eq!((done.state.0, done.late), (CheckStanding::Done, Some(false)));
        let open = world.ada.alerts(site, "kind=check_missed&state=open").await.unwrap().items;
        assert_eq!(open, [], "nobody need look after it any more");
    }

    async fn the_same_completion_twice_has_one_effect(world: World) {
        let (site, check) = daily(&world).await;
        world.clock.set(instant("2026-11-24T07:30:00Z"));
        let completion = seen("2026-11-24T07:20:00Z", "all well");
        let first = world.ada.settle_check(site, check.id, &completion).await.unwrap();
        assert_eq!(world.ada.settle_check(site, check.id, &completion).await.unwrap(), first);
        let other = NewCompletion { note: Some("a leak".into()), ..completion };
        assert_eq!(refusal(world.ada.settle_check(site, check.id, &other).await), ProblemCode::ClientIdReused);
    }

    async fn who_is_not_qualified_begins_nothing_and_is_asked_whether_they_did_it(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        let business = world.ada.business();
        let acid = business.create::<NewQualification>(&json(json!({ "name": "Acid" }))).await.unwrap();
        let plan = world.check_plan(site, json!({ "room_id": room, "qualification_id": acid.id })).await;
        let (sam, by_sam) = world.person("Sam", Role::Staff, Some(site)).await;
        let check = world.ada.all_checks(site, "due_on=2026-11-24").await.unwrap().remove(0);
        assert_eq!(check.plan_id, Some(plan.id));
        world.clock.set(instant("2026-11-24T07:30:00Z"));
        assert!(detail(by_sam.open_check(site, check.id).await).contains("you are not qualified for it"));
        let done = seen("2026-11-24T07:20:00Z", "dosed");
        let fault = by_sam.settle_check(site, check.id, &done).await.unwrap_err().problem().unwrap().errors[0].clone();
        let expected = "expected somebody qualified in Acid on 2026-11-24; if they did it all the same, send it as confirmed";
        assert_eq!((fault.pointer.as_deref(), fault.code.as_str(), fault.detail.as_str()), (Some("/done_by"), "not_qualified", expected));
        let confirmed = NewCompletion { confirmed: true, ..done };
        let kept = by_sam.settle_check(site, check.id, &confirmed).await.unwrap();
        assert_eq!((kept.state.0, kept.state_by), (CheckStanding::Done, Some(sam.id)));
        let held = json!({ "person_id": sam.id, "qualification_id": acid.id, "from_on": "2026-11-25", "until_on": null });
        business.create::<NewHeldQualification>(&json(held)).await.unwrap();
        world.clock.set(instant("2026-11-25T07:30:00Z"));
        let next = world.ada.all_checks(site, "due_on=2026-11-25").await.unwrap().remove(0);
        by_sam.open_check(site, next.id).await.unwrap();
        by_sam.settle_check(site, next.id, &seen("2026-11-25T07:20:00Z", "dosed")).await.unwrap();
    }

    async fn nobody_begins_something_clean_after_something_dirty(world: World) {
        let site = world.site("Harbour").await.id;
        for (name, room_use, rank) in [("Propagation", "propagation", 1), ("Quarantine", "quarantine", 9)] {
            let room = world.room(site, name, room_use, rank).await;
            world.check_plan(site, json!({ "name": name, "room_id": room })).await;
        }
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        world.clock.set(instant("2026-11-24T07:10:00Z"));
        let mut checks = world.ada.all_checks(site, "due_on=2026-11-24").await.unwrap();
        checks.sort_by(|one, other| one.name.cmp(&other.name));
        let [clean, dirty] = [checks[0].id, checks[1].id];
        sam.open_check(site, dirty).await.unwrap();
        assert!(detail(sam.open_check(site, clean).await).contains("you have been in a dirtier room today"));
        world.ada.open_check(site, clean).await.unwrap();
        sam.settle_check(site, clean, &seen("2026-11-24T07:09:00Z", "all well")).await.unwrap();
        world.clock.set(instant("2026-11-25T07:10:00Z"));
        let next = world.ada.all_checks(site, "due_on=2026-11-25").await.unwrap();
        let clean = next.iter().find(|check| check.name == "Propagation").unwrap().id;
        sam.open_check(site, clean).await.unwrap();
    }

    async fn of_two_who_settle_a_check_at_once_one_does(world: World) {
        let (site, check) = daily(&world).await;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        world.clock.set(instant("2026-11-24T07:30:00Z"));
        let (first, second) = (seen("2026-11-24T07:20:00Z", "all well"), seen("2026-11-24T07:21:00Z", "a leak\nat the pump"));
        let both = tokio::join!(world.ada.settle_check(site, check.id, &first), sam.settle_check(site, check.id, &second));
        let refused = match both {
            (Ok(_), Err(error)) | (Err(error), Ok(_)) => error,
            other => panic!("{other:?}"),
        };
        assert_eq!(refused.problem().unwrap().code, ProblemCode::Conflict);
        let completion = seen("2026-11-25T07:20:00Z", "all well");
        world.clock.set(instant("2026-11-25T07:30:00Z"));
        let next = world.ada.all_checks(site, "due_on=2026-11-25").await.unwrap().remove(0);
        let same = tokio::join!(world.ada.settle_check(site, next.id, &completion), world.ada.settle_check(site, next.id, &completion));
        assert_eq!(same.0.unwrap(), same.1.unwrap());
    }

    async fn a_check_is_begun_and_done_some_minutes_early_and_told_by_the_clock_of_the_site(world: World) {
        let (site, check) = daily(&world).await;
        world.clock.set(instant("2026-11-24T06:49:00Z"));
        let early = world.ada.open_check(site, check.id).await.unwrap_err();
        let problem = early.problem().unwrap();
        assert_eq!(problem.code, ProblemCode::Conflict);
        let told = "the check is not due before 08:00 on 24 November, and can be begun 10 minutes ahead";
        assert!(format!("{problem:?}").contains(told), "{problem:?}");
        world.clock.set(instant("2026-11-24T06:50:00Z"));
        assert_eq!(world.ada.open_check(site, check.id).await.unwrap().state.0, CheckStanding::Open);
        world.clock.set(instant("2026-11-24T06:57:00Z"));
        let done = world.ada.settle_check(site, check.id, &seen("2026-11-24T06:56:00Z", "all well")).await.unwrap();
        assert_eq!((done.state.0, done.late), (CheckStanding::Done, Some(false)));
        let next = world.ada.all_checks(site, "due_on=2026-11-25").await.unwrap().remove(0);
        world.clock.set(instant("2026-11-25T12:00:00Z"));
        let late = world.ada.settle_check(site, next.id, &seen("2026-11-25T11:01:00Z", "all well")).await.unwrap_err();
        let told = "the check could be done until 12:00 on 25 November, it is missed";
        assert!(format!("{:?}", late.problem()).contains(told), "{late:?}");
    }

    async fn a_check_is_not_done_long_before_it_is_due_nor_without_evidence(world: World) {
        let (site, check) = daily(&world).await;
        world.clock.set(instant("2026-11-24T07:30:00Z"));
        let early = world.ada.settle_check(site, check.id, &seen("2026-11-24T06:49:59Z", "all well")).await;
        assert_eq!(refusal(early), ProblemCode::Conflict);
        let nothing = NewCompletion { note: None, ..seen("2026-11-24T07:20:00Z", "") };
        assert_eq!(refusal(world.ada.settle_check(site, check.id, &nothing).await), ProblemCode::Invalid);
        let ahead = world.ada.settle_check(site, check.id, &seen("2026-11-24T07:40:00Z", "all well")).await;
        assert_eq!(refusal(ahead), ProblemCode::Invalid);
        let unknown = NewCompletion { reading_ids: vec![Uuid::from_u128(1)], done_by: Some(Uuid::from_u128(2)), ..nothing };
        let error = world.ada.settle_check(site, check.id, &unknown).await.unwrap_err();
        let pointers: Vec<_> = error.problem().unwrap().errors.iter().map(|fault| fault.pointer.clone().unwrap()).collect();
        assert_eq!(pointers, ["/done_by", "/reading_ids/0"]);
    }

    async fn a_measurement_is_shown_by_its_readings(world: World) {
        let small = world.greenhouse().await;
        let plan = json!({ "task": "measure", "metrics": ["ec", "ph"], "sample_point": "tank", "tank_id": small.north_tank });
        world.check_plan(small.site, plan).await;
        let check = world.ada.all_checks(small.site, "").await.unwrap().remove(0);
        world.clock.set(instant("2026-11-24T07:30:00Z"));
        let at = "2026-11-24T07:20:00Z";
        let ec = world.ada.record_reading(small.site, &reading(small.north_tank, "ec", 1.4, "mS/cm", at)).await.unwrap();
        let ph = world.ada.record_reading(small.site, &reading(small.north_tank, "ph", 6.0, "[pH]", at)).await.unwrap();
        let old = reading(small.north_tank, "ph", 6.1, "[pH]", "2026-11-23T07:20:00Z");
        let old = world.ada.record_reading(small.site, &old).await.unwrap();
        let stale = NewCompletion { note: None, reading_ids: vec![ec.id, old.id], ..seen(at, "") };
        let error = world.ada.settle_check(small.site, check.id, &stale).await.unwrap_err();
        let fault = &error.problem().unwrap().errors[0];
        assert_eq!((fault.pointer.as_deref(), fault.code.as_str()), (Some("/reading_ids/1"), "not_of_this_check"));
        let one = NewCompletion { note: None, reading_ids: vec![ec.id], ..seen(at, "") };
        assert_eq!(refusal(world.ada.settle_check(small.site, check.id, &one).await), ProblemCode::Invalid);
        let both = NewCompletion { reading_ids: vec![ec.id, ph.id], ..one };
        let done = world.ada.settle_check(small.site, check.id, &both).await.unwrap();
        assert_eq!(done.reading_ids, [ec.id, ph.id]);
        assert_eq!(world.ada.settle_check(small.site, check.id, &both).await.unwrap(), done);
    }

    async fn a_tank_out_of_use_excuses_its_checks_when_they_are_due(world: World) {
        let small = world.greenhouse().await;
        world.check_plan(small.site, json!({ "tank_id": small.north_tank })).await;
        let here = world.ada.site(small.site);
        let outage = json(json!({ "tank_id": small.north_tank, "from_on": "2026-11-24", "until_on": "2026-11-25", "reason": "new pump" }));
        here.create::<NewOutage>(&outage).await.unwrap();
        for day in 0..3 {
            world.clock.set(instant("2026-11-24T07:30:00Z") + TimeDelta::days(day));
            world.beat().await;
        }
        world.clock.set(instant("2026-11-26T12:30:00Z"));
        world.beat().await;
        let checks = world.ada.all_checks(small.site, "").await.unwrap();
        let states: Vec<_> = checks.iter().take(4).map(|check| check.state.0).collect();
        use CheckStanding::{Excused, Missed, Planned};
        assert_eq!(states, [Excused, Excused, Missed, Planned]);
        assert_eq!(checks[0].note.as_deref(), Some("tank out of use: new pump"));
        assert_eq!(world.ada.alerts(small.site, "kind=check_missed").await.unwrap().items.len(), 1);
    }

    async fn managers_excuse_and_staff_do_not(world: World) {
        let (site, check) = daily(&world).await;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        let excusal = NewExcusal { reason: "the room is being cleaned".into() };
        assert_eq!(refusal(sam.excuse_check(site, check.id, &excusal).await), ProblemCode::NotAllowed);
        let excused = world.ada.excuse_check(site, check.id, &excusal).await.unwrap();
        assert_eq!((excused.state.0, excused.note.as_deref()), (CheckStanding::Excused, Some("the room is being cleaned")));
        let blank = NewExcusal { reason: " ".into() };
        assert_eq!(refusal(world.ada.excuse_check(site, check.id, &blank).await), ProblemCode::Invalid);
    }

    async fn checks_are_listed_by_day_state_and_room(world: World) {
        let small = world.greenhouse().await;
        let south = world.room(small.site, "South room", "growing", 2).await;
        world.check_plan(small.site, json!({ "name": "Tank", "tank_id": small.north_tank })).await;
        world.check_plan(small.site, json!({ "name": "South", "room_id": south })).await;
        let count = async |query: &str| world.ada.all_checks(small.site, query).await.unwrap().len();
        assert_eq!(count("due_on=2026-11-24").await, 2);
        assert_eq!(count("due_on=2026-11-24&due_on=2026-11-25").await, 4);
        assert_eq!(count("state=done").await, 0);
        assert_eq!(refusal(world.ada.checks(small.site, "due_on=-200000-01-01").await), ProblemCode::BadRequest);
        assert_eq!(count(&format!("room_id={south}&due_on=2026-11-24")).await, 1);
        let fed = world.ada.all_checks(small.site, &format!("room_id={}&due_on=2026-11-24", small.north_room)).await.unwrap();
        assert_eq!(fed.iter().map(|check| check.name.as_str()).collect::<Vec<_>>(), ["Tank"]);
    }
}
