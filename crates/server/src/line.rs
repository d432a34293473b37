//! What can be said on the command line.

mod calc;

use std::path::PathBuf;

use crate::Settings;
use crate::settings::{Flags, SettingsError, a_database};
use actix_web::http::Uri;
use chrono::NaiveDate;
use clap::{Args, Parser, Subcommand};

pub(crate) use calc::{Calc, unit_question};

const EXIT_CODES: &str = "Exit codes: 0 done; 1 failed, with the reason on standard error; \
    2 the command line cannot be read.";

/// The operations server of a hydroponic business.
#[derive(Parser)]
#[command(name = "fillmark", version, about, after_help = EXIT_CODES)]
pub(crate) struct Line {
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Subcommand)]
pub(crate) enum Command {
    /// Run the server.
    #[command(after_help = EXIT_CODES)]
    Serve(Common),
    /// Make an invented business with a year of history, show it, and serve it.
    #[command(after_help = EXIT_CODES)]
    Demo(DemoLine),
    /// Bring the database's schema up and stop.
    #[command(after_help = EXIT_CODES)]
    Migrate(Common),
    /// Look whether journals, entries, slips and balances are what was written. Exits with 1 when one is not.
    ///
    /// It looks at every entry of each journal and its chain of hashes; at all that the journal tells of, whether it is so; at
    /// the movements of slips, whether they make the amount, or are the opposites of what they take back; and at balances,
    /// whether they are the sums of their movements. It does not hold what a count changed, names of people, which can be
    /// erased, what a check was planned as, instants of movements, rounds, offers, notes, transfers and alerts against the journal.
    #[command(after_help = EXIT_CODES)]
    Verify {
        #[command(flatten)]
        common: Common,
        /// The manifest of a backup of this database, or the folder with it: also look whether each journal still holds the
        /// entry at which it stood then. Without it nobody can tell that the end of a journal was cut off.
        #[arg(long, value_name = "MANIFEST")]
        against: Option<PathBuf>,
    },
    /// Copy the embedded database, in use or not, into a new folder with a manifest.
    #[command(after_help = EXIT_CODES)]
    Backup {
        #[command(flatten)]
        common: Common,
        /// In which folder the new one is made.
        #[arg(long)]
        to: PathBuf,
    },
    /// Put a backup in the place of an embedded database, where there is none.
    #[command(after_help = EXIT_CODES)]
    Restore {
        #[command(flatten)]
        common: Common,
        /// The folder that a backup made.
        #[arg(long)]
        from: PathBuf,
        /// Look at the records first, as verify does.
        #[arg(long)]
        verify: bool,
    },
    /// Carry an embedded database that no server is on to an empty one of PostgreSQL.
    #[command(after_help = EXIT_CODES)]
    Move {
        #[command(flatten)]
        common: Common,
        /// Where to, as postgres://…
        #[arg(long)]
        to: String,
    },
    /// Calculate solutions, acids, units, air and meters: needs no server and no database.
    #[command(subcommand, after_help = EXIT_CODES)]
    Calc(Calc),
    /// Print the OpenAPI document.
    #[command(after_help = EXIT_CODES)]
    Openapi,
    /// Do at the machine what nobody is signed in for yet.
    #[command(subcommand)]
    Admin(Admin),
    /// Say whether a server is ready; exits with 0 when it is and with 1 when it is not.
    #[command(after_help = EXIT_CODES)]
    Healthcheck {
        /// Where the server is.
        #[arg(long, default_value = HERE, value_parser = of_server)]
        address: String,
    },
    /// Look at the configuration.
    #[command(subcommand)]
    Config(Config),
    /// Print a day's rounds: one table a person, what nobody can do, why and what would help. The password is read from
    /// FILLMARK_PASSWORD or from standard input.
    #[command(after_help = EXIT_CODES)]
    Rounds {
        #[command(flatten)]
        at: At,
        /// The local day, as with --day.
        #[arg(value_name = "DATE", conflicts_with = "day", value_parser = a_day)]
        date: Option<NaiveDate>,
        /// The local day, as 2026-11-24; today where it is left out.
        #[arg(long, value_parser = a_day)]
        day: Option<NaiveDate>,
    },
    /// Print what will be used and what to order by when. The password is read as for rounds.
    #[command(after_help = EXIT_CODES)]
    Forecast {
        #[command(flatten)]
        at: At,
        /// How many days to look ahead.
        #[arg(long, default_value_t = 90, value_parser = clap::value_parser!(u16).range(1..=365))]
        days: u16,
        /// Take the use of this product apart instead: on which day, why, and in which tank.
        #[arg(long, value_name = "NAME")]
        product: Option<String>,
    },
}

