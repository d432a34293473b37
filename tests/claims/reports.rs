//! The room's report: what it says of a week one can reckon by hand.

use fillmark_api::*;
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, instant, json, refusal};
use serde_json::json;
use uuid::Uuid;

async fn week(world: &World) -> (fillmark_tests::Greenhouse, String) {
    let here = world.greenhouse().await;
    // pH at seven o'clock from Monday to Friday: in, in, out (too high), in, in.
    for (day, ph) in [(16, 6.0), (17, 6.2), (18, 6.8), (19, 6.0), (20, 6.0)] {
        let at = format!("2026-11-{day}T07:00:00+01:00");
        world.ada.record_reading(here.site, &reading(here.north_tank, "ph", ph, "[pH]", &at)).await.unwrap();
    }
    let harvest = json(
        json!({ "client_id": Uuid::new_v4(), "cycle_id": here.cycle, "harvested_at": "2026-11-20T10:00:00+01:00",
        "saleable": { "value": 30.0, "unit": "kg" }, "rejected": { "value": 2000.0, "unit": "g" } }),
    );
    world.ada.record_harvest(here.site, &harvest).await.unwrap();
    let path = format!(
        "/sites/{}/rooms/{}/report?from_on=2026-11-16&until_on=2026-11-22",
        here.site, here.north_room
    );
    (here, path)
}

async fn changed(world: &World, here: &fillmark_tests::Greenhouse, at: &str) {
    let change = json(
        json!({ "client_id": Uuid::new_v4(), "tank_id": here.north_tank, "drained": { "value": 180.0, "unit": "L" },
        "water_in": { "value": 200.0, "unit": "L" }, "recorded_at": at }),
    );
    world.ada.record_tank_change(here.site, &change).await.unwrap();
}

