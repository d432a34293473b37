//! Each occurrence of a plan becomes one check: over changes of the clock, downtime, and two beats at once.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};
use fillmark_actions::work;
use fillmark_api::{Check, ProblemCode};
use fillmark_tests::contract::Chance;
use fillmark_tests::on_both;
use fillmark_tests::work::seen;
use fillmark_tests::world::{World, instant, refusal};
use serde_json::json;
use uuid::Uuid;

/// A site whose plan comes at 01:30, 02:15 and 02:45 each day, beaten once a day around a change of its clock.
async fn around_the_change(world: &World, zone: &str, from: &str, days: i64) -> (Vec<Check>, Vec<NaiveDate>) {
    let first: NaiveDate = from.parse().unwrap();
    let begin = first.and_hms_opt(0, 0, 0).unwrap().and_utc() - TimeDelta::days(2);
    world.clock.set(begin);
    world.ada.sign_in("ada", fillmark_tests::world::PASSWORD).await.unwrap();
    let site = world.site_in(zone, zone).await.id;
    let room = world.room(site, "North room", "growing", 1).await;
    for (name, minute) in [("early", "01:30"), ("in the gap", "02:15"), ("late in the gap", "02:45")] {
        let starts = format!("2026-01-01T{minute}:00");
        world.check_plan(site, json!({ "name": name, "room_id": room, "starts_local": starts })).await;
    }
    for day in 0..days + 4 {
        world.clock.set(begin + TimeDelta::days(day));
        world.beat().await;
    }
    let dates: Vec<NaiveDate> = first.iter_days().take(days as usize).collect();
    world.ada.sign_in("ada", fillmark_tests::world::PASSWORD).await.unwrap();
    let mut checks = world.ada.all_checks(site, "").await.unwrap();
    checks.retain(|check| dates.contains(&check.due_on));
    (checks, dates)
}

#[track_caller]
fn each_once(checks: &[Check], dates: &[NaiveDate], zone: &str) {
    let found: BTreeSet<(NaiveDate, NaiveTime, Option<Uuid>)> =
        checks.iter().map(|check| (check.due_on, check.due_time_local, check.plan_id)).collect();
    assert_eq!((found.len(), checks.len()), (dates.len() * 3, dates.len() * 3), "{zone}");
}

#[track_caller]
fn due(checks: &[Check], date: &str, time: &str, at: &str) {
    let (date, time): (NaiveDate, NaiveTime) = (date.parse().unwrap(), time.parse().unwrap());
    let found = checks.iter().find(|check| (check.due_on, check.due_time_local) == (date, time));
    assert_eq!(found.map(|check| check.due_at.0), Some(instant(at)), "{date} {time}");
}

/// A room that is looked round at eight each day, in Berlin.
async fn daily(world: &World) -> (Uuid, Uuid) {
    let site = world.site("Harbour").await.id;
    let room = world.room(site, "North room", "growing", 1).await;
    let plan = world.check_plan(site, json!({ "room_id": room })).await;
    (site, plan.id)
}

fn now(world: &World) -> DateTime<Utc> {
    world.server.app.now()
}

/// Zones with their own ways with the clock: whole and half hours, both hemispheres, one that goes back for Ramadan, one
/// that never changes, one beyond the date line.
const ZONES: [&str; 12] = [
    "Europe/Berlin",
    "Europe/Dublin",
    "America/New_York",
    "America/St_Johns",
    "America/Santiago",
    "Africa/Casablanca",
    "Africa/Cairo",
    "Asia/Kathmandu",
    "Australia/Sydney",
    "Australia/Lord_Howe",
    "Pacific/Chatham",
    "Pacific/Apia",
];

