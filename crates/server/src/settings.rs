//! Configuration: a TOML file, then the environment, then flags; unknown keys are errors.

use std::path::{Path, PathBuf};

use fillmark_store::Database;
use serde::Deserialize;
use tracing_subscriber::EnvFilter;

/// Everything that can be configured, with what holds when nothing is.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// Address and port to listen at. Loopback, until a proxy with TLS stands in front.
    pub listen: String,
    /// Where the records are: a folder for the embedded database, or `postgres://…`.
    pub database: String,
    /// Connections to the database.
    pub connections: u32,
    /// Worker threads.
    pub workers: usize,
    /// Whether this instance does the jobs: makes checks, finds missed ones, publishes rounds.
    pub jobs: bool,
    /// `pretty` or `json`.
    pub log_format: String,
    /// What is logged, as `tracing` filters it.
    pub log: String,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            listen: "127.0.0.1:8420".to_owned(),
            database: "./fillmark-data".to_owned(),
            connections: 8,
            workers: 2,
            jobs: true,
            log_format: "pretty".to_owned(),
            log: "info".to_owned(),
        }
    }
}

/// Why the configuration cannot be taken.
#[derive(Debug, thiserror::Error)]
pub enum SettingsError {
    /// The file cannot be read.
    #[error("cannot read {path}")]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: std::io::Error,
    },
    /// The file has a key or value that does not fit.
    #[error("{path}: {detail}")]
    BadFile {
        /// The file.
        path: PathBuf,
        /// What was expected.
        detail: String,
    },
    /// An environment variable does not fit.
    #[error("{name}: expected {expected}")]
    BadVariable {
        /// Its name.
        name: String,
        /// What was expected.
        expected: &'static str,
    },
}

const PREFIX: &str = "FILLMARK__";
const LOG_FORMATS: [&str; 2] = ["pretty", "json"];
const LOG_FILTER: &str = "a filter of tracing, for example info,fillmark_server=debug";

/// A filter in part wrong would be taken in part, and the log would lack what was asked for.
fn is_log_filter(text: &str) -> bool {
    EnvFilter::try_new(text).is_ok()
}

/// What the command line says, over everything else.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Flags {
    /// `--database`
    pub database: Option<String>,
    /// `--listen`
    pub listen: Option<String>,
}

/// The key that an environment variable sets, if it is one of ours.
pub(crate) fn key_of(variable: &str) -> Option<String> {
    variable.strip_prefix(PREFIX).map(str::to_lowercase)
}

impl Settings {
    /// The settings of a file, if one is named, and the environment on top.
    /// # Errors
    /// [`SettingsError`], naming the key.
    pub fn read(
        file: Option<&Path>,
        environment: impl Iterator<Item = (String, String)>,
    ) -> Result<Self, SettingsError> {
        let mut settings = match file {
            None => Settings::default(),
            Some(path) => Self::of_file(path)?,
        };
        for (name, value) in environment {
            if let Some(key) = key_of(&name) {
                settings.set(&name, &key, value)?;
            }
        }
        Ok(settings)
    }

    /// The same with what the command line says on top.
    #[must_use]
    pub fn with(mut self, flags: &Flags) -> Self {
        self.database = flags.database.clone().unwrap_or(self.database);
        self.listen = flags.listen.clone().unwrap_or(self.listen);
        self
    }

