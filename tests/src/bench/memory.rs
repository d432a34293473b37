//! Memory of a server that has just started, and of the same after ten thousand requests.

use std::time::Duration;

use super::entry::{reading, sessions};
use super::figures::{Bar, Measured, Rounds, median};
use super::ground::Ground;
use super::load::{get, post, so_many_each};
use super::server::Server;
use crate::fresh::Kind;

/// So many clients…
const CLIENTS: usize = 16;

/// …send so many requests each, half of them readings and half of them questions: ten thousand in all.
const EACH: usize = 625;

/// A server that is ready still frees what its start took, and its jobs take what they need.
const SETTLED: Duration = Duration::from_secs(2);

/// Measures it.
/// # Panics
/// When a server does not come up or refuses a request.
pub async fn memory(kind: Kind, rounds: usize) -> Measured {
    let ground = Ground::make(kind);
    let (yard, bare) = (ground.yard().await, ground.bare().await);
    let site = yard.feeding.here.site;
    let (entry_path, list_path) =
        (format!("/api/v1/sites/{site}/readings"), format!("/api/v1/sites/{site}/readings?limit=50"));
    let (mut at_rest, mut grown) = (Rounds::default(), Vec::new());
    for _ in 0..rounds {
        let (ours, other) = (Server::ours(&yard.fresh).await, Server::bare(&bare).await);
        tokio::time::sleep(SETTLED).await;
        let before = ours.resident_mb();
        at_rest.add(before, other.resident_mb());
        let tokens = sessions(&ours, CLIENTS).await;
        let entered = |token: &str| post(&entry_path, token, &reading(yard.feeding.here.north_tank));
        so_many_each(&ours.address, &tokens, EACH / 2, 201, entered).await;
        let listed = |token: &str| get(&list_path, token);
        so_many_each(&ours.address, &tokens, EACH - EACH / 2, 200, listed).await;
        grown.push(ours.resident_mb());
        ours.stop();
    }
    let after = median(&grown);
    let measured =
        at_rest.measured("memory", kind, "MB at rest", "a bare server at rest", Some(Bar::AtMost(60.0)));
    let growth = after / measured.ours;
    measured.beside("MB after 10,000 requests", after).beside("times as much as at rest", growth)
}
