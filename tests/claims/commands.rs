//! The subcommands that talk to a server: what they print and what they fail with.

use std::error::Error;

use fillmark_api::NewProduct;
use fillmark_domain::people::Role;
use fillmark_server::commands::{self, CommandError, Desk};
use fillmark_tests::fresh::{Fresh, Kind};
use fillmark_tests::on_both;
use fillmark_tests::process::run;
use fillmark_tests::world::{PASSWORD, World, json};
use serde_json::json;

async fn desk(world: &World) -> Desk {
    Desk::sign_in(&world.server.address, "ada", PASSWORD).await.unwrap()
}

#[track_caller]
fn has(text: &str, words: &[&str]) {
    for word in words {
        assert!(text.contains(word), "{word:?} is missing in\n{text}");
    }
}

on_both! {
    async fn a_server_that_runs_is_ready_and_one_that_stopped_is_not(world: World) {
        let address = world.server.address.clone();
        has(&commands::healthcheck(&address).await.unwrap(), &["is ready"]);
        world.server.stop().await;
        let failed = commands::healthcheck(&address).await.unwrap_err();
        assert!(matches!(failed, CommandError::Server { .. }), "{failed:?}");
    }

    async fn a_server_without_its_database_is_not_ready_and_says_why(world: World) {
        world.server.app.store.clone().close().await.unwrap();
        let failed = commands::healthcheck(&world.server.address).await.unwrap_err();
        has(&failed.to_string(), &["is not ready", "its database is silent"]);
    }

    async fn rounds_are_printed_with_names_and_local_times(world: World) {
        let site = world.site("Harbour").await;
        let room = world.room(site.id, "North room", "growing", 1).await;
        world.check_plan(site.id, json!({ "name": "Look round", "room_id": room })).await;
        let text = commands::rounds(&desk(&world).await, None, None).await.unwrap();
        has(&text, &["Harbour: no rounds are published"]);
        let day = "2026-11-24".parse().unwrap();
        world.ada.publish_rounds(site.id, day).await.unwrap();
        let text = commands::rounds(&desk(&world).await, Some("harbour"), Some(day)).await.unwrap();
        has(&text, &["rounds of 2026-11-24", "Nobody can do", "Look round", "no shift leaves time", "somebody more for 10 minutes"]);
        let note = json!({ "room_id": room, "text": "The pump hums" });
        world.ada.write_handover_note(site.id, &json(note)).await.unwrap();
        let (sam, _) = world.person("Sam", Role::Staff, Some(site.id)).await;
        world.shift(site.id, sam.id, "2026-11-24").await;
        world.ada.publish_rounds(site.id, day).await.unwrap();
        let text = commands::rounds(&desk(&world).await, None, None).await.unwrap();
        has(&text, &["Sam: 10 minutes", "08:00", "North room", "Look round", "Moved since", "from nobody to Sam"]);
        has(&text, &["Left for the next", "North room: The pump hums (Ada Brook)"]);
    }

    async fn the_forecast_is_printed_for_each_site_and_product(world: World) {
        world.greenhouse().await;
        let product = json!({ "name": "Base A", "kind": "concentrate", "base": "mL", "mixing_rank": 2 });
        world.ada.business().create::<NewProduct>(&json(product)).await.unwrap();
        let text = commands::forecast(&desk(&world).await, None, 30).await.unwrap();
        has(&text, &["Harbour: 30 days from 2026-11-24", "Base A", "lasts"]);
        let elsewhere = commands::forecast(&desk(&world).await, Some("Quay"), 30).await.unwrap_err();
        assert_eq!(elsewhere.to_string(), "there is no site \"Quay\"; there are: Harbour");
    }

    async fn a_wrong_password_is_told_by_its_cause(world: World) {
        let failed = Desk::sign_in(&world.server.address, "ada", "not her password").await.unwrap_err();
        has(&failed.source().unwrap().to_string(), &["401", "do not fit"]);
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn where_there_is_no_database_there_is_nothing_to_verify() {
    let fresh = Fresh::empty(Kind::Sqlite).await;
    let refused = tokio::task::block_in_place(|| run(&fresh, &["verify"])).unwrap_err();
    has(&refused, &["there is no database at"]);
    assert!(std::fs::read_dir(fresh.folder.path()).unwrap().next().is_none(), "and none was made");
}
