//! What every action has at hand: the store, the clock and the maker of ids.

use std::fmt;
use std::sync::Arc;

use chrono::{DateTime, SubsecRound, Utc};
use fillmark_store::{Ids, Stamp, Store, Unit};

use crate::passwords::{self, Hashing};
use crate::{Caller, Refusal};

/// Tells the time. The server's is the machine's; tests and replays move theirs.
pub trait Clock: Send + Sync + fmt::Debug {
    /// The instant it is.
    fn now(&self) -> DateTime<Utc>;
}

/// The application: made once, shared by all requests and jobs.
#[derive(Debug, Clone)]
pub struct App {
    /// Where the records are.
    pub store: Store,
    /// What time it is.
    pub clock: Arc<dyn Clock>,
    ids: Arc<Ids>,
    pub(crate) hashing: Arc<Hashing>,
}

impl App {
    /// An application on a store.
    pub fn new(store: Store, clock: Arc<dyn Clock>) -> Self {
        Self { store, clock, ids: Arc::default(), hashing: Arc::new(Hashing::new(passwords::PASSES)) }
    }

    /// The same, which hashes passwords in so many passes: the more, the slower to sign in and to guess.
    #[must_use]
    pub fn hashing_in(self, passes: u32) -> Self {
        Self { hashing: Arc::new(Hashing::new(passes)), ..self }
    }

    /// Begins a unit of work: all that is done through the application that comes with it is kept together by the unit's
    /// commit, or not at all.
    /// # Errors
    /// When the database fails.
    pub async fn unit(&self) -> Result<(App, Unit), Refusal> {
        let (store, unit) = self.store.unit().await?;
        Ok((Self { store, ..self.clone() }, unit))
    }

    /// Now, in the whole milliseconds that both databases keep.
    pub fn now(&self) -> DateTime<Utc> {
        self.clock.now().trunc_subsecs(3)
    }

    /// The stamp of a caller's change.
    pub fn stamp(&self, caller: &Caller) -> Stamp<'_> {
        Stamp::new(caller.person(), self.now(), &self.ids).sent_with(caller.sent_with())
    }

    /// The stamp of a change that nobody signed for: a job's, or the first owner's own beginning.
    pub fn unsigned(&self) -> Stamp<'_> {
        Stamp::new(None, self.now(), &self.ids)
    }
}
