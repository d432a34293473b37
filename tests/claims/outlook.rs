//! Days to come that lack somebody, and whether work was shared fairly.

use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_tests::on_both;
use fillmark_tests::work::seen;
use fillmark_tests::world::{World, instant, json};
use serde_json::json;

on_both! {
    async fn days_that_lack_people_or_a_qualification_are_told(world: World) {
        let small = world.greenhouse().await;
        let acid = world.ada.business().create::<NewQualification>(&json(json!({ "name": "Acid" }))).await.unwrap();
        let (sam, _) = world.person("Sam", Role::Staff, Some(small.site)).await;
        world.check_plan(small.site, json!({ "name": "Doser", "room_id": small.north_room, "qualification_id": acid.id })).await;
        world.check_plan(small.site, json!({ "name": "Look", "room_id": small.north_room, "work_min": 30 })).await;
        world.shift(small.site, sam.id, "2026-11-26").await;
        let days = world.ada.coverage(small.site, "from_on=2026-11-25&until_on=2026-11-26").await.unwrap().days;
        assert_eq!(days.iter().map(|day| (day.wanted_min, day.there_min)).collect::<Vec<_>>(), [(40, 0), (40, 510)]);
        let texts = |day: &CoveredDay| day.lacks.iter().map(|lack| lack.text.clone()).collect::<Vec<_>>();
        assert_eq!(texts(&days[1]), ["nobody on shift is qualified: Acid, 10 minutes"]);
        assert_eq!(texts(&days[0]), ["nobody on shift is qualified: Acid, 10 minutes", "30 minutes of people are short"]);
        let held = json!({ "person_id": sam.id, "qualification_id": acid.id, "from_on": "2026-01-01" });
        world.ada.business().create::<NewHeldQualification>(&json(held)).await.unwrap();
        let weeks = world.ada.coverage(small.site, "from_on=2026-11-26").await.unwrap().days;
        assert!(weeks[0].is_covered && weeks.len() == 28);
        // The tank is changed every seven days; the first is due today.
        assert_eq!(weeks.iter().filter(|day| day.wanted_min > 40).count(), 3);
        let table = world.ada.get_text(&format!("/sites/{}/rounds/coverage?format=csv", small.site)).await.unwrap();
        assert!(table.starts_with("day_on,wanted_min,there_min,is_covered,"), "{table}");
        let backwards = world.ada.coverage(small.site, "from_on=2026-11-26&until_on=2026-11-25").await.unwrap_err();
        let problem = backwards.problem().unwrap();
        let named = (problem.errors[0].parameter.as_deref(), problem.errors[0].pointer.as_deref());
        assert_eq!((problem.code, named), (ProblemCode::Invalid, (Some("until_on"), None)));
    }

    async fn a_night_shift_covers_what_comes_in_its_hours_on_either_day(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "Hall", "growing", 1).await;
        let (sam, _) = world.person("Sam", Role::Staff, Some(site)).await;
        for (name, starts, window) in [("Night walk", "02:30", 60), ("Late walk", "23:30", 90)] {
            let starts = format!("2026-11-24T{starts}:00");
            let walk = json!({ "name": name, "room_id": room, "starts_local": starts, "window_min": window, "limit_min": window, "work_min": 30 });
            world.check_plan(site, walk).await;
        }
        let night = json!({ "person_id": sam.id, "day_on": "2026-12-01", "starts_local": "22:00:00", "ends_local": "06:00:00" });
        world.ada.site(site).create::<NewShift>(&json(night)).await.unwrap();
        let days = world.ada.coverage(site, "from_on=2026-11-30&until_on=2026-12-03").await.unwrap().days;
        let told = |day: &CoveredDay| (day.wanted_min, day.there_min, day.lacks.iter().map(|lack| lack.minutes).sum::<i64>());
        assert_eq!(days.iter().map(told).collect::<Vec<_>>(), [(60, 0, 60), (60, 120, 30), (60, 360, 30), (60, 0, 60)]);
        let alone = world.ada.coverage(site, "from_on=2026-12-02&until_on=2026-12-02").await.unwrap().days;
        assert_eq!(told(&alone[0]), (60, 360, 30), "whatever day is looked at first");
    }

    async fn minutes_are_told_per_person_and_week_beside_fair_ones(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        world.check_plan(site, json!({ "name": "Look", "room_id": room, "work_min": 30 })).await;
        world.check_plan(site, json!({ "name": "Scrub", "room_id": room, "work_min": 50, "is_unpleasant": true })).await;
        let (sam, by_sam) = world.person("Sam", Role::Staff, Some(site)).await;
        let (kim, _) = world.person("Kim", Role::Staff, Some(site)).await;
        for person in [sam.id, kim.id] {
            world.shift(site, person, "2026-11-24").await;
        }
        world.beat().await;
        world.clock.set(instant("2026-11-24T08:00:00Z"));
        for check in world.ada.all_checks(site, "due_on=2026-11-24").await.unwrap() {
            by_sam.settle_check(site, check.id, &seen("2026-11-24T07:30:00Z", "done")).await.unwrap();
        }
        let weeks = world.ada.fairness(site, "from_on=2026-11-24&until_on=2026-11-24").await.unwrap().weeks;
        let told: Vec<_> = weeks
            .iter()
            .map(|week| (week.person.as_str(), week.minutes, week.unpleasant_min, week.shift_min, week.fair_min))
            .collect();
        assert_eq!(told.len(), 2);
        assert!(told.contains(&("Sam", 80, 50, 510, 40)) && told.contains(&("Kim", 0, 0, 510, 40)), "{told:?}");
        assert_eq!((weeks[0].week_from_on.to_string(), weeks[0].fair_unpleasant_min), ("2026-11-23".to_owned(), 25));
        let table = world.ada.get_text(&format!("/sites/{site}/rounds/fairness?format=csv")).await.unwrap();
        assert!(table.lines().count() == 3, "{table}");
        let own = by_sam.fairness(site, "from_on=2026-11-24&until_on=2026-11-24").await.unwrap().weeks;
        assert_eq!(own.iter().map(|week| week.person.as_str()).collect::<Vec<_>>(), ["Sam"], "of others it is for who manages");
        world.ada.business().archive(&kim).await.unwrap();
        let weeks = world.ada.fairness(site, "from_on=2026-11-24&until_on=2026-11-24").await.unwrap().weeks;
        assert!(weeks.iter().all(|week| (week.shift_min, week.fair_min) == (510, 40)), "who has left was there: {weeks:?}");
    }
}
