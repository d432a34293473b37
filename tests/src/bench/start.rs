//! From the start of the process to its first good answer, on a database that is there already.

use super::figures::{Bar, Measured, Rounds};
use super::ground::Ground;
use super::server::Server;
use crate::fresh::Kind;

/// Measures it.
/// # Panics
/// When a server does not come up.
pub async fn start(kind: Kind, rounds: usize) -> Measured {
    let ground = Ground::make(kind);
    let (yard, bare) = (ground.yard().await, ground.bare().await);
    let mut taken = Rounds::default();
    for round in 0..=rounds {
        let ours = Server::ours(&yard.fresh).await;
        let ready_after = ours.ready_after;
        ours.stop();
        let other = Server::bare(&bare).await.ready_after;
        // The first round brings the files into the machine's memory.
        if round > 0 {
            taken.add(ready_after.as_secs_f64() * 1e3, other.as_secs_f64() * 1e3);
        }
    }
    taken.measured("start", kind, "ms", "a bare server's start", Some(Bar::RatioAtMost(2.5)))
}
