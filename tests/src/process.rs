//! The server as its user starts it: a process of its own, which can be killed.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use crate::fresh::Fresh;

/// How long a server may take before it counts as one that does not start: far more than it needs.
const PATIENCE: Duration = Duration::from_secs(30);

/// How often it is asked whether it is ready.
const PAUSE: Duration = Duration::from_millis(5);

/// A server that runs as a process of its own.
#[derive(Debug)]
pub struct Process {
    /// `http://address:port`
    pub address: String,
    /// From its start until it said that it is ready.
    pub ready_after: Duration,
    child: Child,
}

impl Process {
    /// Starts a server on a database, at an address that stays the same over its restarts.
    /// # Panics
    /// When it does not come up; its log is told.
    pub async fn serve(fresh: &Fresh, listen: &str) -> Process {
        Self::start(fresh, listen, Command::new(binary()).arg("serve")).await
    }

    /// Starts a server by a command line of the shell, in which `"$0"` is the server's binary.
    /// # Panics
    /// When it does not come up; its log is told.
    pub async fn serve_by_shell(fresh: &Fresh, listen: &str, line: &str) -> Process {
        Self::start(fresh, listen, Command::new("bash").args(["-c", line]).arg(binary())).await
    }

    async fn start(fresh: &Fresh, listen: &str, command: &mut Command) -> Process {
        let log = fresh.folder.path().join("server.log");
        let written = File::options().create(true).append(true).open(&log).expect("a log");
        let began = Instant::now();
        let child = configured(command, fresh, listen).stderr(written).spawn().expect("a process");
        let address = format!("http://{listen}");
        let mut process = Process { address, ready_after: Duration::ZERO, child };
        while !process.is_ready().await {
            let ended = process.child.try_wait().expect("a child");
            let said = || std::fs::read_to_string(&log).unwrap_or_default();
            assert!(ended.is_none(), "the server ended by itself: {}", said());
            assert!(began.elapsed() < PATIENCE, "the server does not come up: {}", said());
            tokio::time::sleep(PAUSE).await;
        }
        process.ready_after = began.elapsed();
        process
    }

    /// Whether it says that it is ready.
    pub async fn is_ready(&self) -> bool {
        fillmark_server::commands::healthcheck(&self.address).await.is_ok()
    }

    /// The number of its process.
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Ends it as a power cut does: nothing is finished.
    pub fn kill(mut self) {
        self.child.kill().expect("a process to kill");
        self.child.wait().expect("its end");
    }

    /// Tells it to stop and waits until it did.
    pub async fn stop(mut self) {
        self.signal("TERM");
        let ended = tokio::task::spawn_blocking(move || self.child.wait()).await;
        assert!(ended.expect("a thread").expect("its end").success(), "it stopped in order");
    }

    /// Sends it a signal by its name.
    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill").args([&format!("-{name}"), &self.pid().to_string()]).status();
        assert!(sent.expect("kill").success());
    }
}

/// A command line of the server with the settings of a fresh database, saying little.
pub(crate) fn configured<'a>(command: &'a mut Command, fresh: &Fresh, listen: &str) -> &'a mut Command {
    command
        .env("FILLMARK__DATABASE", &fresh.settings.database)
        .env("FILLMARK__LISTEN", listen)
        .env("FILLMARK__CONNECTIONS", fresh.settings.connections.to_string())
        .env("FILLMARK__PASSWORD_PASSES", fresh.settings.password_passes.to_string())
        .env("FILLMARK__LOG", "warn")
        .stdout(Stdio::null())
}

/// An address of this machine that nobody listens at.
pub fn free_address() -> String {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("an address");
    listener.local_addr().expect("its port").to_string()
}

/// Runs a subcommand of the server's binary on a database to its end, and answers what it printed.
/// # Errors
/// What it printed to standard error, where it failed.
pub fn run(fresh: &Fresh, arguments: &[&str]) -> Result<String, String> {
    let output = Command::new(binary())
        .args(arguments)
        .env("FILLMARK__DATABASE", &fresh.settings.database)
        .output()
        .expect("a process");
    let (said, failed) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    if output.status.success() { Ok(said.into_owned()) } else { Err(failed.into_owned()) }
}

/// The server's binary, of the same profile as these tests, built from the code as it is.
pub fn binary() -> &'static Path {
    static BINARY: OnceLock<PathBuf> = OnceLock::new();
    BINARY.get_or_init(|| {
        let own = std::env::current_exe().expect("the path of this binary");
        let profile = own.ancestors().find(|folder| folder.join(".fingerprint").exists());
        let profile = profile.expect("a folder that cargo builds in");
        let mut build = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
        // The whole workspace, so that dependencies have the features they were built with for these tests.
        build.args(["build", "--quiet", "--locked", "--workspace", "--bin", "fillmark", "--target-dir"]);
        build.arg(profile.parent().expect("the target folder"));
        build.current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."));
        if profile.ends_with("release") {
            build.arg("--release");
        }
        assert!(build.status().expect("cargo").success(), "the server's binary is built");
        profile.join("fillmark")
    })
}
