//! Devices: they enter readings of their site until their time is over, and do nothing else.

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_client::Client;
use fillmark_tests::Greenhouse;
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, json, refusal};
use sea_orm_migration::sea_orm::{ConnectionTrait, Statement};
use serde_json::json;

async fn probe(world: &World, here: Greenhouse) -> (Device, Client) {
    let body = json(json!({ "name": "Quay probe", "until_at": "2026-12-24T00:00:00Z" }));
    let device = world.ada.site(here.site).create::<NewDevice>(&body).await.unwrap();
    let token = world.ada.give_device_token(here.site, device.id).await.unwrap();
    let client = Client::new(&world.server.address).unwrap();
    client.call_as_device(&token.token).await;
    (device, client)
}

on_both! {
    async fn a_device_enters_readings_that_say_so(world: World) {
        let here = world.greenhouse().await;
        let (device, probe) = probe(&world, here).await;
        assert_eq!(world.ada.device_token(here.site, device.id).await.unwrap().unwrap().used_at, None);
        let entry = reading(here.north_tank, "ph", 6.1, "[pH]", "2026-11-24T05:59:00Z");
        let kept = probe.record_reading(here.site, &entry).await.unwrap();
        assert_eq!((kept.device_id, kept.done_by, kept.entered_by), (Some(device.id), None, None));
        let again = probe.record_readings(here.site, &ReadingBatch { items: vec![entry.clone()] }).await.unwrap();
        assert_eq!(again.summary.duplicate_count, 1);
        let used_at = world.ada.device_token(here.site, device.id).await.unwrap().unwrap().used_at;
        assert_eq!(used_at, Some(Instant(world.server.app.now())));
        let named = NewReading { done_by: Some(device.id), client_id: uuid::Uuid::now_v7(), ..entry };
        assert_eq!(refusal(probe.record_reading(here.site, &named).await), ProblemCode::NotAllowed);
    }

    async fn it_reads_nothing_and_reaches_no_other_site(world: World) {
        let here = world.greenhouse().await;
        let hill = world.site("Hill").await.id;
        let (_, probe) = probe(&world, here).await;
        assert_eq!(refusal(probe.readings(here.site, "").await), ProblemCode::NotAllowed);
        assert_eq!(refusal(probe.site(here.site).page::<NewTank>("").await), ProblemCode::NotAllowed);
        assert_eq!(refusal(probe.business().page::<NewPerson>("").await), ProblemCode::NotAllowed);
        assert_eq!(refusal(probe.business().page::<NewSite>("").await), ProblemCode::NotAllowed);
        let entry = reading(here.north_tank, "ph", 6.1, "[pH]", "2026-11-24T05:59:00Z");
        assert_eq!(refusal(probe.record_reading(hill, &entry).await), ProblemCode::NotFound);
    }

    async fn a_token_ends_with_its_time_its_device_or_the_next_token(world: World) {
        let here = world.greenhouse().await;
        let (device, probe) = probe(&world, here).await;
        let send = async || {
            let at = Instant(world.server.app.now()).text();
            let outcome = probe.record_reading(here.site, &reading(here.north_tank, "ph", 6.1, "[pH]", &at)).await;
            outcome.map(drop).map_err(|error| error.problem().unwrap().code)
        };
        assert_eq!(send().await, Ok(()));
        let next = world.ada.give_device_token(here.site, device.id).await.unwrap();
        assert_eq!(send().await, Err(ProblemCode::NotSignedIn));
        probe.call_as_device(&next.token).await;
        assert_eq!(send().await, Ok(()));
        world.clock.advance(TimeDelta::days(30));
        assert_eq!(send().await, Err(ProblemCode::NotSignedIn));
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        let too_late = world.ada.give_device_token(here.site, device.id).await;
        assert_eq!(refusal(too_late.map(drop)), ProblemCode::Conflict);
        let device = world.ada.site(here.site).change(&device, json!({ "until_at": "2027-12-24T00:00:00Z" })).await.unwrap();
        assert_eq!(send().await, Ok(()));
        world.ada.site(here.site).archive(&device).await.unwrap();
        assert_eq!(send().await, Err(ProblemCode::NotSignedIn));
    }

    async fn a_token_is_told_once_and_kept_nowhere(world: World) {
        let here = world.greenhouse().await;
        probe(&world, here).await;
        let connection = world.server.app.store.for_migrations();
        for (table, column) in [("kept_answers", "body"), ("device_tokens", "token_hash")] {
            let query = format!("select count(*) from {table} where {column} like '%fmd_%'");
            let query = Statement::from_string(connection.get_database_backend(), query);
            let count: i64 = connection.query_one_raw(query).await.unwrap().unwrap().try_get_by_index(0).unwrap();
            assert_eq!(count, 0, "{table}");
        }
    }
}
