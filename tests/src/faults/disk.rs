//! A disk that is full for a while: imitated by the system's limit on the size of a process's files, which refuses a
//! write as a full disk does.

use std::process::Command;
use std::time::{Duration, Instant};

use fillmark_api::ProblemCode;
use fillmark_client::Client;

use super::load::{Load, Outcome, reading};
use crate::fresh::Kind;
use crate::process::{Process, free_address};
use crate::world::PASSWORD;
use crate::yard::Yard;

/// The write is refused instead of the process being ended.
const WITHOUT_SIGNAL: &str = "trap '' XFSZ; exec \"$0\" serve";

/// What a run on a full disk showed.
#[derive(Debug)]
pub struct DiskFull {
    /// How often the disk was full.
    pub times: u32,
    /// What became of what was entered.
    pub outcome: Outcome,
    /// How often a write on the full disk was asked to come again.
    pub asked_to_wait: u32,
    /// How often a read was answered meanwhile.
    pub read_meanwhile: u32,
    /// The longest time from the return of space until a write was acknowledged.
    pub longest_return: Duration,
}

/// Fills the disk under a server so many times while people write.
/// # Panics
/// When the server ends.
pub async fn fill_disk(times: u32) -> DiskFull {
    let yard = Yard::make(Kind::Sqlite).await;
    let server = Process::serve_by_shell(&yard.fresh, &free_address(), WITHOUT_SIGNAL).await;
    let load = Load::start(&[&server.address], yard.feeding, 4).await;
    let client = Client::new(&server.address).expect("a client");
    client.sign_in("ada", PASSWORD).await.expect("a session");
    let site = yard.feeding.here.site;
    let (mut asked_to_wait, mut read_meanwhile, mut longest_return) = (0, 0, Duration::ZERO);
    for _ in 0..times {
        load.more(20).await;
        limit(&server, "1");
        let refused = client.record_reading(site, &reading(yard.feeding)).await.err();
        let refused = refused.and_then(|error| error.problem().map(|problem| problem.code));
        asked_to_wait += u32::from(refused == Some(ProblemCode::Unavailable));
        read_meanwhile += u32::from(client.product_stock(site, yard.feeding.grow_a).await.is_ok());
        limit(&server, "unlimited");
        let back = Instant::now();
        load.more(1).await;
        longest_return = longest_return.max(back.elapsed());
    }
    let written = load.stop().await;
    server.stop().await;
    DiskFull {
        times,
        outcome: Outcome::of(written, &yard).await,
        asked_to_wait,
        read_meanwhile,
        longest_return,
    }
}

fn limit(server: &Process, bytes: &str) {
    let pid = server.pid().to_string();
    let set = Command::new("prlimit").args(["--pid", &pid, &format!("--fsize={bytes}:unlimited")]).status();
    assert!(set.expect("prlimit").success());
}