on_both! {
    async fn more_than_grows_in_the_rooms_of_a_cycle_is_asked_back(world: World) {
        let here = world.greenhouse().await;
        let harvest = |fields: serde_json::Value| -> NewHarvest {
            let mut body = json!({ "client_id": Uuid::new_v4(), "cycle_id": here.cycle, "harvested_at": "2026-11-20T10:00:00+01:00",
                "saleable": { "value": 500_000.0, "unit": "kg" }, "rejected": { "value": 0.0, "unit": "kg" } });
            body.as_object_mut().unwrap().extend(fields.as_object().unwrap().clone());
            fillmark_tests::world::json(body)
        };
        for room in [json!(null), json!(here.north_room)] {
            let error = world.ada.record_harvest(here.site, &harvest(json!({ "room_id": room }))).await.unwrap_err();
            let problem = error.problem().unwrap();
            assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/saleable")));
        }
        world.ada.record_harvest(here.site, &harvest(json!({ "confirmed": true }))).await.unwrap();
    }

    async fn readings_in_band_come_with_their_number_and_interval(world: World) {
        let (_, path) = week(&world).await;
        let report: RoomReport = world.ada.get(&path).await.unwrap();
        assert_eq!((report.in_band.hit_count, report.in_band.case_count), (4, 5));
        // Wilson's interval of 4 of 5 is 37.55 % to 96.38 %: NIST/SEMATECH e-Handbook, 7.2.4.1, formula from memory, recomputed.
        assert_eq!((report.in_band.low_percent, report.in_band.high_percent), (Some(37.55), Some(96.38)));
        assert_eq!(report.series.len(), 1);
        assert_eq!(report.series[0].place, "North tank");
    }

    async fn an_excursion_begins_and_ends_on_the_line_between_readings(world: World) {
        let (_, path) = week(&world).await;
        let report: RoomReport = world.ada.get(&path).await.unwrap();
        let out = &report.series[0].excursions[0];
        // From 6.2 on Tuesday to 6.8 on Wednesday the line crosses 6.4 after 8 h; down to 6.0 it does so after 12 h.
        assert_eq!((out.from_at.text(), out.until_at.text()), ("2026-11-17T14:00:00.000Z".into(), "2026-11-18T18:00:00.000Z".into()));
        assert_eq!((out.duration_h, out.peak, out.corrected_after_h), (28.0, 6.8, None));
        // Five readings span 96 h, of which 28 are out of band.
        assert_eq!(report.time.in_band_h, 68.0);
        assert_eq!(report.time.in_band_percent, Some(70.83));
    }

    async fn hours_to_come_are_not_unknown(world: World) {
        let here = world.greenhouse().await;
        world.clock.set(instant("2026-11-24T08:00:00Z"));
        let morning = reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00");
        world.ada.record_reading(here.site, &morning).await.unwrap();
        let path = format!("/sites/{}/rooms/{}/report?from_on=2026-11-24&until_on=2026-11-24", here.site, here.north_room);
        let report: RoomReport = world.ada.get(&path).await.unwrap();
        assert_eq!((report.in_band.case_count, report.time.unknown_h), (1, 9.0));
    }

    async fn a_tank_that_nobody_changed_all_week_counts_as_not_done(world: World) {
        let (here, path) = week(&world).await;
        changed(&world, &here, "2026-11-10T09:00:00+01:00").await;
        let report: RoomReport = world.ada.get(&path).await.unwrap();
        let on_time = report.changes_on_time;
        assert_eq!((on_time.hit_count, on_time.case_count, report.changes.len()), (0, 1, 0));
    }

    async fn a_change_due_on_the_last_day_and_done_the_day_after_is_on_time(world: World) {
        let (here, path) = week(&world).await;
        changed(&world, &here, "2026-11-15T09:00:00+01:00").await;
        changed(&world, &here, "2026-11-23T09:00:00+01:00").await;
        let report: RoomReport = world.ada.get(&path).await.unwrap();
        let on_time = report.changes_on_time;
        assert_eq!((on_time.hit_count, on_time.case_count, report.changes.len()), (1, 1, 0));
    }

    async fn a_correction_belongs_to_the_period_it_was_read_in(world: World) {
        let (here, path) = week(&world).await;
        for (at, meant) in [("2026-11-15T20:00:00+01:00", 6.1), ("2026-11-16T09:00:00+01:00", 6.3)] {
            let slip = reading(here.north_tank, "ph", 6.4, "[pH]", at);
            let slip = world.ada.record_reading(here.site, &slip).await.unwrap();
            let reading = reading(here.north_tank, "ph", meant, "[pH]", at);
            let correction = ReadingCorrection { reading, reason: "read again".into() };
            world.ada.correct_reading(here.site, slip.id, &correction).await.unwrap();
        }
        let report: RoomReport = world.ada.get(&path).await.unwrap();
        let corrected: Vec<f64> = report.corrections.iter().map(|one| one.value.value).collect();
        assert_eq!(corrected, [6.3]);
    }

    async fn a_yield_is_told_by_mass_area_and_plant(world: World) {
        let (_, path) = week(&world).await;
        let report: RoomReport = world.ada.get(&path).await.unwrap();
        let basil = &report.yields[0];
        assert_eq!(basil.saleable_kg.value, 30.0);
        assert_eq!(basil.kg_per_m2.unwrap().value, 1.5);
        assert_eq!(basil.g_per_plant.unwrap().value, 150.0);
        assert_eq!(basil.rejected_percent.unwrap().value, 6.25);
        assert_eq!(basil.beside_earlier, None);
    }

    async fn a_room_that_two_cycles_share_is_divided_by_their_plants(world: World) {
        let (here, path) = week(&world).await;
        let site = world.ada.site(here.site);
        let beside = json(json!({ "name": "Basil 47", "crop_id": here.crop, "programme_id": here.programme, "plants": 600,
            "starts_on": "2026-11-10", "ends_on": "2026-12-20", "stages": [{ "stage": "propagation", "from_on": "2026-11-10" }] }));
        let beside = site.create::<NewCycle>(&beside).await.unwrap().id;
        let placed = json(json!({ "cycle_id": beside, "room_id": here.north_room, "from_on": "2026-11-10", "plants": 600 }));
        site.create::<NewPlacement>(&placed).await.unwrap();
        let report: RoomReport = world.ada.get(&path).await.unwrap();
        // 30 kg from a quarter of 20 m², taken for the 13 days from the 10th to the 22nd.
        assert_eq!(report.yields[0].kg_per_m2.unwrap().value, 6.0);
        assert!((report.yields[0].kg_per_m2_day.unwrap().value - 6.0 / 13.0).abs() < 1e-9);
    }

    async fn a_harvest_taken_back_leaves_no_yield(world: World) {
        let (here, path) = week(&world).await;
        let harvest = world.ada.harvests(here.site, "").await.unwrap().remove(0);
        let reversal = NewReversal { client_id: Uuid::new_v4(), reason: "weighed with the crate".into() };
        let opposite = world.ada.reverse_harvest(here.site, harvest.id, &reversal).await.unwrap();
        assert_eq!((opposite.saleable_kg, opposite.reverses_id), (-30.0, Some(harvest.id)));
        let again = world.ada.reverse_harvest(here.site, harvest.id, &reversal).await.unwrap();
        assert_eq!(again.id, opposite.id);
        let report: RoomReport = world.ada.get(&path).await.unwrap();
        assert!(report.harvests.is_empty() && report.yields.is_empty());
    }

    async fn the_same_report_is_given_as_csv(world: World) {
        let (_, path) = week(&world).await;
        let text = world.ada.get_text(&format!("{path}&format=csv")).await.unwrap();
        let lines: Vec<&str> = text.split("\r\n").collect();
        assert!(lines[0].starts_with("part,place,metric,name,from_at,until_at,value,unit,case_count"));
        assert!(lines.contains(&"figure,,,readings_in_band,,,80,%,5,37.55,96.38,"), "{text}");
        assert!(text.contains("excursion,North tank,ph,above,2026-11-17T14:00:00.000Z,2026-11-18T18:00:00.000Z,6.8,[pH],1"), "{text}");
    }

    async fn a_period_that_ends_before_it_begins_is_refused(world: World) {
        let (here, _) = week(&world).await;
        let path = format!("/sites/{}/rooms/{}/report?from_on=2026-11-22&until_on=2026-11-16", here.site, here.north_room);
        assert_eq!(refusal(world.ada.get::<RoomReport>(&path).await), ProblemCode::Invalid);
        let path = format!("/sites/{}/rooms/{}/report?from_on=2026-11-16&until_on=2026-11-22", here.site, Uuid::new_v4());
        assert_eq!(refusal(world.ada.get::<RoomReport>(&path).await), ProblemCode::NotFound);
    }

    async fn a_day_that_the_calendar_of_the_site_skipped_is_refused_in_words_of_days(world: World) {
        let (here, _) = week(&world).await;
        let site = world.ada.business().read::<NewSite>(here.site).await.unwrap();
        world.ada.business().change(&site, json!({ "time_zone": "Pacific/Apia" })).await.unwrap();
        let path = format!("/sites/{}/rooms/{}/report?from_on=2011-12-30&until_on=2011-12-30", here.site, here.north_room);
        let error = world.ada.get::<RoomReport>(&path).await.unwrap_err();
        let fault = &error.problem().unwrap().errors[0];
        assert_eq!((fault.parameter.as_deref(), fault.detail.as_str()), (Some("until_on"), "expected a day that the calendar of the site has"));
    }
}
