//! A PostgreSQL server of a test's own, which can be restarted under a server that uses it.

use std::path::PathBuf;
use std::process::{Command, Stdio};

use tempfile::TempDir;

/// A PostgreSQL server on loopback that waits for the disk as in production; stopped when dropped.
#[derive(Debug)]
pub struct Cluster {
    folder: TempDir,
    programs: PathBuf,
    port: u16,
}

/// How a PostgreSQL server is stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stop {
    /// Transactions are broken off, the files are left in order.
    Fast,
    /// As by a crash: the next start recovers from the log.
    Immediate,
}

impl Cluster {
    /// Makes and starts one.
    /// # Panics
    /// When PostgreSQL is not installed or does not start.
    pub fn start() -> Cluster {
        let folder = TempDir::new().expect("a folder");
        let port = std::net::TcpListener::bind("127.0.0.1:0").and_then(|listener| listener.local_addr());
        let cluster = Cluster { folder, programs: programs(), port: port.expect("a port").port() };
        if is_root() {
            let owned = Command::new("chown").arg("postgres").arg(cluster.folder.path()).status();
            assert!(owned.expect("chown").success());
        }
        let place = cluster.folder.path().display();
        cluster.run("initdb", &format!("-D {place}/db -A trust -U fillmark --locale=C.UTF-8 -E UTF8"));
        cluster.begin();
        cluster
    }

    /// What it has written to its log.
    /// # Panics
    /// When the log cannot be read.
    pub fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("log")).expect("a log")
    }

    /// Where a database of it is.
    pub fn url(&self, database: &str) -> String {
        format!("postgres://fillmark@127.0.0.1:{}/{database}", self.port)
    }

    /// Stops and starts it.
    /// # Panics
    /// When it does not.
    pub fn restart(&self, how: Stop) {
        self.end(how);
        self.begin();
    }

    fn begin(&self) {
        let (place, port) = (self.folder.path().display(), self.port);
        let options = format!("-c listen_addresses=127.0.0.1 -p {port} -k {place} -c max_connections=100");
        self.run("pg_ctl", &format!("-D {place}/db -w -l {place}/log -o '{options}' start"));
    }

    fn end(&self, how: Stop) {
        let mode = match how {
            Stop::Fast => "fast",
            Stop::Immediate => "immediate",
        };
        self.run("pg_ctl", &format!("-D {}/db -w -m {mode} stop", self.folder.path().display()));
    }

    /// Runs a program of PostgreSQL, which refuses to be run by root.
    fn run(&self, program: &str, arguments: &str) {
        let line = format!("{}/{program} {arguments}", self.programs.display());
        let mut command = if is_root() { Command::new("su") } else { Command::new("bash") };
        if is_root() {
            command.args(["postgres", "-s", "/bin/bash"]);
        }
        let ended = command.args(["-c", &line]).stdout(Stdio::null()).status();
        assert!(ended.expect("a shell").success(), "{line}");
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        self.end(Stop::Immediate);
    }
}

/// The newest PostgreSQL that Debian's packages put on this machine.
fn programs() -> PathBuf {
    let versions = std::fs::read_dir("/usr/lib/postgresql").expect("PostgreSQL; tests/run installs it");
    let number = |path: &PathBuf| path.file_name()?.to_str()?.parse::<u32>().ok();
    let folders = versions.filter_map(|entry| Some(entry.ok()?.path()));
    folders.max_by_key(number).expect("a version of PostgreSQL").join("bin")
}

fn is_root() -> bool {
    let told = Command::new("id").arg("-u").output().expect("id");
    told.stdout.trim_ascii() == b"0"
}
