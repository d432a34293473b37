//! Reviews: a supervisor signs for a day, and what comes later leaves it open again.

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, instant, json, refusal};
use sea_orm_migration::sea_orm::ConnectionTrait;
use serde_json::json;
use uuid::Uuid;

const DAYS: &str = "from_on=2026-11-22&until_on=2026-11-24";

fn review(day: &str, room: Option<Uuid>) -> NewReview {
    json(json!({ "client_id": Uuid::new_v4(), "day_on": day, "room_id": room, "note": "looked through" }))
}

async fn standings(world: &World, site: Uuid, room: Option<Uuid>) -> Vec<DayStanding> {
    let room = room.map(|room| format!("&room_id={room}")).unwrap_or_default();
    let days = world.ada.reviews(site, &format!("{DAYS}{room}")).await.unwrap();
    days.iter().map(|day| day.standing).collect()
}

async fn counts(world: &World, site: Uuid, room: Option<Uuid>) -> Vec<u64> {
    let room = room.map(|room| format!("&room_id={room}")).unwrap_or_default();
    let days = world.ada.reviews(site, &format!("{DAYS}{room}")).await.unwrap();
    days.iter().map(|day| day.record_count).collect()
}

/// A second room, with a tank of its own.
async fn south(world: &World, site: Uuid) -> (Uuid, Uuid) {
    let here = world.ada.site(site);
    let room =
        json!({ "name": "South room", "room_use": "growing", "growing_area_m2": 10.0, "hygiene_rank": 2 });
    let room = here.create::<NewRoom>(&json(room)).await.unwrap().id;
    let tank = json!({ "name": "South tank", "mode": "recirculating", "fill_mark": { "value": 100.0, "unit": "L" } });
    let tank = here.create::<NewTank>(&json(tank)).await.unwrap().id;
    let fed = json!({ "tank_id": tank, "room_id": room, "from_on": "2026-11-01", "share": 1.0 });
    here.create::<NewTankRoom>(&json(fed)).await.unwrap();
    (room, tank)
}

