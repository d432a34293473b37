//! The subcommands that answer with text: each returns what is to be printed, so that it can be tested without a process.

mod backup;
pub mod calc;
mod carry;
pub mod config;
pub(crate) mod forecast;
mod healthcheck;
pub(crate) mod rounds;
mod verify;

use comfy_table::{Table, presets};
use fillmark_api::{NewProduct, NewSite, Site};
use fillmark_client::{Client, ClientError};
use fillmark_store::StoreError;
use uuid::Uuid;

pub use backup::{BackupError, backup, restore};
pub use carry::{MoveError, carry};
pub use forecast::{causes, forecast};
pub use healthcheck::healthcheck;
pub use rounds::rounds;
pub use verify::{refuse_absent, verify, verify_against};

/// Why a command could not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum CommandError {
    /// The server refused or was not reached.
    #[error("{address} did not do it")]
    Server {
        /// Which server.
        address: String,
        /// Why.
        #[source]
        source: ClientError,
    },
    /// The server answers, but cannot do its work.
    #[error("{address} is not ready: {reasons}")]
    NotReady {
        /// Which server.
        address: String,
        /// What is missing.
        reasons: String,
    },
    /// The server did not answer in time.
    #[error("{address} did not answer within {seconds} seconds")]
    Silent {
        /// Which server.
        address: String,
        /// How long was waited.
        seconds: u64,
    },
    /// There is nothing to look at.
    #[error("there is no database at {path}")]
    NoDatabase {
        /// Where it was looked for.
        path: std::path::PathBuf,
    },
    /// The database could not be read.
    #[error("the database cannot be read")]
    Store(#[from] StoreError),
    /// Records are not what was written.
    #[error("{count} not as written:\n{broken}")]
    Broken {
        /// How many.
        count: usize,
        /// Each on a line.
        broken: String,
    },
    /// What records are to be held against is no manifest.
    #[error("there is nothing to hold the journals against")]
    Manifest(#[source] Box<BackupError>),
    /// There is no site of that name among those that the person sees.
    #[error("there is no site {name:?}; there are: {known}")]
    NoSite {
        /// The name.
        name: String,
        /// The names that there are.
        known: String,
    },
    /// There is no product of that name.
    #[error("there is no product {name:?}; there are: {known}")]
    NoProduct {
        /// The name.
        name: String,
        /// The names that there are.
        known: String,
    },
}

/// A server's client, signed in.
#[derive(Debug)]
pub struct Desk {
    address: String,
    client: Client,
}

impl Desk {
    /// Signs in at a server.
    /// # Errors
    /// [`CommandError::Server`] when it is not reached or the password does not fit.
    pub async fn sign_in(address: &str, sign_in: &str, password: &str) -> Result<Desk, CommandError> {
        let failed = |source| CommandError::Server { address: address.to_owned(), source };
        let client = Client::new(address).map_err(failed)?;
        client.sign_in(sign_in, password).await.map_err(failed)?;
        Ok(Desk { address: address.to_owned(), client })
    }

    /// The site of this name, upper and lower case alike; every site the person sees where none is named.
    async fn sites(&self, name: Option<&str>) -> Result<Vec<Site>, CommandError> {
        let all = self.told(self.client.business().all::<NewSite>("").await)?;
        let Some(name) = name else { return Ok(all) };
        let known = all.iter().map(|site| site.body.name.as_str()).collect::<Vec<_>>().join(", ");
        let found = all.into_iter().find(|site| site.body.name.to_lowercase() == name.trim().to_lowercase());
        found.map(|site| vec![site]).ok_or(CommandError::NoSite { name: name.to_owned(), known })
    }

    /// The product of this name, upper and lower case alike.
    async fn product(&self, name: &str) -> Result<Uuid, CommandError> {
        let all = self.told(self.client.business().all::<NewProduct>("").await)?;
        let found = all.iter().find(|product| product.body.name.to_lowercase() == name.trim().to_lowercase());
        found.map(|product| product.id).ok_or_else(|| CommandError::NoProduct {
            name: name.to_owned(),
            known: all.iter().map(|product| product.body.name.as_str()).collect::<Vec<_>>().join(", "),
        })
    }

    fn told<T>(&self, answer: Result<T, ClientError>) -> Result<T, CommandError> {
        answer.map_err(|source| CommandError::Server { address: self.address.clone(), source })
    }
}

pub(crate) fn table(header: &[&str]) -> Table {
    let mut table = Table::new();
    table.load_preset(presets::UTF8_FULL_CONDENSED).set_header(header);
    table
}
