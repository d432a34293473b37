//! The check plans that a site begins with, and rules in words.

use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_domain::work::TemplateKind as Kind;
use fillmark_tests::on_both;
use fillmark_tests::work::seen;
use fillmark_tests::world::{World, instant, json, refusal};
use serde_json::json;
use uuid::Uuid;

on_both! {
    async fn a_new_site_begins_with_what_is_usual_and_nothing_twice(world: World) {
        let small = world.greenhouse().await;
        world.ada.site(small.site).create::<NewMeter>(&json(json!({ "name": "Pen", "kind": "ph_and_ec" }))).await.unwrap();
        let told = world.ada.check_plan_templates(small.site).await.unwrap();
        let names: Vec<&str> = told.templates.iter().map(|one| one.plan.name.as_str()).collect();
        assert_eq!(names, ["EC and pH, North tank", "Calibrate Pen", "Pests and disease, North room", "Clean North room"]);
        assert_eq!(told.templates[0].plan.rule_in_words.as_deref(), Some("every day at 08:00"));
        let [changed] = &told.changed_by_programme[..] else { panic!("{:?}", told.changed_by_programme) };
        assert_eq!((changed.tank_id, changed.every_days), (small.north_tank, 7));
        assert_eq!(changed.in_words, "every 7 days, as the step in force of its feeding programme says");
        assert_eq!(told.without_changes, []);
        let some = NewTemplatePlans { kinds: vec![Code(Kind::Readings)] };
        assert_eq!(world.ada.make_template_plans(small.site, &some).await.unwrap().made.len(), 1);
        let all = NewTemplatePlans { kinds: vec![] };
        let made = world.ada.make_template_plans(small.site, &all).await.unwrap().made;
        assert_eq!(made.len(), 3, "the first is there already");
        assert_eq!(world.ada.make_template_plans(small.site, &all).await.unwrap().made, []);
        assert!(world.ada.check_plan_templates(small.site).await.unwrap().templates.iter().all(|one| one.is_there));
        let due = world.ada.all_checks(small.site, "due_on=2026-11-25").await.unwrap();
        assert!(due.iter().any(|check| check.name == "EC and pH, North tank"), "checks are made at once");
        let wash = json!({ "name": "Wash down North", "room_id": small.north_room, "rule": "FREQ=WEEKLY" });
        world.check_plan(small.site, wash).await;
        let told = world.ada.check_plan_templates(small.site).await.unwrap();
        assert_eq!((told.templates[0].beside.len(), &told.templates[3].beside[..]), (0, &["Wash down North".to_owned()][..]));
        let (_, by_sam) = world.person("Sam", Role::Staff, Some(small.site)).await;
        assert_eq!(refusal(by_sam.make_template_plans(small.site, &all).await), ProblemCode::NotAllowed);
    }

    async fn a_tank_whose_changes_never_come_due_is_told_apart(world: World) {
        let small = world.greenhouse().await;
        let here = world.ada.site(small.site);
        for (name, mode) in [("Spare", "recirculating"), ("Drip", "run_to_waste")] {
            let tank = json!({ "name": name, "mode": mode, "fill_mark": { "value": 100.0, "unit": "L" } });
            here.create::<NewTank>(&json(tank)).await.unwrap();
        }
        let told = world.ada.check_plan_templates(small.site).await.unwrap();
        let fed: Vec<&str> = told.changed_by_programme.iter().map(|one| one.name.as_str()).collect();
        let [spare] = &told.without_changes[..] else { panic!("{:?}", told.without_changes) };
        assert_eq!((fed, spare.name.as_str()), (vec!["North tank"], "Spare"));
        assert!(spare.in_words.starts_with("no cycle drinks from it today: feed one from it"), "{}", spare.in_words);
        let feed = json!({ "tank_id": spare.tank_id, "cycle_id": small.cycle, "from_on": "2026-11-24", "leads": true, "plants": 1 });
        here.create::<NewFeed>(&json(feed)).await.unwrap();
        let told = world.ada.check_plan_templates(small.site).await.unwrap();
        assert_eq!((told.changed_by_programme.len(), told.without_changes), (2, vec![]));
    }

    async fn what_comes_each_week_comes_on_working_days(world: World) {
        let small = world.greenhouse().await;
        let business = world.ada.business();
        let site = business.all::<NewSite>("").await.unwrap().remove(0);
        business.change(&site, json!({ "working_week": ["monday", "wednesday", "friday"] })).await.unwrap();
        // The 29th is a Sunday.
        world.clock.set(instant("2026-11-29T10:00:00Z"));
        let told = world.ada.check_plan_templates(small.site).await.unwrap();
        let words: Vec<_> = told.templates.iter().map(|one| one.plan.rule_in_words.clone().unwrap()).collect();
        assert_eq!(words, ["every day at 08:00", "every week on Monday at 09:00", "every week on Wednesday at 13:00"]);
        assert_eq!(told.templates[1].plan.starts_local.to_string(), "2026-11-30 09:00:00");
    }

    async fn a_second_lot_of_templates_fills_the_emptier_days(world: World) {
        let site = world.site("Harbour").await.id;
        let business = world.ada.business();
        let kept = business.all::<NewSite>("").await.unwrap().remove(0);
        business.change(&kept, json!({ "working_week": ["monday", "wednesday", "friday"] })).await.unwrap();
        let room = world.room(site, "Hall", "growing", 1).await;
        let scouting = NewTemplatePlans { kinds: vec![Code(Kind::Scouting)] };
        let made = world.ada.make_template_plans(site, &scouting).await.unwrap().made;
        // From Tuesday, the 24th, on.
        assert_eq!(made[0].body.starts_local.to_string(), "2026-11-30 09:00:00");
        let wash = json!({ "name": "Wash", "room_id": room, "rule": "FREQ=WEEKLY;BYDAY=WE", "work_min": 60 });
        world.check_plan(site, wash).await;
        let made = world.ada.make_template_plans(site, &NewTemplatePlans { kinds: vec![] }).await.unwrap().made;
        let told: Vec<_> = made.iter().map(|plan| (plan.body.name.as_str(), plan.body.starts_local.to_string())).collect();
        assert_eq!(told, [("Clean Hall", "2026-11-27 13:00:00".to_owned())]);
    }

    async fn a_plan_tells_its_rule_in_words_and_takes_none(world: World) {
        let small = world.greenhouse().await;
        let fields = json!({ "room_id": small.north_room, "rule": "FREQ=WEEKLY;BYDAY=MO,TH", "rule_in_words": "whenever I like" });
        let plan = world.check_plan(small.site, fields).await;
        assert_eq!(plan.body.rule_in_words.as_deref(), Some("every week on Monday and Thursday at 08:00"));
        let june = json!({ "rule": "freq=daily;byday=mo;bymonth=6,7" });
        let plan = world.ada.site(small.site).change(&plan, june).await.unwrap();
        assert_eq!(plan.body.rule_in_words.as_deref(), Some("every week on Monday in June and July at 08:00"));
        let ends = json!({ "rule": "FREQ=DAILY;UNTIL=20261231T225959Z" });
        let plan = world.ada.site(small.site).change(&plan, ends).await.unwrap();
        let by_the_clock = Some("every day at 08:00, until 2026-12-31 23:59");
        assert_eq!(plan.body.rule_in_words.as_deref(), by_the_clock);
        let read = world.ada.site(small.site).read::<NewCheckPlan>(plan.id).await.unwrap();
        let listed = world.ada.site(small.site).all::<NewCheckPlan>("").await.unwrap();
        assert_eq!((&read, listed.contains(&read)), (&plan, true));
        let changed = world.ada.site(small.site).change(&plan, json!({ "rule": "FREQ=DAILY" })).await.unwrap();
        assert_eq!(changed.body.rule_in_words.as_deref(), Some("every day at 08:00"));
    }

    async fn a_plan_calibrates_one_meter_that_is_in_use(world: World) {
        let site = world.site("Harbour").await.id;
        let here = world.ada.site(site);
        let room = world.room(site, "Hall", "growing", 1).await;
        let meter = async |name: &str| here.create::<NewMeter>(&json(json!({ "name": name, "kind": "ph_and_ec" }))).await.unwrap();
        let (pen, probe) = (meter("Pen").await, meter("Probe").await);
        let buffers = |meter: Option<Uuid>| json(json!({ "name": "Sunday buffers", "task": "calibrate", "meter_id": meter, "room_id": room,
            "rule": "FREQ=DAILY", "starts_local": "2026-01-01T08:00:00", "window_min": 60, "limit_min": 240, "work_min": 15 }));
        let fault = async |meter| {
            let error = here.create::<NewCheckPlan>(&buffers(meter)).await.unwrap_err();
            let fault = error.problem().unwrap().errors[0].clone();
            (fault.pointer.unwrap(), fault.code)
        };
        assert_eq!(fault(None).await, ("/meter_id".to_owned(), "not_a_plan".to_owned()));
        assert_eq!(fault(Some(Uuid::now_v7())).await, ("/meter_id".to_owned(), "unknown_id".to_owned()));
        let plan = here.create::<NewCheckPlan>(&buffers(Some(pen.id))).await.unwrap();
        let there = async || {
            let told = world.ada.check_plan_templates(site).await.unwrap().templates;
            let of = told.into_iter().filter(|one| one.kind.0 == Kind::Calibration);
            of.map(|one| (one.plan.meter_id.unwrap(), one.is_there)).collect::<Vec<_>>()
        };
        assert_eq!(there().await, [(pen.id, true), (probe.id, false)]);
        assert_eq!(refusal(here.archive(&pen).await), ProblemCode::Conflict);
        here.archive(&plan).await.unwrap();
        here.archive(&pen).await.unwrap();
        assert_eq!(there().await, [(probe.id, false)]);
        assert_eq!(fault(Some(pen.id)).await, ("/meter_id".to_owned(), "unknown_id".to_owned()));
    }

    async fn a_calibration_settles_the_check_of_its_own_meter_only(world: World) {
        let site = world.site("Harbour").await.id;
        let here = world.ada.site(site);
        world.room(site, "Hall", "growing", 1).await;
        for name in ["Pen", "Probe"] {
            here.create::<NewMeter>(&json(json!({ "name": name, "kind": "ph_and_ec", "calibrate_every_days": 1 }))).await.unwrap();
        }
        world.ada.make_template_plans(site, &NewTemplatePlans { kinds: vec![Code(Kind::Calibration)] }).await.unwrap();
        world.clock.set(instant("2026-11-25T08:00:00Z"));
        let due = world.ada.all_checks(site, "due_on=2026-11-25").await.unwrap();
        let [one, other] = &due[..] else { panic!("{due:?}") };
        let made = json!({ "meter_id": one.meter_id, "calibrated_at": "2026-11-25T07:00:00Z", "standards": "pH 7", "passed": true });
        let made = here.create::<NewCalibration>(&json(made)).await.unwrap().id;
        let done = || NewCompletion { calibration_ids: vec![made], note: None, ..seen("2026-11-25T07:10:00Z", "") };
        let error = world.ada.settle_check(site, other.id, &done()).await.unwrap_err();
        let fault = &error.problem().unwrap().errors[0];
        assert_eq!((fault.pointer.as_deref(), fault.code.as_str()), (Some("/calibration_ids/0"), "of_another_meter"));
        assert_eq!(world.ada.settle_check(site, one.id, &done()).await.unwrap().calibration_ids, [made]);
    }
}
