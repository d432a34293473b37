//! The checks that the feeding programme makes of its tank changes.

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_domain::work::CheckStanding;
use fillmark_tests::Feeding;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, instant, json, refusal};
use serde_json::{Value, json};
use uuid::Uuid;

/// Changed on the 20th, so due on 27 November and 4 December; the clock stands at the 24th.
async fn changed(world: &World) -> Feeding {
    let feeding = world.feeding().await;
    enter(world, &feeding, "2026-11-20T09:00:00+01:00").await;
    world.beat().await;
    feeding
}

async fn enter(world: &World, feeding: &Feeding, at: &str) -> TankChangeDone {
    let body = feeding.change(at, json!({ "products": [] }));
    world.ada.record_tank_change(feeding.here.site, &body).await.unwrap()
}

async fn checks(world: &World, feeding: &Feeding) -> Vec<Check> {
    let mut checks = world.ada.all_checks(feeding.here.site, "").await.unwrap();
    checks.retain(|check| check.cause == "programme");
    checks.sort_by_key(|check| check.due_on);
    checks
}

async fn days(world: &World, feeding: &Feeding) -> Vec<String> {
    checks(world, feeding).await.iter().map(|check| check.due_on.to_string()).collect()
}

async fn states(world: &World, feeding: &Feeding) -> Vec<CheckStanding> {
    checks(world, feeding).await.iter().map(|check| check.state.0).collect()
}

async fn plan(world: &World, feeding: &Feeding, kind: &str, day: &str) -> PlannedChange {
    let body: Value = json!({ "tank_id": feeding.here.north_tank, "kind": kind, "on_day": day, "reason": "public holiday" });
    world.ada.site(feeding.here.site).create::<NewPlannedChange>(&json(body)).await.unwrap()
}

use CheckStanding::{Done, Excused, Missed, Planned};

