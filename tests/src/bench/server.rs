//! The servers that are measured: each a process of its own, stopped when dropped.

use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::load::{Visitor, get};
use crate::fresh::Fresh;
use crate::process::{binary, configured, free_address};

/// How long a server may take to come up.
const PATIENCE: Duration = Duration::from_secs(30);

/// How often it is asked whether it has.
const PAUSE: Duration = Duration::from_micros(500);

/// So many parts of a second the kernel counts processor time in (`getconf CLK_TCK`, the same on all of Linux).
const TICKS: f64 = 100.0;

/// A server that runs.
#[derive(Debug)]
pub struct Server {
    /// `address:port`
    pub address: String,
    /// From its start to its first good answer.
    pub ready_after: Duration,
    child: Child,
}

impl Server {
    /// Ours.
    /// # Panics
    /// When it does not come up.
    pub async fn ours(fresh: &Fresh) -> Server {
        let listen = free_address();
        let mut command = Command::new(binary());
        configured(command.arg("serve"), fresh, &listen);
        Self::start(command, listen, "/readyz").await
    }

    /// The bare one, which is this program itself.
    /// # Panics
    /// When it does not come up.
    pub async fn bare(database: &str) -> Server {
        let listen = free_address();
        let mut command = Command::new(std::env::current_exe().expect("the path of this binary"));
        command.args(["bare", "--database", database, "--listen", &listen]);
        Self::start(command, listen, "/hello").await
    }

    async fn start(mut command: Command, address: String, path: &str) -> Server {
        let began = Instant::now();
        let child = command.stdout(Stdio::null()).spawn().expect("a process");
        let mut server = Server { address, ready_after: Duration::ZERO, child };
        while !server.is_ready(path).await {
            assert!(began.elapsed() < PATIENCE, "the server does not come up");
            tokio::time::sleep(PAUSE).await;
        }
        server.ready_after = began.elapsed();
        server
    }

    async fn is_ready(&self, path: &str) -> bool {
        match Visitor::connect(&self.address).await {
            Ok(mut visitor) => visitor.ask(&get(path, "")).await.is_ok_and(|(status, _)| status == 200),
            Err(_) => false,
        }
    }

    /// Processor time that it has taken, in seconds.
    /// # Panics
    /// When the kernel does not say.
    pub fn cpu_s(&self) -> f64 {
        let text = std::fs::read_to_string(format!("/proc/{}/stat", self.child.id())).expect("its figures");
        // After the name, which is in parentheses, stand the state and ten other fields, then user and system time.
        let fields: Vec<&str> = text.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
        let ticks = |at: usize| fields.get(at).and_then(|field| field.parse::<f64>().ok()).expect("a time");
        (ticks(11) + ticks(12)) / TICKS
    }

    /// Memory that it has in use, in MB.
    /// # Panics
    /// When the kernel does not say.
    pub fn resident_mb(&self) -> f64 {
        let text = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).expect("its figures");
        let line = text.lines().find_map(|line| line.strip_prefix("VmRSS:")).expect("its memory");
        let kb: f64 = line.trim().trim_end_matches(" kB").parse().expect("a number");
        kb * 1024.0 / 1e6
    }

    /// Tells it to stop and waits until it did.
    /// # Panics
    /// When it fails at that.
    pub fn stop(mut self) {
        let sent = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        assert!(sent.expect("kill").success());
        assert!(self.child.wait().expect("its end").success(), "it stopped in order");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // One that was stopped is gone already.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