    /// Every key with its value as it is written in a file.
    pub fn pairs(&self) -> [(&'static str, String); 7] {
        [
            ("listen", self.listen.clone()),
            ("database", self.database.clone()),
            ("connections", self.connections.to_string()),
            ("workers", self.workers.to_string()),
            ("jobs", self.jobs.to_string()),
            ("log_format", self.log_format.clone()),
            ("log", self.log.clone()),
        ]
    }

    fn of_file(path: &Path) -> Result<Self, SettingsError> {
        let bad = |detail: &str| SettingsError::BadFile { path: path.to_owned(), detail: detail.to_owned() };
        let settings: Settings = toml::from_str(&text_of(path)?).map_err(|error| bad(error.message()))?;
        if settings.connections == 0 || settings.workers == 0 {
            return Err(bad("connections and workers: expected a whole number above 0"));
        }
        if !LOG_FORMATS.contains(&settings.log_format.as_str()) {
            return Err(bad("log_format: expected pretty or json"));
        }
        if !is_log_filter(&settings.log) {
            return Err(bad(&format!("log: expected {LOG_FILTER}")));
        }
        Ok(settings)
    }

    fn set(&mut self, name: &str, key: &str, value: String) -> Result<(), SettingsError> {
        let bad = |expected| SettingsError::BadVariable { name: name.to_owned(), expected };
        let whole = || bad("a whole number above 0");
        match key {
            "listen" => self.listen = value,
            "database" => self.database = value,
            "connections" => {
                self.connections = value.parse().ok().filter(|count| *count > 0).ok_or_else(whole)?;
            }
            "workers" => self.workers = value.parse().ok().filter(|count| *count > 0).ok_or_else(whole)?,
            "jobs" => self.jobs = value.parse().map_err(|_| bad("true or false"))?,
            "log_format" if LOG_FORMATS.contains(&value.as_str()) => self.log_format = value,
            "log_format" => return Err(bad("pretty or json")),
            "log" if is_log_filter(&value) => self.log = value,
            "log" => return Err(bad(LOG_FILTER)),
            _ => {
                return Err(bad(
                    "one of FILLMARK__LISTEN, __DATABASE, __CONNECTIONS, __WORKERS, __JOBS, __LOG_FORMAT, __LOG",
                ));
            }
        }
        Ok(())
    }

    /// The database that is meant.
    pub fn where_kept(&self) -> Database {
        if self.database.starts_with("postgres://") || self.database.starts_with("postgresql://") {
            Database::Postgres { url: self.database.clone() }
        } else {
            Database::Sqlite { path: Path::new(&self.database).join("fillmark.sqlite") }
        }
    }
}

/// The text of a settings file.
pub(crate) fn text_of(path: &Path) -> Result<String, SettingsError> {
    std::fs::read_to_string(path)
        .map_err(|source| SettingsError::Unreadable { path: path.to_owned(), source })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn environment(pairs: &[(&str, &str)]) -> impl Iterator<Item = (String, String)> {
        pairs
            .iter()
            .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
            .collect::<Vec<_>>()
            .into_iter()
    }

    #[test]
    fn the_environment_goes_before_the_defaults_and_unknown_names_are_refused() {
        let set =
            Settings::read(None, environment(&[("FILLMARK__LISTEN", "127.0.0.1:1"), ("HOME", "/")])).unwrap();
        assert_eq!(set.listen, "127.0.0.1:1");
        let refused = Settings::read(None, environment(&[("FILLMARK__LISTN", "x")])).unwrap_err();
        assert!(refused.to_string().starts_with("FILLMARK__LISTN: expected one of"));
        for wrong in ["many", "0", "-1"] {
            let refused = Settings::read(None, environment(&[("FILLMARK__WORKERS", wrong)])).unwrap_err();
            assert_eq!(refused.to_string(), "FILLMARK__WORKERS: expected a whole number above 0");
        }
        assert!(Settings::read(None, environment(&[("FILLMARK__LOG_FORMAT", "xml")])).is_err());
        let refused = Settings::read(None, environment(&[("FILLMARK__LOG", "info,store=loud")])).unwrap_err();
        assert!(refused.to_string().starts_with("FILLMARK__LOG: expected a filter"), "{refused}");
        Settings::read(None, environment(&[("FILLMARK__LOG", "info,fillmark_server=debug")])).unwrap();
        assert!(Settings::read(None, environment(&[("FILLMARK__FILLMARK__LISTEN", "x")])).is_err());
    }

    #[test]
    fn a_file_with_an_unknown_key_is_refused() {
        assert!(toml::from_str::<Settings>("colour = \"green\"").is_err());
        assert_eq!(toml::from_str::<Settings>("workers = 3").unwrap().workers, 3);
        let file = std::env::temp_dir().join(format!("fillmark-log-{}.toml", std::process::id()));
        std::fs::write(&file, "log = \"info,store=loud\"").unwrap();
        let refused = Settings::read(Some(&file), environment(&[])).unwrap_err();
        std::fs::remove_file(&file).unwrap();
        assert!(refused.to_string().contains("log: expected a filter"), "{refused}");
    }

    #[test]
    fn a_postgres_address_is_no_folder() {
        let settings = Settings { database: "postgres://u@h/d".into(), ..Settings::default() };
        assert!(matches!(settings.where_kept(), Database::Postgres { .. }));
    }
}