on_both! {
    async fn each_change_due_in_a_fortnight_has_one_check(world: World) {
        let feeding = changed(&world).await;
        let first = checks(&world, &feeding).await;
        assert_eq!(days(&world, &feeding).await, ["2026-11-27", "2026-12-04"]);
        let check = &first[0];
        assert_eq!((check.due_at.0, check.window_until_at.0), (instant("2026-11-27T07:00:00Z"), instant("2026-11-27T17:00:00Z")));
        assert_eq!((check.limit_at.0, check.work_min), (instant("2026-11-30T07:00:00Z"), 45));
        assert_eq!((check.tank_id, check.name.as_str()), (Some(feeding.here.north_tank), "Tank change"));
        let beats = (0..6).map(|_| {
            let app = world.server.app.clone();
            tokio::spawn(async move { fillmark_actions::work::beat(&app).await })
        });
        for beat in beats.collect::<Vec<_>>() {
            beat.await.unwrap().unwrap();
        }
        assert_eq!(checks(&world, &feeding).await, first);
        world.clock.advance(TimeDelta::days(1));
        world.beat().await;
        assert_eq!(checks(&world, &feeding).await, first);
        world.clock.advance(TimeDelta::days(3));
        world.beat().await;
        assert_eq!(days(&world, &feeding).await, ["2026-11-27", "2026-12-04", "2026-12-11"]);
    }

    async fn a_tank_never_changed_is_due_at_once_and_then_by_its_interval(world: World) {
        let feeding = world.feeding().await;
        for _ in 0..4 {
            world.beat().await;
            world.clock.advance(TimeDelta::days(1));
        }
        assert_eq!(days(&world, &feeding).await, ["2026-11-24", "2026-12-01", "2026-12-08"]);
        world.beat().await;
        assert_eq!(states(&world, &feeding).await, [Missed, Planned, Planned]);
    }

    async fn the_change_settles_its_check_early_in_time_or_late(world: World) {
        let feeding = changed(&world).await;
        let site = feeding.here.site;
        let early = enter(&world, &feeding, "2026-11-24T06:30:00+01:00").await;
        world.beat().await;
        let all = checks(&world, &feeding).await;
        assert_eq!((all[0].state.0, all[0].late, all[0].tank_change_id), (Done, Some(false), Some(early.change.id)));
        assert_eq!((all[0].state_by, all[0].client_id), (early.change.done_by, Some(early.change.client_id)));
        assert_eq!(days(&world, &feeding).await, ["2026-11-27", "2026-12-01", "2026-12-08"]);
        world.clock.set(instant("2026-12-02T09:00:00Z"));
        let late = enter(&world, &feeding, "2026-12-02T09:30:00+01:00").await;
        world.beat().await;
        let check = world.ada.check(site, all[1].id).await.unwrap();
        assert_eq!((check.state.0, check.late, check.tank_change_id), (Done, Some(true), Some(late.change.id)));
        assert_eq!(days(&world, &feeding).await, ["2026-11-27", "2026-12-01", "2026-12-09", "2026-12-16"]);
        let report: RoomReport = world.ada.get(&format!(
            "/sites/{site}/rooms/{}/report?from_on=2026-11-24&until_on=2026-12-02", feeding.here.north_room)).await.unwrap();
        assert_eq!((report.checks.in_time.hit_count, report.checks.in_time.case_count), (1, 2));
    }

    async fn taken_back_a_change_does_not_open_its_check_again(world: World) {
        let feeding = changed(&world).await;
        world.clock.set(instant("2026-11-27T09:00:00Z"));
        let done = enter(&world, &feeding, "2026-11-27T09:30:00+01:00").await;
        let reversal = NewReversal { client_id: Uuid::now_v7(), reason: "it was the south tank".into() };
        world.ada.reverse_tank_change(feeding.here.site, done.change.id, &reversal).await.unwrap();
        world.beat().await;
        assert_eq!(checks(&world, &feeding).await[0].state.0, Done);
        assert_eq!(days(&world, &feeding).await, ["2026-11-27", "2026-12-04", "2026-12-11"]);
    }

    async fn a_partial_change_settles_nothing(world: World) {
        let feeding = changed(&world).await;
        let half = json!({ "fraction": 0.5, "products": [] });
        world.ada.record_tank_change(feeding.here.site, &feeding.change("2026-11-24T06:30:00+01:00", half)).await.unwrap();
        world.beat().await;
        assert_eq!(states(&world, &feeding).await, [Planned, Planned]);
    }

    async fn moved_and_skipped_days_take_their_checks_along(world: World) {
        let feeding = changed(&world).await;
        let before = checks(&world, &feeding).await;
        let skipped = plan(&world, &feeding, "skipped", "2026-11-27").await;
        assert_eq!(days(&world, &feeding).await, ["2026-12-04"]);
        assert_eq!(checks(&world, &feeding).await[0], before[1]);
        world.ada.site(feeding.here.site).archive(&skipped).await.unwrap();
        plan(&world, &feeding, "on", "2026-11-28").await;
        assert_eq!(days(&world, &feeding).await, ["2026-11-28", "2026-12-05"]);
        world.clock.set(instant("2026-11-28T07:30:00Z"));
        let due = checks(&world, &feeding).await.remove(0);
        world.ada.open_check(feeding.here.site, due.id).await.unwrap();
        plan(&world, &feeding, "skipped", "2026-11-28").await;
        assert_eq!(days(&world, &feeding).await[0], "2026-11-28", "somebody has begun");
    }

    async fn a_change_of_the_clock_moves_them(world: World) {
        let feeding = changed(&world).await;
        let before = checks(&world, &feeding).await;
        let site = world.ada.business().read::<NewSite>(feeding.here.site).await.unwrap();
        world.ada.business().change(&site, json!({ "time_zone": "America/New_York" })).await.unwrap();
        let after = checks(&world, &feeding).await;
        assert_eq!((after[0].id, after[0].due_at.0), (before[0].id, instant("2026-11-27T13:00:00Z")));
    }

    async fn out_of_use_there_is_none_and_what_was_made_is_excused(world: World) {
        let feeding = changed(&world).await;
        let body = json!({ "tank_id": feeding.here.north_tank, "from_on": "2026-11-27", "until_on": "2026-11-29", "reason": "new pump" });
        world.ada.site(feeding.here.site).create::<NewOutage>(&json(body)).await.unwrap();
        world.beat().await;
        assert_eq!(days(&world, &feeding).await, ["2026-11-30", "2026-12-07"]);
        world.clock.set(instant("2026-11-30T08:00:00Z"));
        let body = json!({ "tank_id": feeding.here.north_tank, "from_on": "2026-11-30", "until_on": "2026-11-30", "reason": "still the pump" });
        world.ada.site(feeding.here.site).create::<NewOutage>(&json(body)).await.unwrap();
        world.beat().await;
        assert_eq!(states(&world, &feeding).await[0], Excused);
    }

    async fn missed_they_raise_an_alert_and_the_next_comes_by_the_interval(world: World) {
        let feeding = changed(&world).await;
        world.clock.set(instant("2026-11-30T08:00:00Z"));
        world.beat().await;
        assert_eq!(states(&world, &feeding).await, [Missed, Planned, Planned]);
        assert_eq!(days(&world, &feeding).await, ["2026-11-27", "2026-12-04", "2026-12-11"]);
        assert_eq!(world.ada.alerts(feeding.here.site, "kind=check_missed").await.unwrap().items.len(), 1);
        enter(&world, &feeding, "2026-11-30T08:30:00+01:00").await;
        world.beat().await;
        assert_eq!(checks(&world, &feeding).await[0].state.0, Missed);
        assert_eq!(days(&world, &feeding).await, ["2026-11-27", "2026-12-07", "2026-12-14"]);
    }

    async fn what_was_changed_in_time_and_typed_in_after_it_was_found_missed_is_done(world: World) {
        let feeding = changed(&world).await;
        let site = feeding.here.site;
        world.clock.set(instant("2026-12-01T08:00:00Z"));
        world.beat().await;
        assert_eq!(states(&world, &feeding).await, [Missed, Planned, Planned]);
        let open = async || world.ada.alerts(site, "kind=check_missed&state=open").await.unwrap().items.len();
        assert_eq!(open().await, 1);
        // Its limit was on the 30th at eight.
        enter(&world, &feeding, "2026-11-30T08:30:00+01:00").await;
        assert_eq!((states(&world, &feeding).await[0], open().await), (Missed, 1));
        let late = enter(&world, &feeding, "2026-11-28T09:00:00+01:00").await;
        let check = checks(&world, &feeding).await.remove(0);
        assert_eq!((check.state.0, check.late, check.tank_change_id), (Done, Some(true), Some(late.change.id)));
        assert_eq!((check.state_by, open().await), (late.change.done_by, 0));
    }

    async fn a_change_typed_in_late_moves_the_next_one_on(world: World) {
        let feeding = changed(&world).await;
        world.clock.set(instant("2026-12-01T08:00:00Z"));
        world.beat().await;
        enter(&world, &feeding, "2026-11-27T10:00:00+01:00").await;
        world.beat().await;
        let all = checks(&world, &feeding).await;
        assert_eq!((all[0].state.0, all[0].late), (Done, Some(false)), "in its window");
        assert_eq!(days(&world, &feeding).await, ["2026-11-27", "2026-12-04", "2026-12-11"]);
    }

    async fn they_stand_in_rounds_like_others(world: World) {
        let feeding = changed(&world).await;
        let site = feeding.here.site;
        let (sam, client) = world.person("Sam", Role::Staff, Some(site)).await;
        world.shift(site, sam.id, "2026-11-27").await;
        let rounds = world.ada.publish_rounds(site, "2026-11-27".parse().unwrap()).await.unwrap();
        assert_eq!((rounds.rounds.len(), rounds.left.len()), (1, 0));
        world.clock.set(instant("2026-11-27T07:30:00Z"));
        let round = client.my_round(site, None).await.unwrap();
        assert_eq!(round.minutes, 45);
        let sheet = client.round_sheet(site, round.id.unwrap()).await.unwrap();
        assert!(sheet.contains("North room, North tank: Tank change"), "{sheet}");
        let (_, kim) = world.person("Kim", Role::Auditor, Some(site)).await;
        assert_eq!(refusal(kim.open_check(site, checks(&world, &feeding).await[0].id).await), ProblemCode::NotAllowed);
    }
}
