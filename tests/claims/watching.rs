//! What the server tells of itself: whether it is ready, its figures, and a log that holds no secret.

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_client::Client;
use fillmark_migrations::MigrationError;
use fillmark_server::{Settings, StartError, start};
use fillmark_store::Store;
use fillmark_tests::contract::Contract;
use fillmark_tests::fresh::{Fresh, Kind};
use fillmark_tests::process::{Process, free_address};
use fillmark_tests::world::{PASSWORD, World, instant, json, refusal};
use fillmark_tests::yard::Yard;
use fillmark_tests::{MovedClock, on_both};
use sea_orm_migration::sea_orm::ConnectionTrait;
use serde_json::json;

async fn started(
    settings: &Settings,
) -> Result<(fillmark_server::Running, std::sync::Arc<MovedClock>), StartError> {
    let clock = std::sync::Arc::new(MovedClock::at(instant("2026-11-24T06:00:00Z")));
    Ok((start(settings, clock.clone()).await?, clock))
}

async fn readiness(address: &str) -> Readiness {
    Client::new(address).unwrap().readiness().await.unwrap()
}

async fn figures(address: &str) -> String {
    reqwest::get(format!("{address}/metrics")).await.unwrap().text().await.unwrap()
}

on_both! {
    async fn a_server_says_that_it_is_ready_and_why_not(world: World) {
        let told = readiness(&world.server.address).await;
        assert!(told.takes_work && told.database && told.schema && told.reasons.is_empty(), "{told:?}");
        assert_eq!(told.last_beat_s, None, "this one does no jobs");
        assert_eq!(told.disk_free_percent.is_some(), world.kind == Kind::Sqlite);
        let forget = "delete from seaql_migrations where version = 'm0013_reviews'";
        world.server.app.store.for_migrations().execute_unprepared(forget).await.unwrap();
        let told = readiness(&world.server.address).await;
        assert_eq!(told.reasons, ["its database lacks changes of the schema"]);
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn jobs_that_do_not_beat_make_a_server_unready() {
    let fresh = Fresh::new(Kind::Sqlite).await;
    let (server, clock) = started(&Settings { jobs: true, ..fresh.settings.clone() }).await.unwrap();
    assert_eq!(readiness(&server.address).await.last_beat_s, Some(0));
    clock.advance(TimeDelta::minutes(4));
    let mut told = readiness(&server.address).await;
    if told.reasons.is_empty() {
        // A beat came between; the next is ten seconds away.
        clock.advance(TimeDelta::minutes(4));
        told = readiness(&server.address).await;
    }
    assert_eq!(told.reasons, ["its jobs do not beat"]);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_is_not_to_migrate_starts_on_a_current_schema_only() {
    let fresh = Fresh::empty(Kind::Sqlite).await;
    let settings = Settings { migrate: false, ..fresh.settings.clone() };
    let refused = started(&settings).await.err().expect("a refusal");
    assert!(matches!(refused, StartError::Schema(MigrationError::Older)), "{refused}");
    let store = Store::open(&settings.where_kept(), 1).await.unwrap();
    fillmark_migrations::bring_up(store.for_migrations()).await.unwrap();
    store.close().await.unwrap();
    started(&settings).await.unwrap().0.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_cannot_listen_leaves_the_database_alone() {
    let fresh = Fresh::empty(Kind::Sqlite).await;
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let listen = taken.local_addr().unwrap().to_string();
    let refused = started(&Settings { listen, ..fresh.settings.clone() }).await.err().expect("a refusal");
    assert!(matches!(refused, StartError::NoAddress { .. }), "{refused}");
    assert!(std::fs::read_dir(fresh.folder.path()).unwrap().next().is_none());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn figures_are_told_at_an_address_of_their_own_in_bounded_series() {
    let fresh = Fresh::new(Kind::Sqlite).await;
    let (server, _) =
        started(&Settings { metrics_listen: "127.0.0.1:0".into(), ..fresh.settings.clone() }).await.unwrap();
    let address = server.metrics_address().unwrap().to_owned();
    let stranger = Client::new(&server.address).unwrap();
    for _ in 0..2 {
        assert_eq!(refusal(stranger.sign_in("nobody", PASSWORD).await.map(drop)), ProblemCode::NotSignedIn);
    }
    let http = reqwest::Client::new();
    for operation in Contract::read().operations {
        for chance in ["one", "another"] {
            let path = operation.path.replace('{', chance).replace('}', "");
            let method = operation.method.parse().unwrap();
            http.request(method, format!("{}{path}", server.address)).send().await.unwrap();
        }
    }
    for odd in ["BREW", "PROPFIND"] {
        http.request(odd.parse().unwrap(), format!("{}/{odd}", server.address)).send().await.unwrap();
    }
    let told = figures(&address).await;
    for line in [
        "fillmark_sign_ins_total{outcome=\"wrong\"} 2",
        "fillmark_requests_total{method=\"GET\",route=\"/healthz\",status=\"2xx\"} 2",
        "fillmark_requests_total{method=\"GET\",route=\"/api/v1/sites/{site_id}/tanks\",status=\"4xx\"} 2",
        "fillmark_requests_total{method=\"other\",route=\"none\",status=\"4xx\"} 2",
        "fillmark_journal_unsealed ",
        "fillmark_database_connections{state=\"in_use\"} ",
        "fillmark_build_info{version=",
        "# EOF",
    ] {
        assert!(told.contains(line), "{line} in\n{told}");
    }
    let series = told.lines().filter(|line| !line.starts_with('#')).count();
    assert!(series < 1000, "{series} series");
    let elsewhere = http.get(format!("{}/metrics", server.address)).send().await.unwrap();
    assert_eq!(elsewhere.status(), 404);
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_log_holds_no_secret_at_any_level() {
    let yard = Yard::make(Kind::Sqlite).await;
    let line = r#"FILLMARK__LOG=trace FILLMARK__LOG_FORMAT=json exec "$0" serve"#;
    let server = Process::serve_by_shell(&yard.fresh, &free_address(), line).await;
    let ada = Client::new(&server.address).unwrap();
    let session = ada.sign_in("ada", PASSWORD).await.unwrap();
    let wrong = "a password nobody has here";
    refusal(ada.sign_in("ada", wrong).await.map(drop));
    ada.sign_in("ada", PASSWORD).await.unwrap();
    let renewal = Renewal { refresh_token: session.refresh_token.clone() };
    let renewed: Session = ada.post("/sessions/renewals", &renewal).await.unwrap();
    let site = ada.business().all::<NewSite>("").await.unwrap().remove(0).id;
    let device = json(json!({ "name": "Probe", "until_at": "2099-01-01T00:00:00Z" }));
    let device = ada.site(site).create::<NewDevice>(&device).await.unwrap();
    let token = ada.give_device_token(site, device.id).await.unwrap().token;
    let probe = Client::new(&server.address).unwrap();
    probe.call_as_device(&token).await;
    refusal(probe.readings(site, "").await);
    let new_password = "a wholly new password of hers";
    let path = format!("/people/{}/password", session.person_id);
    ada.put(&path, &NewPassword { password: new_password.into(), present_password: Some(PASSWORD.into()) })
        .await
        .unwrap();
    server.stop().await;

    let log = std::fs::read_to_string(yard.fresh.folder.path().join("server.log")).unwrap();
    assert!(
        log.contains("\"route\":\"/api/v1/sessions\"") && log.contains("TRACE"),
        "the log tells of requests"
    );
    let signature = |token: &str| token.rsplit('.').next().unwrap().to_owned();
    for (what, secret) in [
        ("a password", PASSWORD.to_owned()),
        ("a wrong password", wrong.to_owned()),
        ("a new password", new_password.to_owned()),
        ("a refresh token", session.refresh_token),
        ("the next refresh token", renewed.refresh_token),
        ("an access token", signature(&session.access_token)),
        ("a renewed access token", signature(&renewed.access_token)),
        ("a device's token", token[40..].to_owned()),
        ("a hash", "$argon2".to_owned()),
    ] {
        let line = log.lines().find(|line| line.contains(&secret));
        assert!(line.is_none(), "{what} stands in the log: {line:?}");
    }
}