on_both! {
    async fn clocks_go_forward_and_each_check_comes_once(world: World) {
        let (checks, dates) = around_the_change(&world, "Europe/Berlin", "2027-03-27", 3).await;
        each_once(&checks, &dates, "Berlin");
        due(&checks, "2027-03-28", "02:15:00", "2027-03-28T01:00:00Z");
        due(&checks, "2027-03-28", "01:30:00", "2027-03-28T00:30:00Z");
        let (checks, dates) = around_the_change(&world, "America/New_York", "2028-03-11", 3).await;
        each_once(&checks, &dates, "New York");
        let (checks, dates) = around_the_change(&world, "Australia/Sydney", "2028-09-30", 3).await;
        each_once(&checks, &dates, "Sydney");
        let (checks, dates) = around_the_change(&world, "Australia/Lord_Howe", "2029-10-06", 3).await;
        each_once(&checks, &dates, "Lord Howe");
        due(&checks, "2029-10-07", "02:15:00", "2029-10-06T15:30:00Z");
        due(&checks, "2029-10-07", "02:45:00", "2029-10-06T15:45:00Z");
    }

    async fn clocks_go_back_and_each_check_comes_once(world: World) {
        let (checks, dates) = around_the_change(&world, "Australia/Sydney", "2027-04-03", 3).await;
        each_once(&checks, &dates, "Sydney");
        let (checks, dates) = around_the_change(&world, "Europe/Berlin", "2027-10-30", 3).await;
        each_once(&checks, &dates, "Berlin");
        due(&checks, "2027-10-31", "02:15:00", "2027-10-31T00:15:00Z");
        let (checks, dates) = around_the_change(&world, "America/New_York", "2028-11-04", 3).await;
        each_once(&checks, &dates, "New York");
        due(&checks, "2028-11-05", "01:30:00", "2028-11-05T05:30:00Z");
        let (checks, dates) = around_the_change(&world, "Australia/Lord_Howe", "2029-03-31", 3).await;
        each_once(&checks, &dates, "Lord Howe");
    }

    async fn after_downtime_each_day_has_its_check_and_those_missed_are_told(world: World) {
        let (site, plan) = daily(&world).await;
        world.beat().await;
        world.clock.advance(TimeDelta::days(10));
        let world = world.restart().await;
        world.beat().await;
        world.beat().await;
        let checks = world.ada.all_checks(site, &format!("plan_id={plan}")).await.unwrap();
        let days: BTreeSet<NaiveDate> = checks.iter().map(|check| check.due_on).collect();
        // From the day the plan was made, a fortnight ahead of the tenth day after it.
        assert_eq!((days.len(), checks.len()), (25, 25));
        let missed = world.ada.all_checks(site, "state=missed").await.unwrap();
        let alerts = world.ada.alerts(site, "kind=check_missed").await.unwrap().items;
        assert_eq!((missed.len(), alerts.len()), (10, 10));
        let texts: Vec<&str> = alerts.iter().map(|alert| alert.text.as_str()).collect();
        assert!(texts.contains(&"Look round (North room) was not done by 2026-11-24 12:00"), "{texts:?}");
    }

    async fn a_server_that_was_away_for_months_catches_up(world: World) {
        let (site, _) = daily(&world).await;
        world.clock.advance(TimeDelta::days(100));
        world.beat().await;
        world.ada.sign_in("ada", fillmark_tests::world::PASSWORD).await.unwrap();
        let checks = world.ada.all_checks(site, "").await.unwrap();
        let days: BTreeSet<NaiveDate> = checks.iter().map(|check| check.due_on).collect();
        assert_eq!((days.len(), checks.len()), (115, 115));
    }

    async fn two_beats_at_once_double_nothing(world: World) {
        let (site, _) = daily(&world).await;
        world.clock.advance(TimeDelta::days(40));
        let beats: Vec<_> = (0..4)
            .map(|_| {
                let app = world.server.app.clone();
                tokio::spawn(async move { work::beat(&app).await })
            })
            .collect();
        for beat in beats {
            beat.await.unwrap().unwrap();
        }
        world.beat().await;
        world.ada.sign_in("ada", fillmark_tests::world::PASSWORD).await.unwrap();
        let checks = world.ada.all_checks(site, "").await.unwrap();
        let days: BTreeSet<NaiveDate> = checks.iter().map(|check| check.due_on).collect();
        assert_eq!((days.len(), checks.len()), (55, 55));
        let alerts = world.ada.all::<fillmark_api::Alert>(&format!("/sites/{site}/alerts"), "").await.unwrap();
        let missed = checks.iter().filter(|check| check.state.0 == fillmark_domain::work::CheckStanding::Missed);
        assert_eq!(alerts.len(), missed.count());
    }

    async fn editing_a_plan_remakes_only_checks_to_come_that_nobody_opened(world: World) {
        let (site, plan) = daily(&world).await;
        let before = world.ada.all_checks(site, "").await.unwrap();
        world.clock.set(instant("2026-11-24T07:10:00Z"));
        world.ada.open_check(site, before[0].id).await.unwrap();
        let plans = world.ada.site(site);
        let seen = plans.read::<fillmark_api::NewCheckPlan>(plan).await.unwrap();
        let seen = plans.change(&seen, json!({ "name": "Look closely", "work_min": 20 })).await.unwrap();
        let after = world.ada.all_checks(site, "").await.unwrap();
        let ids = |checks: &[Check]| checks.iter().map(|check| check.id).collect::<Vec<_>>();
        assert_eq!(ids(&after), ids(&before), "what stays due keeps its id");
        assert_eq!((after[0].name.as_str(), after[0].work_min), ("Look round", 10), "opened before");
        assert!(after[1..].iter().all(|check| (check.name.as_str(), check.work_min) == ("Look closely", 20)));

        let seen = plans.change(&seen, json!({ "rule": "FREQ=DAILY;INTERVAL=2", "starts_local": "2026-11-24T09:00:00" })).await.unwrap();
        let sparse = world.ada.all_checks(site, "").await.unwrap();
        let days: Vec<NaiveDate> = sparse.iter().map(|check| check.due_on).collect();
        assert_eq!(sparse.len(), 9, "{days:?}");
        assert_eq!(sparse[0].id, before[0].id);
        plans.archive(&seen).await.unwrap();
        world.beat().await;
        assert_eq!(ids(&world.ada.all_checks(site, "").await.unwrap()), [before[0].id]);
    }

    async fn a_site_that_changes_its_zone_moves_its_checks(world: World) {
        let (site, _) = daily(&world).await;
        let sites = world.ada.business();
        let seen = sites.read::<fillmark_api::NewSite>(site).await.unwrap();
        let before = world.ada.all_checks(site, "").await.unwrap();
        sites.change(&seen, json!({ "time_zone": "Europe/Lisbon" })).await.unwrap();
        let after = world.ada.all_checks(site, "").await.unwrap();
        assert_eq!((before[1].id, before[1].due_at.0 + TimeDelta::hours(1)), (after[1].id, after[1].due_at.0));
        assert_eq!(before.len(), after.len());
    }

    async fn a_plan_that_cannot_be_is_refused_with_all_its_faults(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        let plan = |rule: &str, name: &str, limit: u32| {
            fillmark_tests::world::json::<fillmark_api::NewCheckPlan>(json!({ "name": name, "task": "inspect", "room_id": room, "rule": rule,
                "starts_local": "2026-01-01T08:00:00", "window_min": 60, "limit_min": limit, "work_min": 10 }))
        };
        let plans = world.ada.site(site);
        for rule in ["FREQ=SECONDLY", "FREQ=DAILY;COUNT=0", "nonsense", "FREQ=DAILY;INTERVAL=0"] {
            let error = plans.create(&plan(rule, "Look", 30)).await.unwrap_err();
            let pointers: Vec<_> = error.problem().unwrap().errors.iter().map(|fault| fault.pointer.clone().unwrap()).collect();
            assert_eq!(pointers, ["/rule", "/limit_min"], "{rule}");
        }
        assert_eq!(refusal(world.ada.checks(site, "due_on=tomorrow").await), ProblemCode::BadRequest);
        assert_eq!(refusal(world.ada.checks(site, "colour=red").await), ProblemCode::BadRequest);
    }

    async fn a_missed_check_stays_missed_unless_it_was_done_in_time(world: World) {
        let (site, _) = daily(&world).await;
        let check = world.ada.all_checks(site, "").await.unwrap().remove(0);
        world.clock.set(check.limit_at.0 + TimeDelta::minutes(1));
        world.beat().await;
        let at = now(&world).to_rfc3339();
        assert_eq!(refusal(world.ada.settle_check(site, check.id, &seen(&at, "all well")).await), ProblemCode::Conflict);
        let excusal = fillmark_api::NewExcusal { reason: "ill".into() };
        assert_eq!(refusal(world.ada.excuse_check(site, check.id, &excusal).await), ProblemCode::Conflict);
        let within = fillmark_api::Instant(check.due_at.0 + TimeDelta::minutes(1)).text();
        world.ada.settle_check(site, check.id, &seen(&within, "all well")).await.unwrap();
    }

    async fn every_local_day_of_two_years_has_its_check_once_in_twelve_zones(world: World) {
        let begin = instant("2027-01-01T00:00:00Z");
        world.clock.set(begin);
        world.ada.sign_in("ada", fillmark_tests::world::PASSWORD).await.unwrap();
        let mut sites = Vec::new();
        for (zone, starts) in ZONES.iter().zip(["02:30", "00:00", "23:59"].iter().cycle()) {
            let site = world.site_in(zone, zone).await.id;
            let room = world.room(site, "North room", "growing", 1).await;
            let starts_local = format!("2026-01-01T{starts}:00");
            world.check_plan(site, json!({ "room_id": room, "starts_local": starts_local })).await;
            sites.push(site);
        }
        // Days on by chance, an hour or two back now and then, and once a stop of forty days.
        let (mut chance, mut at) = (Chance(20_261_125), begin);
        while at < begin + TimeDelta::days(730) {
            let steps = [12, 48, 150, 300, -1, -2, if at < begin + TimeDelta::days(300) { 96 } else { 960 }];
            at += TimeDelta::hours(*chance.of(&steps));
            world.clock.set(at);
            world.beat().await;
        }
        world.ada.sign_in("ada", fillmark_tests::world::PASSWORD).await.unwrap();
        for (site, zone) in sites.into_iter().zip(ZONES) {
            let checks = world.ada.all_checks(site, "").await.unwrap();
            let days: BTreeSet<NaiveDate> = checks.iter().map(|check| check.due_on).collect();
            assert_eq!(days.len(), checks.len(), "{zone}: each day once");
            let (first, last) = (*days.first().unwrap(), *days.last().unwrap());
            assert_eq!((last - first).num_days() + 1, checks.len() as i64, "{zone}: no day left out");
            assert!((last - first).num_days() > 729, "{zone}: {first} to {last}");
        }
    }
}
