//! Configuration: a TOML file, then the environment, then flags; unknown keys are errors.

use std::path::{Path, PathBuf};

use fillmark_store::Database;
use serde::Deserialize;

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
            Some(path) => {
                let path = path.to_owned();
                let text = std::fs::read_to_string(&path)
                    .map_err(|source| SettingsError::Unreadable { path: path.clone(), source })?;
                toml::from_str(&text)
                    .map_err(|error| SettingsError::BadFile { path, detail: error.message().to_owned() })?
            }
        };
        for (name, value) in environment.filter(|(name, _)| name.starts_with(PREFIX)) {
            settings.set(&name, value)?;
        }
        Ok(settings)
    }

    fn set(&mut self, name: &str, value: String) -> Result<(), SettingsError> {
        let whole =
            || SettingsError::BadVariable { name: name.to_owned(), expected: "a whole number above 0" };
        match name.trim_start_matches(PREFIX).to_lowercase().as_str() {
            "listen" => self.listen = value,
            "database" => self.database = value,
            "connections" => self.connections = value.parse().map_err(|_| whole())?,
            "workers" => self.workers = value.parse().map_err(|_| whole())?,
            "log_format" => self.log_format = value,
            "log" => self.log = value,
            _ => {
                let expected =
                    "one of FILLMARK__LISTEN, __DATABASE, __CONNECTIONS, __WORKERS, __LOG_FORMAT, __LOG";
                return Err(SettingsError::BadVariable { name: name.to_owned(), expected });
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
        let refused = Settings::read(None, environment(&[("FILLMARK__WORKERS", "many")])).unwrap_err();
        assert_eq!(refused.to_string(), "FILLMARK__WORKERS: expected a whole number above 0");
    }

    #[test]
    fn a_file_with_an_unknown_key_is_refused() {
        assert!(toml::from_str::<Settings>("colour = \"green\"").is_err());
        assert_eq!(toml::from_str::<Settings>("workers = 3").unwrap().workers, 3);
    }

    #[test]
    fn a_postgres_address_is_no_folder() {
        let settings = Settings { database: "postgres://u@h/d".into(), ..Settings::default() };
        assert!(matches!(settings.where_kept(), Database::Postgres { .. }));
    }
}