on_both! {
    async fn a_day_is_open_until_it_is_signed_and_again_after_a_correction(world: World) {
        use DayStanding::{Empty, Open, Reopened, Reviewed};
        let here = world.greenhouse().await;
        let (site, room) = (here.site, Some(here.north_room));
        let first = reading(here.north_tank, "ph", 6.1, "[pH]", "2026-11-23T07:00:00+01:00");
        let kept = world.ada.record_reading(site, &first).await.unwrap();
        assert_eq!(standings(&world, site, room).await, [Empty, Open, Empty]);

        world.clock.advance(TimeDelta::minutes(5));
        let signed = world.ada.sign_review(site, &review("2026-11-23", room)).await.unwrap();
        assert!(signed.journal_id.is_some());
        assert_eq!(standings(&world, site, room).await, [Empty, Reviewed, Empty]);
        assert_eq!(standings(&world, site, None).await, [Empty, Open, Empty], "a room is not the site");

        world.clock.advance(TimeDelta::minutes(5));
        let right = reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-23T07:00:00+01:00");
        let correction = json(json!({ "reading": right, "reason": "misread" }));
        world.ada.correct_reading(site, kept.id, &correction).await.unwrap();
        assert_eq!(standings(&world, site, room).await, [Empty, Reopened, Empty]);
        let report = format!("/sites/{site}/rooms/{}/report?{DAYS}", here.north_room);
        let told: RoomReport = world.ada.get(&report).await.unwrap();
        assert_eq!((told.reviewed.hit_count, told.reviewed.case_count), (0, 1));
        assert_eq!(told.unreviewed_on, ["2026-11-23".parse().unwrap()]);

        world.clock.advance(TimeDelta::minutes(5));
        world.ada.sign_review(site, &review("2026-11-23", None)).await.unwrap();
        assert_eq!(standings(&world, site, room).await, [Empty, Reviewed, Empty], "the site's review covers the room");
        let told: RoomReport = world.ada.get(&report).await.unwrap();
        assert_eq!((told.reviewed.hit_count, told.unreviewed_on.len()), (1, 0));
        let csv = world.ada.get_text(&format!("{report}&format=csv")).await.unwrap();
        assert!(csv.contains("days_reviewed"), "{csv}");
    }

    async fn a_reading_that_leaves_a_signed_day_or_room_opens_it(world: World) {
        use DayStanding::{Empty, Open, Reopened, Reviewed};
        let here = world.greenhouse().await;
        let (site, north) = (here.site, Some(here.north_room));
        let (south_room, south_tank) = south(&world, site).await;
        let south = Some(south_room);
        let on = |tank, day: &str| reading(tank, "ph", 6.1, "[pH]", &format!("2026-11-{day}T09:00:00+01:00"));
        let stays = world.ada.record_reading(site, &on(here.north_tank, "23")).await.unwrap();
        let kept = world.ada.record_reading(site, &on(here.north_tank, "23")).await.unwrap();
        world.clock.advance(TimeDelta::minutes(5));
        world.ada.sign_review(site, &review("2026-11-23", north)).await.unwrap();
        assert_eq!(standings(&world, site, north).await, [Empty, Reviewed, Empty]);

        world.clock.advance(TimeDelta::minutes(5));
        let moved = json(json!({ "reading": on(here.north_tank, "22"), "reason": "wrong day" }));
        world.ada.correct_reading(site, kept.id, &moved).await.unwrap();
        assert_eq!(standings(&world, site, north).await, [Open, Reopened, Empty]);
        assert_eq!(counts(&world, site, north).await, [1, 1, 0]);

        world.ada.sign_review(site, &review("2026-11-23", None)).await.unwrap();
        assert_eq!(standings(&world, site, north).await, [Open, Reviewed, Empty]);
        world.clock.advance(TimeDelta::minutes(5));
        let moved = json(json!({ "reading": on(south_tank, "23"), "reason": "wrong tank" }));
        world.ada.correct_reading(site, stays.id, &moved).await.unwrap();
        for room in [north, south, None] {
            assert_eq!(standings(&world, site, room).await[1], Reopened, "{room:?}");
        }
        assert_eq!((counts(&world, site, north).await[1], counts(&world, site, south).await[1]), (0, 1));
    }

    async fn an_addition_that_is_taken_back_opens_its_day(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        feeding.receive(&world.ada, feeding.grow_a, "L1", "2027-03-01", 500.0).await;
        let poured = world.ada.record_addition(site, &feeding.addition(100.0)).await.unwrap().id;
        world.ada.sign_review(site, &review("2026-11-24", None)).await.unwrap();
        world.clock.advance(TimeDelta::minutes(5));
        assert_eq!(counts(&world, site, None).await, [0, 0, 1]);
        let reversal = json(json!({ "client_id": Uuid::new_v4(), "reason": "not poured" }));
        world.ada.reverse_addition(site, poured, &reversal).await.unwrap();
        assert_eq!(standings(&world, site, None).await[2], DayStanding::Reopened);
        assert_eq!(counts(&world, site, None).await, [0, 0, 0]);
    }

    async fn a_calibration_typed_in_late_or_archived_opens_the_days_it_tells_of(world: World) {
        use DayStanding::{Empty, Reopened, Reviewed};
        let here = world.greenhouse().await;
        let (site, north) = (here.site, Some(here.north_room));
        let desk = world.ada.site(site);
        let (south, _) = south(&world, site).await;
        let meter = json(json!({ "name": "Pen 1", "kind": "ph_and_ec" }));
        let meter = desk.create::<NewMeter>(&meter).await.unwrap().id;
        let read = reading(here.north_tank, "ec", 1.4, "mS/cm", "2026-11-23T09:00:00+01:00");
        world.ada.record_reading(site, &NewReading { meter_id: Some(meter), ..read }).await.unwrap();
        let sign = async || {
            world.clock.advance(TimeDelta::minutes(5));
            for day in ["2026-11-22", "2026-11-23"] {
                world.ada.sign_review(site, &review(day, None)).await.unwrap();
            }
            world.clock.advance(TimeDelta::minutes(5));
        };
        sign().await;
        assert_eq!(standings(&world, site, north).await, [Empty, Reviewed, Empty]);
        let made = json(json!({ "meter_id": meter, "calibrated_at": "2026-11-22T08:00:00Z", "standards": "1413 µS/cm", "passed": true }));
        let made = desk.create::<NewCalibration>(&made).await.unwrap();
        assert_eq!(standings(&world, site, north).await, [Reopened, Reopened, Empty], "its reading is in calibration now");
        assert_eq!(standings(&world, site, None).await, [Reopened, Reopened, Empty]);
        assert_eq!(standings(&world, site, Some(south)).await, [Reopened, Empty, Empty], "nothing was read there");
        assert_eq!(counts(&world, site, north).await, [1, 1, 0]);

        sign().await;
        assert_eq!(standings(&world, site, north).await, [Reviewed, Reviewed, Empty]);
        desk.archive(&made).await.unwrap();
        assert_eq!(standings(&world, site, north).await, [Reopened, Reopened, Empty]);
        assert_eq!(counts(&world, site, north).await, [0, 1, 0]);
    }

    async fn what_is_typed_in_late_or_found_missed_opens_a_day_too(world: World) {
        let here = world.greenhouse().await;
        world.check_plan(here.site, json!({ "room_id": here.north_room })).await;
        world.beat().await;
        world.ada.sign_review(here.site, &review("2026-11-24", None)).await.unwrap();
        world.clock.set(instant("2026-11-24T13:00:00Z"));
        world.beat().await;
        let today = world.ada.reviews(here.site, "from_on=2026-11-24&until_on=2026-11-24").await.unwrap().remove(0);
        assert_eq!((today.standing, today.record_count), (DayStanding::Reopened, 1), "a check was missed since");
    }

    async fn a_review_has_one_effect_and_is_signed_by_who_may(world: World) {
        let here = world.greenhouse().await;
        let (_, staff) = world.person("Sam", Role::Staff, Some(here.site)).await;
        let (_, auditor) = world.person("Uma", Role::Auditor, Some(here.site)).await;
        let (mia, manager) = world.person("Mia", Role::Manager, Some(here.site)).await;
        let signing = review("2026-11-23", None);
        for client in [&staff, &auditor] {
            assert_eq!(refusal(client.sign_review(here.site, &signing).await), ProblemCode::NotAllowed);
        }
        let signed = manager.sign_review(here.site, &signing).await.unwrap();
        assert_eq!(signed.reviewed_by, Some(mia.id));
        assert_eq!(manager.sign_review(here.site, &signing).await.unwrap(), signed);
        let other = NewReview { note: None, ..signing };
        assert_eq!(refusal(manager.sign_review(here.site, &other).await), ProblemCode::ClientIdReused);
        let to_come = manager.sign_review(here.site, &review("2026-11-25", None)).await;
        assert_eq!(refusal(to_come), ProblemCode::Invalid);
        let elsewhere = manager.sign_review(here.site, &review("2026-11-23", Some(Uuid::now_v7()))).await;
        assert_eq!(refusal(elsewhere), ProblemCode::Invalid);
        auditor.reviews(here.site, DAYS).await.unwrap();
    }

    async fn a_review_that_nobody_signed_is_noticed(world: World) {
        let here = world.greenhouse().await;
        world.ada.sign_review(here.site, &review("2026-11-23", None)).await.unwrap();
        fillmark_actions::journal::seal(&world.server.app).await.unwrap();
        fillmark_server::commands::verify(&world.server.app).await.unwrap();
        let forged = "insert into reviews (site_id, id, client_id, day_on, reviewed_at) \
                      select site_id, client_id, id, day_on, reviewed_at from reviews";
        world.server.app.store.for_migrations().execute_unprepared(forged).await.unwrap();
        let found = fillmark_server::commands::verify(&world.server.app).await.unwrap_err().to_string();
        assert!(found.contains("2 of review, of which its journal knows 1"), "{found}");
    }
}
