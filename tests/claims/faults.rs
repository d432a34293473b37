//! Nothing that was acknowledged is lost and nothing is there twice, whatever fails under it. The runs print their
//! figures; `faults` of this package makes longer ones.

use chrono::Utc;
use fillmark_tests::World;
use fillmark_tests::cluster::Cluster;
use fillmark_tests::faults::{
    exhaust_connections, fill_disk, kill_again_and_again, restart_in_turn, restart_postgres, send_slowly,
    take_over,
};
use fillmark_tests::fresh::{Fresh, Kind};

/// Enough for every stage of a write to be hit now and then, few enough for each build.
const KILLS: u32 = 20;

async fn survives_kills(kind: Kind) {
    let run = kill_again_and_again(kind, KILLS, 1).await;
    println!("{run:?}");
    assert!(run.outcome.is_whole());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_is_killed_loses_nothing_on_sqlite() {
    survives_kills(Kind::Sqlite).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_is_killed_loses_nothing_on_postgres() {
    survives_kills(Kind::Postgres).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_database_that_is_restarted_under_a_server_loses_nothing() {
    let run = restart_postgres(10, 1).await;
    println!("{run:?}");
    assert!(run.outcome.is_whole());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_a_full_disk_writes_are_refused_and_reads_go_on() {
    let run = fill_disk(10).await;
    println!("{run:?}");
    assert_eq!((run.asked_to_wait, run.read_meanwhile), (10, 10));
    assert!(run.outcome.is_whole());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_finds_no_connection_is_asked_to_come_again() {
    let run = exhaust_connections(64, 5).await;
    println!("{run:?}");
    assert!(run.unexpected.is_empty() && run.asked_to_wait > 0 && run.acknowledged > 0, "{run:?}");
    assert_eq!((run.ready_meanwhile, run.ready_afterwards), (false, true));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_sends_slowly_is_cut_off() {
    let run = send_slowly(100).await;
    println!("{run:?}");
    // Bounds on waiting, no measures: the server's own limits are 5 and 20 seconds.
    assert!(run.longest_headers.as_secs() < 30 && run.longest_body.as_secs() < 50, "{run:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn of_two_servers_one_takes_over_from_the_other() {
    let run = take_over(7, 1).await;
    println!("{run:?}");
    assert!(run.occurrences >= 1_000, "{run:?}");
    assert_eq!((run.lost, run.twice), (0, 0), "{run:?}");
    // A bound on waiting, no measure: a beat comes every ten seconds.
    assert!(run.longest_takeover.as_secs() < 15 && run.verified.is_ok(), "{run:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_knows_both_servers_loses_no_request_while_they_restart() {
    let run = restart_in_turn(3).await;
    println!("{run:?}");
    assert!(run.outcome.is_whole() && run.outcome.sent_again == 0, "{run:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_request_that_breaks_off_leaves_no_transaction_behind() {
    let cluster = Cluster::start();
    let world = World::begin_on(Fresh::at(cluster.url("postgres")), Kind::Postgres, Utc::now()).await;
    let site = world.site("Harbour").await.id;
    let path = format!("{}/api/v1/sites/{site}/readings", world.server.address);
    let token = world.ada.access_token().await.unwrap();
    let (http, unreadable) = (reqwest::Client::new(), serde_json::json!({ "colour": "blue" }));
    let send = async || {
        for _ in 0..40 {
            // The body is refused while the caller's rights are still being asked for.
            let answer = http.post(&path).bearer_auth(&token).json(&unreadable).send().await.unwrap();
            assert_eq!(answer.status(), 400);
        }
    };
    futures_util::future::join_all((0..8).map(|_| send())).await;
    world.leave().await;
    let log = cluster.log();
    let begun_twice = log.lines().filter(|line| line.contains("already a transaction in progress")).count();
    assert_eq!(begun_twice, 0, "connections were given on within a transaction");
}
