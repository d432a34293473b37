//! A server that is killed again and again while people write.

use std::time::Duration;

use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

use super::Load;
use super::load::Outcome;
use crate::fresh::{Fresh, Kind};
use crate::process::{Process, free_address};
use crate::yard::Yard;

/// So many people write at once.
const WRITERS: usize = 8;

/// What a run of kills showed.
#[derive(Debug)]
pub struct Kills {
    /// How often the server was killed.
    pub times: u32,
    /// What became of what was entered.
    pub outcome: Outcome,
    /// From a start on an empty database until it was ready: what the others are held against.
    pub first_start: Duration,
    /// The longest start after a kill.
    pub longest_start: Duration,
}

/// Kills a server so many times, each time after writers had some requests acknowledged, and counts what was lost.
/// # Panics
/// When a server does not come up again.
pub async fn kill_again_and_again(kind: Kind, times: u32, seed: u64) -> Kills {
    let mut chance = StdRng::seed_from_u64(seed);
    let listen = free_address();
    let empty = Fresh::empty(kind).await;
    let first = Process::serve(&empty, &listen).await;
    let first_start = first.ready_after;
    first.stop().await;

    let yard = Yard::make(kind).await;
    let mut server = Process::serve(&yard.fresh, &listen).await;
    let load = Load::start(&[&server.address], yard.feeding, WRITERS).await;
    let mut longest_start = Duration::ZERO;
    for _ in 0..times {
        load.more(chance.random_range(1..60)).await;
        server.kill();
        server = Process::serve(&yard.fresh, &listen).await;
        longest_start = longest_start.max(server.ready_after);
    }
    load.more(20).await;
    let written = load.stop().await;
    server.kill();
    Kills { times, outcome: Outcome::of(written, &yard).await, first_start, longest_start }
}
