//! The demo: made whole, and in the place of nothing that is somebody's.

use std::sync::Arc;

use fillmark_server::demo::{self, DemoError};
use fillmark_server::{Hold, HoldError, commands, open_app};
use fillmark_tests::MovedClock;
use fillmark_tests::rows::number;
use fillmark_tests::world::instant;

fn clock() -> Arc<MovedClock> {
    Arc::new(MovedClock::at(instant("2026-11-24T06:00:00Z")))
}

/// The first thing that README has anybody do.
#[tokio::test]
async fn a_year_of_the_demo_is_refused_nothing_and_holds_together() {
    let folder = tempfile::TempDir::new().unwrap();
    let settings = demo::prepare(&folder.path().join("demo"), false, clock()).await.unwrap();
    let app = open_app(&settings, clock()).await.unwrap();
    demo::show(&app, "http://127.0.0.1:8080").await.unwrap();
    commands::verify(&app).await.unwrap();
    assert_eq!(
        number(&app.store, "select count(*) from forecasts").await,
        16,
        "two sites, each week of eight"
    );
    app.store.close().await.unwrap();
}

#[tokio::test]
async fn a_demo_that_is_running_is_not_thrown_away() {
    let folder = tempfile::TempDir::new().unwrap();
    let mark = folder.path().join("THIS-IS-A-DEMO");
    std::fs::write(&mark, "").unwrap();
    let running = Hold::take(folder.path()).unwrap();
    let refused = demo::prepare(folder.path(), true, clock()).await.expect_err("a refusal");
    assert!(matches!(refused, DemoError::Held(HoldError::InUse { .. })), "{refused}");
    assert!(mark.exists());
    drop(running);

    let own = folder.path().join("mine.building");
    std::fs::create_dir(&own).unwrap();
    let refused = demo::prepare(&folder.path().join("mine"), true, clock()).await.expect_err("a refusal");
    assert!(matches!(refused, DemoError::NotOurs { .. }) && own.exists(), "{refused}");
}
