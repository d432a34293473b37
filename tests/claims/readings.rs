//! Readings: what is taken, what is asked back, what is refused, and that nothing is ever rewritten.

use fillmark_api::*;
use fillmark_client::ClientError;
use fillmark_domain::people::Role;
use fillmark_tests::greenhouse::{reading, steps};
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, instant, json, refusal};
use futures_util::future::join_all;
use serde_json::json;
use uuid::Uuid;

async fn enter(world: &World, site: Uuid, reading: &NewReading) -> Result<Reading, ClientError> {
    world.ada.record_reading(site, reading).await
}

on_both! {
    async fn a_reading_keeps_what_was_entered_beside_its_canonical_value(world: World) {
        let here = world.greenhouse().await;
        let kept = enter(&world, here.site, &reading(here.north_tank, "ec", 1250.0, "uS/cm", "2026-11-24T07:00:00+01:00")).await.unwrap();
        assert_eq!((kept.entered.value, kept.value.value), (1250.0, 1.25));
        assert_eq!(serde_json::to_value(kept.recorded_at).unwrap(), "2026-11-24T06:00:00.000Z");
        assert_eq!((kept.band_low, kept.in_band), (Some(1.0), Some(true)));
        assert_eq!(kept.done_by, kept.entered_by);
    }

    async fn what_cannot_be_is_refused_naming_the_field(world: World) {
        let here = world.greenhouse().await;
        let error = enter(&world, here.site, &reading(here.north_tank, "ph", 58.0, "[pH]", "2026-11-24T07:00:00+01:00")).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!(problem.code, ProblemCode::Invalid);
        assert_eq!(problem.errors[0].pointer.as_deref(), Some("/value"));
        let litres = enter(&world, here.site, &reading(here.north_tank, "ph", 6.0, "L", "2026-11-24T07:00:00+01:00")).await;
        assert_eq!(refusal(litres), ProblemCode::Invalid);
        let elsewhere = enter(&world, here.site, &reading(Uuid::new_v4(), "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00")).await;
        assert_eq!(refusal(elsewhere), ProblemCode::Invalid);
    }

    async fn a_reference_temperature_without_a_percentage_is_refused(world: World) {
        let here = world.greenhouse().await;
        let mut read = reading(here.north_tank, "ec", 1.4, "mS/cm", "2026-11-24T07:00:00+01:00");
        read.compensation = Some(Compensation { percent_per_c: None, reference_c: Some(25.0) });
        let error = enter(&world, here.site, &read).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].pointer.as_deref()),
            (ProblemCode::Invalid, Some("/compensation/percent_per_c")));
        read.compensation = Some(Compensation { percent_per_c: Some(2.0), reference_c: None });
        let kept = enter(&world, here.site, &read).await.unwrap();
        assert_eq!(kept.compensation.unwrap().reference_c, Some(25.0));
    }

    async fn what_looks_mis_keyed_is_asked_back_and_taken_when_confirmed(world: World) {
        let here = world.greenhouse().await;
        let mut slip = reading(here.north_tank, "ec", 1.25, "uS/cm", "2026-11-24T07:00:00+01:00");
        let error = enter(&world, here.site, &slip).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!(problem.code, ProblemCode::ConfirmationNeeded);
        assert_eq!(problem.errors[0].detail, "1.25 uS/cm is far from 1.4 mS/cm; 1.25 mS/cm would fit");
        slip.confirmed = true;
        enter(&world, here.site, &slip).await.unwrap();
    }

    async fn a_slip_of_the_ppm_scale_is_asked_back_naming_the_scale_that_fits(world: World) {
        let here = world.greenhouse().await;
        enter(&world, here.site, &reading(here.north_tank, "ec", 1.4, "mS/cm", "2026-11-24T06:00:00+01:00")).await.unwrap();
        let slip = reading(here.north_tank, "ec", 700.0, "ppm700", "2026-11-24T07:00:00+01:00");
        let error = enter(&world, here.site, &slip).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!(problem.code, ProblemCode::ConfirmationNeeded);
        assert_eq!(problem.errors[0].detail, "700 ppm700 is far from 1.4 mS/cm; 700 ppm500 would fit");
    }

    async fn air_is_read_in_the_air_and_solution_in_the_solution(world: World) {
        let here = world.greenhouse().await;
        let at = "2026-11-24T07:00:00+01:00";
        let mut breathed = reading(here.north_tank, "ec", 1.4, "mS/cm", at);
        breathed.sample_point = json(json!("air"));
        for wrong in [reading(here.north_tank, "co2", 800.0, "[ppm]", at), breathed] {
            let error = enter(&world, here.site, &wrong).await.unwrap_err();
            let problem = error.problem().unwrap();
            assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::Invalid, Some("/sample_point")));
        }
        let plan = json!({ "name": "Air", "task": "measure", "metrics": ["relative_humidity"], "sample_point": "drain",
            "tank_id": here.north_tank, "rule": "FREQ=DAILY", "starts_local": "2026-11-24T08:00:00",
            "window_min": 60, "limit_min": 120, "work_min": 5 });
        let error = world.ada.site(here.site).create::<NewCheckPlan>(&json(plan)).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/sample_point"));
    }

    async fn the_same_entry_twice_has_one_effect(world: World) {
        let here = world.greenhouse().await;
        let item = reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00");
        let mut other = item.clone();
        other.value.value = 6.2;
        let batch = ReadingBatch { items: vec![item.clone(), item.clone(), other] };
        let answer = world.ada.record_readings(here.site, &batch).await.unwrap();
        let outcomes: Vec<_> = answer.results.iter().map(|result| result.outcome).collect();
        assert_eq!(outcomes, [BatchOutcome::Created, BatchOutcome::Duplicate, BatchOutcome::Rejected]);
        assert_eq!(answer.results[0].id, answer.results[1].id);
        assert_eq!(answer.results[2].problem.as_ref().unwrap().code, ProblemCode::ClientIdReused);
        let by_sam = NewReading { done_by: Some(world.person("Sam", Role::Staff, Some(here.site)).await.0.id), ..item.clone() };
        assert_eq!(refusal(enter(&world, here.site, &by_sam).await), ProblemCode::ClientIdReused);
        let again = world.ada.record_readings(here.site, &ReadingBatch { items: vec![item] }).await.unwrap();
        assert_eq!(again.summary.duplicate_count, 1);
    }

    async fn what_people_enter_at_the_same_time_is_each_ones_own(world: World) {
        let here = world.greenhouse().await;
        let (sam, client) = world.person("Sam", Role::Staff, Some(here.site)).await;
        let good = || reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00");
        let mut slip = good();
        slip.value.value = 58.0;
        let (own, same) = (good(), good());
        let sent = (0..12).map(|at| if at % 3 == 0 { slip.clone() } else { good() }).chain([same.clone(), same.clone(), own.clone()]);
        let sent: Vec<NewReading> = sent.collect();
        let by_ada = join_all(sent[..14].iter().map(|reading| world.ada.record_reading(here.site, reading)));
        let (by_ada, by_sam) = tokio::join!(by_ada, client.record_reading(here.site, &own));

        let by_sam = by_sam.unwrap();
        assert_eq!((by_sam.client_id, by_sam.entered_by), (own.client_id, Some(sam.id)));
        let same: Vec<Uuid> = by_ada[12..].iter().map(|kept| kept.as_ref().unwrap().id).collect();
        assert_eq!(same[0], same[1]);
        for (at, (answer, sent)) in by_ada.into_iter().zip(&sent).enumerate() {
            match answer {
                Ok(kept) => assert_eq!((kept.client_id, kept.entered_by != Some(sam.id)), (sent.client_id, true)),
                Err(error) => assert_eq!((error.problem().unwrap().code, at % 3), (ProblemCode::Invalid, 0)),
            }
        }
        let journal = world.ada.site_journal(here.site, "limit=200").await.unwrap().items;
        let entered: Vec<_> = journal.iter().filter(|entry| entry.word == "reading").collect();
        assert_eq!(entered.len(), 8 + 1 + 1);
        let signed = |entry: &&&JournalEntry| (entry.person_id == Some(sam.id)) == (entry.record_id == by_sam.id);
        assert_eq!(entered.iter().filter(signed).count(), entered.len());
    }

    async fn one_wrong_item_never_blocks_another_unless_all_go_together(world: World) {
        let here = world.greenhouse().await;
        let batch = || ReadingBatch { items: vec![
            reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00"),
            reading(here.north_tank, "ph", 58.0, "[pH]", "2026-11-24T07:01:00+01:00"),
            reading(here.north_tank, "ec", 1.3, "mS/cm", "2026-11-24T07:02:00+01:00"),
        ] };
        let path = format!("/sites/{}/readings/batch?atomic=true", here.site);
        let together = world.ada.post::<BatchAnswer>(&path, &batch()).await.unwrap_err();
        assert_eq!(together.problem().unwrap().errors[0].pointer.as_deref(), Some("/items/1/value"));
        assert!(world.ada.readings(here.site, "").await.unwrap().is_empty());
        let each = world.ada.record_readings(here.site, &batch()).await.unwrap();
        assert_eq!((each.summary.created_count, each.summary.rejected_count), (2, 1));
    }

    async fn an_item_that_cannot_be_read_never_blocks_another(world: World) {
        let here = world.greenhouse().await;
        let good = || json!(reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00"));
        let mut furlong = good();
        furlong["value"]["unit"] = json!("furlong");
        let items = json!({ "items": [good(), furlong, json!({ "foo": 1 }), good()] });
        let path = format!("/sites/{}/readings/batch", here.site);
        let answer: BatchAnswer = world.ada.post(&path, &items).await.unwrap();
        assert_eq!((answer.summary.created_count, answer.summary.rejected_count), (2, 2));
        assert!(answer.results[1].client_id.is_some() && answer.results[2].client_id.is_none());
        let instance = |at: usize| answer.results[at].problem.as_ref().unwrap().instance.clone();
        let (one, other) = (instance(1), instance(2));
        assert!(one.starts_with("urn:uuid:") && one.ends_with("#/items/1") && one.len() == 54, "{one}");
        assert_eq!(other, one.replace("#/items/1", "#/items/2"));
        let together = world.ada.post::<BatchAnswer>(&format!("{path}?atomic=true"), &items).await.unwrap_err();
        assert_eq!(together.problem().unwrap().errors[0].pointer.as_deref(), Some("/items/1/value/unit"));
    }

    async fn a_correction_stands_in_the_place_of_a_reading_and_hides_nothing(world: World) {
        let here = world.greenhouse().await;
        let wrong = enter(&world, here.site, &reading(here.north_tank, "ph", 6.6, "[pH]", "2026-11-24T07:00:00+01:00")).await.unwrap();
        let right = reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00");
        let correction = ReadingCorrection { reading: right, reason: "the pen stood in the buffer".into() };
        let path = format!("/sites/{}/readings/{}/corrections", here.site, wrong.id);
        let kept: Reading = world.ada.post(&path, &correction).await.unwrap();
        assert_eq!(kept.supersedes_id, Some(wrong.id));
        let all = world.ada.readings(here.site, "sort=recorded_at").await.unwrap();
        assert_eq!(all.len(), 2);
        assert_eq!(all.iter().find(|reading| reading.id == wrong.id).unwrap().superseded_by_id, Some(kept.id));
        assert_eq!(world.ada.post::<Reading>(&path, &correction).await.unwrap(), kept, "sent again");
        let mut other = correction.clone();
        other.reason = "another reason".into();
        assert_eq!(refusal(world.ada.post::<Reading>(&path, &other).await), ProblemCode::ClientIdReused);
        other.reading.client_id = Uuid::new_v4();
        assert_eq!(refusal(world.ada.post::<Reading>(&path, &other).await), ProblemCode::Conflict, "corrected before");
        let (_, sam) = world.person("Sam", Role::Staff, Some(here.site)).await;
        assert_eq!(refusal(sam.post::<Reading>(&path, &correction).await), ProblemCode::NotAllowed);
    }

    async fn staff_correct_what_they_entered_themselves(world: World) {
        let here = world.greenhouse().await;
        let (_, sam) = world.person("Sam", Role::Staff, Some(here.site)).await;
        let ph = |value: f64| reading(here.north_tank, "ph", value, "[pH]", "2026-11-24T07:00:00+01:00");
        let corrected = async |wrong: &Reading| {
            let correction = ReadingCorrection { reading: ph(6.0), reason: "a slip".into() };
            sam.post::<Reading>(&format!("/sites/{}/readings/{}/corrections", here.site, wrong.id), &correction).await
        };
        let own = sam.record_reading(here.site, &ph(6.6)).await.unwrap();
        corrected(&own).await.unwrap();
        let of_ada = enter(&world, here.site, &ph(6.5)).await.unwrap();
        assert_eq!(refusal(corrected(&of_ada).await), ProblemCode::NotAllowed);
    }

    async fn faults_of_a_correction_are_named_together_where_they_stand(world: World) {
        let here = world.greenhouse().await;
        let wrong = enter(&world, here.site, &reading(here.north_tank, "ph", 6.6, "[pH]", "2026-11-24T07:00:00+01:00")).await.unwrap();
        let path = format!("/sites/{}/readings/{}/corrections", here.site, wrong.id);
        let mut placeless = reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00");
        placeless.tank_id = None;
        let correction = ReadingCorrection { reading: placeless, reason: " ".into() };
        let pointers = async |correction: &ReadingCorrection| -> Vec<Option<String>> {
            let error = world.ada.post::<Reading>(&path, correction).await.unwrap_err();
            error.problem().unwrap().errors.iter().map(|fault| fault.pointer.clone()).collect()
        };
        assert_eq!(pointers(&correction).await, [Some("/reason".into()), Some("/reading/tank_id".into())]);
        let impossible = reading(here.north_tank, "ph", 58.0, "[pH]", "2026-11-24T07:00:00+01:00");
        let correction = ReadingCorrection { reading: impossible, reason: "a slip".into() };
        assert_eq!(pointers(&correction).await, [Some("/reading/value".to_owned())]);
    }

    async fn a_later_revision_never_rewrites_a_band(world: World) {
        let here = world.greenhouse().await;
        let before = enter(&world, here.site, &reading(here.north_tank, "ph", 6.3, "[pH]", "2026-11-24T07:00:00+01:00")).await.unwrap();
        let mut narrow = steps(&[]);
        for step in narrow.as_array_mut().unwrap() {
            step["bands"][1]["high"] = json!(6.2);
        }
        let revision = json(json!({ "programme_id": here.programme, "effective_at": "2026-11-25T00:00:00Z", "steps": narrow }));
        world.ada.business().create::<NewProgrammeRevision>(&revision).await.unwrap();
        let after = enter(&world, here.site, &reading(here.north_tank, "ph", 6.3, "[pH]", "2026-11-25T07:00:00+01:00")).await.unwrap();
        let again = world.ada.readings(here.site, "").await.unwrap();
        let then = again.iter().find(|reading| reading.id == before.id).unwrap();
        assert_eq!((then.in_band, then.band_high), (Some(true), Some(6.4)));
        assert_eq!((after.in_band, after.band_high), (Some(false), Some(6.2)));
    }

    async fn typed_in_after_its_cycle_a_reading_has_the_band_of_its_day(world: World) {
        let here = world.greenhouse().await;
        world.clock.set(instant("2026-12-23T07:00:00Z"));
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        let ph = |at| reading(here.north_tank, "ph", 6.3, "[pH]", at);
        let items = vec![ph("2026-12-22T07:00:00+01:00"), ph("2026-12-20T07:00:00+01:00")];
        world.ada.record_readings(here.site, &ReadingBatch { items }).await.unwrap();
        let bands: Vec<_> = world.ada.readings(here.site, "").await.unwrap().iter().map(|kept| kept.band_high).collect();
        assert_eq!(bands.iter().filter(|high| **high == Some(6.4)).count(), 1);
        assert_eq!(bands.iter().filter(|high| high.is_none()).count(), 1);
    }

    async fn a_meter_reads_what_it_was_made_for(world: World) {
        let here = world.greenhouse().await;
        let kept = world.ada.site(here.site);
        for (name, kind, right) in [("E", "ec", false), ("P", "ph", true), ("B", "ph_and_ec", true), ("O", "other", true)] {
            let meter = kept.create::<NewMeter>(&json(json!({ "name": name, "kind": kind }))).await.unwrap().id;
            let read = reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00");
            let entered = enter(&world, here.site, &NewReading { meter_id: Some(meter), ..read }).await;
            if right {
                entered.unwrap();
                continue;
            }
            let error = entered.unwrap_err();
            let fault = &error.problem().unwrap().errors[0];
            assert_eq!((fault.pointer.as_deref(), fault.detail.as_str()), (Some("/meter_id"), "expected a meter of ph, found one of ec"));
        }
    }

    async fn out_of_band_raises_an_alert_that_a_later_reading_in_band_closes(world: World) {
        let here = world.greenhouse().await;
        enter(&world, here.site, &reading(here.north_tank, "ph", 6.6, "[pH]", "2026-11-24T07:00:00+01:00")).await.unwrap();
        let open = world.ada.alerts(here.site, "").await.unwrap().items;
        assert_eq!(open.len(), 1);
        assert!(open[0].text.contains("6.6"), "{}", open[0].text);
        enter(&world, here.site, &reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T06:00:00+01:00")).await.unwrap();
        assert_eq!(world.ada.alerts(here.site, "").await.unwrap().items.len(), 1, "typed in later, taken earlier");
        world.clock.set(instant("2026-11-24T07:00:00Z"));
        enter(&world, here.site, &reading(here.north_tank, "ph", 6.1, "[pH]", "2026-11-24T08:00:00+01:00")).await.unwrap();
        assert!(world.ada.alerts(here.site, "").await.unwrap().items.is_empty());
    }

    async fn a_clock_that_is_ahead_raises_no_alert_and_settles_none(world: World) {
        let here = world.greenhouse().await;
        let raised = async || world.ada.alerts(here.site, "").await.unwrap().items.len();
        let tomorrow = "2026-11-25T07:00:00+01:00";
        enter(&world, here.site, &reading(here.north_tank, "ph", 7.2, "[pH]", tomorrow)).await.unwrap();
        assert_eq!(raised().await, 0);
        enter(&world, here.site, &reading(here.north_tank, "ph", 7.2, "[pH]", "2026-11-24T06:00:00Z")).await.unwrap();
        enter(&world, here.site, &reading(here.north_tank, "ph", 6.0, "[pH]", tomorrow)).await.unwrap();
        assert_eq!(raised().await, 1);
        world.clock.set(instant("2026-11-24T09:00:00Z"));
        enter(&world, here.site, &reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T09:00:00Z")).await.unwrap();
        assert_eq!(raised().await, 0);
    }

    async fn the_last_reading_of_a_place_says_whether_an_alert_stands(world: World) {
        let here = world.greenhouse().await;
        let at = |hour: u32| format!("2026-11-24T{hour:02}:00:00+01:00");
        let ph = |value: f64, hour: u32| reading(here.north_tank, "ph", value, "[pH]", &at(hour));
        let raised = async || world.ada.alerts(here.site, "").await.unwrap().items.len();
        enter(&world, here.site, &ph(6.0, 6)).await.unwrap();
        enter(&world, here.site, &ph(7.2, 5)).await.unwrap();
        assert_eq!(raised().await, 0, "it was over when it was typed in");
        let items = vec![ph(7.0, 4), ph(6.1, 7)];
        world.ada.record_readings(here.site, &ReadingBatch { items }).await.unwrap();
        assert_eq!(raised().await, 0);
        world.clock.set(instant("2026-11-24T09:00:00Z"));
        enter(&world, here.site, &ph(7.0, 8)).await.unwrap();
        enter(&world, here.site, &ph(7.1, 10)).await.unwrap();
        enter(&world, here.site, &ph(6.0, 9)).await.unwrap();
        assert_eq!(raised().await, 1, "it is out of band still");
    }

    async fn ancient_and_malformed_times_are_refused_and_the_future_is_marked(world: World) {
        let here = world.greenhouse().await;
        let path = format!("/sites/{}/readings", here.site);
        for wrong in ["1999-12-31T23:59:59Z", "2026-11-24T07:00:00", "yesterday"] {
            let body = json!({ "client_id": Uuid::new_v4(), "tank_id": here.north_tank, "sample_point": "tank", "metric": "ph",
                "value": { "value": 6.0, "unit": "[pH]" }, "recorded_at": wrong });
            assert_eq!(refusal(world.ada.post::<Reading>(&path, &body).await), ProblemCode::BadRequest, "{wrong}");
        }
        let ahead = enter(&world, here.site, &reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T09:00:00Z")).await.unwrap();
        assert!(ahead.clock_suspect);
    }

    async fn what_a_meter_did_not_bring_to_25_degrees_is_brought_there(world: World) {
        let here = world.greenhouse().await;
        let at = "2026-11-24T06:00:00+01:00";
        let ec = |value: f64, setting: serde_json::Value| NewReading {
            compensation: Some(json(setting)),
            ..reading(here.north_tank, "ec", value, "mS/cm", at)
        };
        let to_20 = enter(&world, here.site, &ec(1.5, json!({ "percent_per_c": 2.0, "reference_c": 20.0 }))).await.unwrap();
        assert!((to_20.value.value - 1.65).abs() < 1e-9 && to_20.entered.value == 1.5, "{to_20:?}");
        let none = || ec(1.5, json!({ "percent_per_c": null, "reference_c": null }));
        let fault = enter(&world, here.site, &none()).await.unwrap_err().problem().unwrap().errors[0].clone();
        assert_eq!((fault.pointer.as_deref(), fault.code.as_str()), (Some("/compensation"), "not_at_25"));
        assert!(fault.detail.contains("expected the solution's temperature too, read within an hour"), "{}", fault.detail);
        let cold = || reading(here.north_tank, "solution_temperature", 15.0, "Cel", at);
        let items = vec![none(), cold()];
        world.ada.record_readings(here.site, &ReadingBatch { items }).await.unwrap();
        let later = enter(&world, here.site, &none()).await.unwrap();
        assert!((1.83..1.89).contains(&later.value.value), "{later:?}");
    }
}