const HERE: &str = "http://127.0.0.1:8420";

fn a_day(text: &str) -> Result<NaiveDate, String> {
    text.parse().map_err(|_| "expected a day such as 2026-11-24".to_owned())
}

/// The address of a server, which says how it is spoken to.
fn of_server(text: &str) -> Result<String, String> {
    let uri: Option<Uri> = text.parse().ok();
    let is_whole =
        uri.is_some_and(|uri| uri.host().is_some() && matches!(uri.scheme_str(), Some("http" | "https")));
    is_whole.then(|| text.to_owned()).ok_or_else(|| format!("expected an address such as {HERE}"))
}

#[derive(Subcommand)]
pub(crate) enum Config {
    /// Print every effective value and where it came from; exits with 1 when the configuration cannot be taken.
    #[command(after_help = EXIT_CODES)]
    Check(Common),
}

#[derive(Args)]
pub(crate) struct At {
    /// Where the server is.
    #[arg(long, default_value = HERE, value_parser = of_server)]
    pub(crate) address: String,
    /// What the person signs in with.
    #[arg(long)]
    pub(crate) sign_in: String,
    /// The name of one site; every site the person sees where it is left out.
    #[arg(value_name = "SITE", conflicts_with = "named")]
    place: Option<String>,
    /// The same.
    #[arg(id = "named", long = "site", value_name = "SITE")]
    named: Option<String>,
}

impl At {
    /// The name of one site.
    pub(crate) fn site(&self) -> Option<&str> {
        self.place.as_deref().or(self.named.as_deref())
    }
}

#[derive(Subcommand)]
pub(crate) enum Admin {
    /// Make an owner of every site. The password is read from FILLMARK_PASSWORD or from standard input.
    #[command(after_help = EXIT_CODES)]
    Create {
        #[command(flatten)]
        common: Common,
        /// As colleagues call them.
        #[arg(long)]
        name: String,
        /// What they sign in with.
        #[arg(long)]
        sign_in: String,
    },
}

#[derive(Args)]
pub(crate) struct DemoLine {
    /// Remove the demo that is there and make it anew.
    #[arg(long)]
    pub(crate) fresh: bool,
    /// Print what there is to see and stop.
    #[arg(long)]
    pub(crate) once: bool,
    /// Where the demo lives.
    #[arg(long, default_value = "./fillmark-demo")]
    pub(crate) folder: PathBuf,
    /// Address and port to listen at.
    #[arg(long)]
    pub(crate) listen: Option<String>,
}

#[derive(Args)]
pub(crate) struct Common {
    /// A TOML file of settings.
    #[arg(long)]
    pub(crate) config: Option<PathBuf>,
    /// Where the records are: a folder, or postgres://…
    #[arg(long, value_parser = a_database)]
    pub(crate) database: Option<String>,
    /// Address and port to listen at.
    #[arg(long)]
    pub(crate) listen: Option<String>,
}

impl Common {
    pub(crate) fn settings(&self) -> Result<Settings, SettingsError> {
        Ok(Settings::read(self.config.as_deref(), std::env::vars())?.with(&self.flags()))
    }

    pub(crate) fn flags(&self) -> Flags {
        Flags { database: self.database.clone(), listen: self.listen.clone() }
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[track_caller]
    fn check(words: &[&str], site: Option<&str>) {
        let line = ["fillmark"].iter().chain(words).chain(&["--sign-in", "ada"]);
        match Line::try_parse_from(line).unwrap().command {
            Command::Rounds { at, .. } | Command::Forecast { at, .. } => assert_eq!(at.site(), site),
            _ => panic!("{words:?} is another command"),
        }
    }

    #[test]
    fn a_site_is_named_alike_for_rounds_and_forecast() {
        for command in ["rounds", "forecast"] {
            check(&[command], None);
            check(&[command, "Harbour"], Some("Harbour"));
            check(&[command, "--site", "Harbour"], Some("Harbour"));
            let twice = ["fillmark", command, "Harbour", "--site", "Quay", "--sign-in", "ada"];
            assert!(Line::try_parse_from(twice).is_err());
        }
        check(&["rounds", "Harbour", "2026-11-24"], Some("Harbour"));
    }
}
