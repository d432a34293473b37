//! Whether the meters that advice goes by may be gone by.

use super::*;
use fillmark_domain::Id;

/// A pen at the site.
async fn pen(world: &World, feeding: &Feeding, name: &str) -> Uuid {
    let body = json(json!({ "name": name, "kind": "ph_and_ec", "calibrate_every_days": 30 }));
    world.ada.site(feeding.here.site).create::<NewMeter>(&body).await.unwrap().id
}

async fn calibrated(
    world: &World,
    feeding: &Feeding,
    meter: Uuid,
    at: &str,
    passed: bool,
    next_due_on: &str,
) {
    let made = json!({ "meter_id": meter, "calibrated_at": at, "standards": "1.413 mS/cm", "passed": passed,
        "next_due_on": next_due_on });
    world.ada.site(feeding.here.site).create::<NewCalibration>(&json(made)).await.unwrap();
}

async fn read_by(world: &World, feeding: &Feeding, meter: Uuid, at: &str, ec: f64) {
    let reading = NewReading { meter_id: Some(meter), ..ec_reading(feeding, at, ec) };
    world.ada.record_reading(feeding.here.site, &reading).await.unwrap();
}

on_both! {
    async fn a_correction_tells_of_a_meter_that_failed_or_is_overdue_and_of_its_litres(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        let wanted = NewCorrectionAdvice { tank_id: feeding.here.north_tank, topping_up: false };
        let told = async |meter: Uuid, at: &str| {
            read_by(&world, &feeding, meter, at, 0.9).await;
            let advice = world.ada.advise_correction(site, &wanted).await.unwrap();
            assert!(advice.reasons.iter().any(|reason| reason.starts_with("Reckoned with 200 L in the tank")), "{advice:?}");
            advice.cautions.into_iter().find(|caution| caution.contains("by which this was read"))
        };
        let [never, fit, failed, overdue] =
            [pen(&world, &feeding, "A").await, pen(&world, &feeding, "B").await, pen(&world, &feeding, "C").await, pen(&world, &feeding, "D").await];
        calibrated(&world, &feeding, fit, "2026-11-20T08:00:00Z", true, "2026-12-20").await;
        calibrated(&world, &feeding, failed, "2026-11-20T08:00:00Z", false, "2026-12-20").await;
        calibrated(&world, &feeding, overdue, "2026-09-20T08:00:00Z", true, "2026-10-20").await;
        assert_eq!(told(never, "2026-11-24T06:50:00+01:00").await, None);
        assert_eq!(told(fit, "2026-11-24T06:51:00+01:00").await, None);
        let told_failed = told(failed, "2026-11-24T06:52:00+01:00").await.unwrap();
        assert!(told_failed.starts_with("C, by which this was read, failed its calibration of 2026-11-20"), "{told_failed}");
        let told_overdue = told(overdue, "2026-11-24T06:53:00+01:00").await.unwrap();
        assert!(told_overdue.starts_with("D, by which this was read, was to be calibrated on 2026-10-20 at the latest"), "{told_overdue}");
    }

    async fn meters_that_show_different_things_of_a_tank_are_told_and_raise_an_alert(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        let (one, other) = (pen(&world, &feeding, "Blue pen").await, pen(&world, &feeding, "Red pen").await);
        for day in 20..23 {
            read_by(&world, &feeding, one, &format!("2026-11-{day}T07:00:00+01:00"), 1.40).await;
            read_by(&world, &feeding, other, &format!("2026-11-{day}T07:20:00+01:00"), 1.75).await;
        }
        let made = world.ada.reconciliation(site, feeding.here.north_tank, 28).await.unwrap();
        let [apart] = &made.meters_apart[..] else { panic!("{made:?}") };
        assert_eq!((apart.meter_id, apart.other_meter_id, apart.difference), (other, one, None));
        assert!((apart.factor.unwrap() - 1.25).abs() < 1e-6 && apart.reading_ids.len() == 6, "{apart:?}");
        assert!(apart.told.starts_with("Red pen shows 25 % more EC than Blue pen"), "{}", apart.told);
        fillmark_actions::dosing::watch_balances_at(&world.server.app, Id::new(site)).await.unwrap();
        let alerts = world.ada.alerts(site, "kind=balance_open").await.unwrap().items;
        assert!(alerts.iter().any(|alert| alert.about_id == other && alert.text.contains("Red pen")), "{alerts:?}");
    }

    /// Of each 0.5 mL/L are poured, which by chemistry add some 0.4 to the EC together; a pen shows 0.6.
    async fn a_pen_that_shows_too_much_is_doubted_before_its_lesson_is_followed(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        let pen = pen(&world, &feeding, "Pen").await;
        for day in 10..20 {
            let at = |time: &str| format!("2026-11-{day}T{time}:00+01:00");
            for (time, ec) in [("07:00", 1.0), ("08:00", 1.6)] {
                read_by(&world, &feeding, pen, &at(time), ec).await;
            }
            for product_id in [feeding.grow_a, feeding.grow_b] {
                let poured = NewAddition { product_id: Some(product_id), recorded_at: instant(&at("07:10")).into(), client_id: Uuid::now_v7(),
                    confirmed: true, poured_all_the_same: true, ..feeding.addition(100.0) };
                world.ada.record_addition(site, &poured).await.unwrap();
            }
        }
        read(&world, &feeding, "06:50", 0.9, 6.0).await;
        let wanted = NewCorrectionAdvice { tank_id: feeding.here.north_tank, topping_up: false };
        let weak = world.ada.advise_correction(site, &wanted).await.unwrap();
        let far = |reasons: &[String]| reasons.iter().any(|reason| reason.contains("times what labels and chemistry make of them"));
        assert!(far(&weak.reasons), "{:?}", weak.reasons);
        let learnt = world.ada.learning(site, feeding.here.north_tank).await.unwrap();
        assert!(far(&learnt.reasons), "{:?}", learnt.reasons);
        let told = world.ada.reconciliation(site, feeding.here.north_tank, 28).await.unwrap();
        assert!(told.checks.iter().all(|check| check.verdict != BalanceVerdict::WrongProduct), "{told:?}");
    }

    async fn what_a_failed_meter_read_teaches_nothing(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        let pen = pen(&world, &feeding, "Pen").await;
        calibrated(&world, &feeding, pen, "2026-11-14T10:00:00Z", false, "2026-12-20").await;
        for day in 10..20 {
            let at = |time: &str| format!("2026-11-{day}T{time}:00+01:00");
            for (time, ec) in [("07:00", 1.0), ("08:00", 1.25)] {
                read_by(&world, &feeding, pen, &at(time), ec).await;
            }
            let poured = NewAddition { recorded_at: instant(&at("07:10")).into(), client_id: Uuid::now_v7(), confirmed: true, poured_all_the_same: true, ..feeding.addition(200.0) };
            world.ada.record_addition(site, &poured).await.unwrap();
        }
        let learnt = world.ada.learning(site, feeding.here.north_tank).await.unwrap();
        // Of the ten the five until the 14th, when it had not failed yet, tell something.
        assert!(learnt.reasons.iter().any(|reason| reason.contains("learnt from 5 additions")), "{:?}", learnt.reasons);
    }

    async fn two_meters_that_just_showed_different_things_are_told_with_the_correction(world: World) {
        let (feeding, _) = labelled(&world).await;
        let (one, other) = (pen(&world, &feeding, "Blue pen").await, pen(&world, &feeding, "Red pen").await);
        read_by(&world, &feeding, one, "2026-11-24T06:50:00+01:00", 1.05).await;
        read_by(&world, &feeding, other, "2026-11-24T06:51:00+01:00", 1.60).await;
        let wanted = NewCorrectionAdvice { tank_id: feeding.here.north_tank, topping_up: false };
        let advice = world.ada.advise_correction(feeding.here.site, &wanted).await.unwrap();
        let told = "Red pen shows 1.60 mS/cm where Blue pen showed 1.05 mS/cm shortly before";
        assert!(advice.cautions.iter().any(|caution| caution.starts_with(told)), "{:?}", advice.cautions);
    }

    async fn a_calibration_is_due_again_by_the_interval_of_its_meter(world: World) {
        let (feeding, _) = labelled(&world).await;
        let pen = pen(&world, &feeding, "Pen").await;
        let due = async |passed: bool| {
            let made = json!({ "meter_id": pen, "calibrated_at": "2026-11-01T08:00:00Z", "standards": "pH 7", "passed": passed });
            world.ada.site(feeding.here.site).create::<NewCalibration>(&json(made)).await.unwrap().body.next_due_on
        };
        assert_eq!(due(true).await, Some("2026-12-01".parse().unwrap()));
        assert_eq!(due(false).await, None, "it may not be used at all");
    }
}
