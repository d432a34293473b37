//! What an action can answer instead of doing what was asked.

use std::fmt::Display;

use fillmark_domain::Faults;
use fillmark_domain::people::Act;
use fillmark_store::{BrokenRow, StoreError};

/// Why nothing was done.
#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// Nobody is signed in, or no longer.
    #[error("not signed in")]
    NotSignedIn,
    /// Name and password do not fit.
    #[error("sign-in name and password do not fit")]
    WrongPassword,
    /// Too many sign-ins failed before.
    #[error("too many sign-ins failed; the next may be tried in {wait_s} s")]
    TooSoon {
        /// How long the next has to wait, s.
        wait_s: i64,
    },
    /// The caller sees it but may not do this.
    #[error("the role does not allow this: {0:?}")]
    NotAllowed(Act),
    /// The caller sees it, but it is for somebody else to do: who, in words.
    #[error("{0}")]
    NotTheirs(String),
    /// There is no such record where the caller may look.
    #[error("there is no such record")]
    NotFound,
    /// The record has changed since the version that the caller saw.
    #[error("the record has changed since")]
    Stale,
    /// A name that is in use.
    #[error("the name is in use")]
    Taken,
    /// What was entered cannot be taken.
    #[error("what was entered cannot be taken: {0}")]
    Invalid(Faults),
    /// What was entered can be, but is asked back: to be confirmed.
    #[error("what was entered is asked back: {0}")]
    Unconfirmed(Faults),
    /// Something else depends on it, or its state does not allow this.
    #[error("{0}")]
    Conflict(String),
    /// The ledger holds less than was asked.
    #[error("less is in stock than was asked: {0}")]
    OutOfStock(Faults),
    /// The same client id came before with other content.
    #[error("the client id was used for other content")]
    ClientIdReused,
    /// A request under the same key is under way.
    #[error("a request under the same key is under way")]
    KeyInUse,
    /// The same request key came before with another body.
    #[error("the request key was used for another body")]
    KeyReused,
    /// The database is not available.
    #[error("the database is not available")]
    Unavailable(#[source] StoreError),
    /// Our own fault; the log has it.
    #[error("the server failed")]
    Failed(#[source] Failure),
}

/// Our own fault.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The store failed.
    #[error(transparent)]
    Store(StoreError),
    /// A hash could not be made or read.
    #[error("a password could not be hashed: {0}")]
    Hashing(String),
    /// A task ended before its answer.
    #[error("a task was cut off")]
    CutOff(#[from] tokio::task::JoinError),
}

impl From<StoreError> for Refusal {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Taken(_) => Refusal::Taken,
            StoreError::Unavailable(_) | StoreError::Held(_) => Refusal::Unavailable(error),
            error => Refusal::Failed(Failure::Store(error)),
        }
    }
}

impl From<BrokenRow> for Refusal {
    fn from(error: BrokenRow) -> Self {
        Refusal::Failed(Failure::Store(error.into()))
    }
}

impl From<Faults> for Refusal {
    fn from(faults: Faults) -> Self {
        Refusal::Invalid(faults)
    }
}

impl Refusal {
    /// Whether it is about what was entered, so that another entry may still be taken.
    pub fn is_about_the_entry(&self) -> bool {
        match self {
            Refusal::NotFound
            | Refusal::Invalid(_)
            | Refusal::Unconfirmed(_)
            | Refusal::Conflict(_)
            | Refusal::OutOfStock(_)
            | Refusal::ClientIdReused => true,
            Refusal::NotSignedIn
            | Refusal::WrongPassword
            | Refusal::TooSoon { .. }
            | Refusal::NotAllowed(_)
            | Refusal::NotTheirs(_)
            | Refusal::Stale
            | Refusal::Taken
            | Refusal::KeyInUse
            | Refusal::KeyReused
            | Refusal::Unavailable(_)
            | Refusal::Failed(_) => false,
        }
    }

    /// The refusal of a part, its fields named under the part's own pointer.
    pub fn within(self, pointer: &str) -> Self {
        let under = |faults| {
            let mut all = Faults::default();
            all.within(pointer, faults);
            all
        };
        match self {
            Refusal::Invalid(faults) => Refusal::Invalid(under(faults)),
            Refusal::Unconfirmed(faults) => Refusal::Unconfirmed(under(faults)),
            Refusal::OutOfStock(faults) => Refusal::OutOfStock(under(faults)),
            other => other,
        }
    }

    /// Nothing to refuse where nothing was found; else a single field to be confirmed.
    /// # Errors
    /// [`Refusal::Unconfirmed`] with what was found.
    pub fn unless_confirmed<D: Display>(
        pointer: &str,
        code: &'static str,
        doubt: Option<D>,
    ) -> Result<(), Self> {
        let Some(doubt) = doubt else { return Ok(()) };
        let mut faults = Faults::default();
        faults.add(pointer, code, doubt.to_string());
        Err(Refusal::Unconfirmed(faults))
    }

    /// A single field that cannot be taken.
    pub fn invalid(pointer: &str, code: &'static str, detail: impl Into<String>) -> Self {
        let mut faults = Faults::default();
        faults.add(pointer, code, detail);
        Refusal::Invalid(faults)
    }
}
