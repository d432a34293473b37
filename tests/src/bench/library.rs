//! A general-purpose library for Python, fetched into a folder of its own and asked line by line.

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use serde::Deserialize;
use serde_json::Value;
use tempfile::TempDir;

/// The library, running until it is dropped.
pub struct Library {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
    _folder: TempDir,
}

/// How fast it answered, and what.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Answered {
    /// Times a second.
    pub per_second: f64,
    /// The figure.
    pub value: f64,
    /// The most memory it held, where it says so.
    #[serde(default)]
    pub peak_mb: Option<f64>,
}

impl Library {
    /// Fetches a package from the index of Python's packages, as `name==version`, and starts the script that asks it.
    /// # Errors
    /// What is missing for that, in a sentence.
    /// # Panics
    /// When there is no folder for it.
    pub fn fetch(package: &str, script: &str) -> Result<Library, String> {
        let folder = TempDir::new().expect("a folder");
        let (inside, asker) = (folder.path().join("venv"), folder.path().join("asker.py"));
        run(Command::new("python3").args(["-m", "venv"]).arg(&inside))?;
        let python = inside.join("bin/python");
        run(Command::new(&python).args(["-m", "pip", "install", "--quiet", package]))?;
        std::fs::write(&asker, script).map_err(|error| error.to_string())?;
        let piped = Command::new(&python).arg(&asker).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
        let mut child = piped.map_err(|error| error.to_string())?;
        let (to, from) = (child.stdin.take().expect("a pipe"), child.stdout.take().expect("a pipe"));
        Ok(Library { child, to, from: BufReader::new(from), _folder: folder })
    }

    /// Asks a question for as long as it says.
    /// # Panics
    /// When there is no answer; the library itself says why on standard error.
    pub fn ask(&mut self, question: &Value) -> Answered {
        writeln!(self.to, "{question}").expect("the library runs");
        let mut line = String::new();
        self.from.read_line(&mut line).expect("the library runs");
        serde_json::from_str(&line).expect("an answer")
    }
}

impl Drop for Library {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

fn run(command: &mut Command) -> Result<(), String> {
    let told = format!("{:?}", command.get_program());
    let done = command.stdout(Stdio::null()).output().map_err(|error| format!("{told}: {error}"))?;
    match done.status.success() {
        true => Ok(()),
        false => Err(format!("{told}: {}", String::from_utf8_lossy(&done.stderr).trim())),
    }
}
