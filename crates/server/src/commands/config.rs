//! What the configuration comes to, and where each value came from.

use std::path::Path;

use super::table;
use crate::Settings;
use crate::settings::{Flags, SettingsError, key_of, text_of};

/// Every effective value with its source, secrets hidden.
/// # Errors
/// [`SettingsError`] when the configuration cannot be taken.
pub fn check(
    file: Option<&Path>,
    environment: &[(String, String)],
    flags: &Flags,
) -> Result<String, SettingsError> {
    let settings = Settings::read(file, environment.iter().cloned())?.with(flags);
    let in_file: toml::Table = match file {
        Some(path) => toml::from_str(&text_of(path)?).unwrap_or_default(),
        None => toml::Table::new(),
    };
    let source = |key: &str| {
        let flagged = match key {
            "database" => flags.database.is_some(),
            "listen" => flags.listen.is_some(),
            _ => false,
        };
        // Later variables win, as they do in `Settings::read`.
        let variable =
            environment.iter().map(|(name, _)| name).rfind(|name| key_of(name).as_deref() == Some(key));
        match (flagged, variable, file) {
            (true, ..) => format!("flag --{key}"),
            (false, Some(name), _) => format!("environment {name}"),
            (false, None, Some(path)) if in_file.contains_key(key) => format!("file {}", path.display()),
            (false, None, _) => "default".to_owned(),
        }
    };
    let mut values = table(&["key", "value", "from"]);
    for (key, value) in settings.pairs() {
        values.add_row([key.to_owned(), without_secrets(&value), source(key)]);
    }
    Ok(format!("{values}\n"))
}

const HIDDEN: &str = "(hidden)";

/// Parameters of an address that tell no secret; a name may be written in many ways.
const HARMLESS: [&str; 7] = ["user", "host", "port", "dbname", "sslmode", "sslrootcert", "application_name"];

/// An address without the passwords in it. Where it is in doubt what belongs to one, too much is hidden.
fn without_secrets(value: &str) -> String {
    let Some((scheme, rest)) = value.split_once("://") else {
        // As other clients of PostgreSQL write it; here it is no address, and hidden all the same.
        let says_password = value.to_lowercase().contains("password") && value.contains('=');
        return if says_password { HIDDEN.to_owned() } else { value.to_owned() };
    };
    let rest = match rest.rsplit_once('@') {
        Some((login, host)) => match login.split_once(':') {
            Some((user, _)) => format!("{user}:{HIDDEN}@{host}"),
            None => rest.to_owned(),
        },
        None => rest.to_owned(),
    };
    let Some((place, query)) = rest.split_once('?') else { return format!("{scheme}://{rest}") };
    let parts: Vec<String> = query.split('&').map(without_secret).collect();
    format!("{scheme}://{place}?{}", parts.join("&"))
}

fn without_secret(parameter: &str) -> String {
    match parameter.split_once('=') {
        Some((name, _)) if !HARMLESS.contains(&name) => format!("{name}={HIDDEN}"),
        _ => parameter.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn hides(value: &str, expected: &str) {
        assert_eq!(without_secrets(value), expected);
    }

    #[test]
    fn no_password_is_printed() {
        hides("./fillmark-data", "./fillmark-data");
        hides("postgres://fillmark@db/fillmark", "postgres://fillmark@db/fillmark");
        hides("postgres://fillmark:s3cret@db:5432/f", "postgres://fillmark:(hidden)@db:5432/f");
        hides("postgres://fillmark:s3:c@ret@db/f", "postgres://fillmark:(hidden)@db/f");
        hides("postgres://db/f?user=u&password=s3cret", "postgres://db/f?user=u&password=(hidden)");
        hides("postgres://db/f?user=u&passwor%64=s3cret", "postgres://db/f?user=u&passwor%64=(hidden)");
        hides("host=db password=s3cret dbname=f", "(hidden)");
    }

    #[test]
    fn each_value_says_where_it_came_from() {
        let folder = std::env::temp_dir().join(format!("fillmark-config-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let file = folder.join("fillmark.toml");
        std::fs::write(&file, "workers = 4\nconnections = 5\n").unwrap();
        let environment = [
            ("FILLMARK__CONNECTIONS".to_owned(), "9".to_owned()),
            ("FILLMARK__DATABASE".to_owned(), "postgres://u:s3cret@h/d".to_owned()),
        ];
        let flags = Flags { listen: Some("0.0.0.0:80".into()), database: None };
        let text = check(Some(&file), &environment, &flags).unwrap();
        std::fs::remove_dir_all(&folder).unwrap();
        let line = |key: &str| {
            text.lines().find(|line| line.trim_start_matches(['│', ' ']).starts_with(key)).unwrap().to_owned()
        };
        assert!(line("workers").contains('4') && line("workers").contains("file "));
        assert!(line("connections").contains('9') && line("connections").contains("FILLMARK__CONNECTIONS"));
        assert!(line("listen").contains("0.0.0.0:80") && line("listen").contains("flag --listen"));
        assert!(line("log ").contains("info") && line("log ").contains("default"));
        assert!(line("database").contains("(hidden)") && !text.contains("s3cret"));
    }
}
