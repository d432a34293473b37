//! What every action has at hand: the store, the clock and the maker of ids.

use std::fmt;
use std::sync::Arc;

use chrono::{DateTime, SubsecRound, Utc};
use fillmark_domain::places::SiteId;
use fillmark_store::readings::KeptReading;
use fillmark_store::{Ids, Stamp, Store, Unit};
use tokio::sync::Semaphore;
use uuid::Uuid;

use crate::readings::ReadingEntry;
use crate::together::Lines;
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
    shared: Arc<Shared>,
}

/// What all requests share, and no unit of work has for itself.
#[derive(Debug)]
pub(crate) struct Shared {
    ids: Ids,
    /// Turns to hash passwords.
    pub(crate) hashing: Arc<Semaphore>,
    /// Readings that wait to be kept together.
    pub(crate) readings: Lines<SiteId, (Caller, ReadingEntry), Result<KeptReading, Refusal>>,
    /// Sessions that wait to be looked up together.
    pub(crate) callers: Lines<(), Uuid, Result<Caller, Refusal>>,
}

impl App {
    /// An application on a store.
    pub fn new(store: Store, clock: Arc<dyn Clock>) -> Self {
        let shared = Shared {
            ids: Ids::default(),
            // Two passwords are hashed at a time: more would only make every sign-in slower.
            hashing: Arc::new(Semaphore::new(2)),
            readings: Lines::default(),
            callers: Lines::default(),
        };
        Self { store, clock, shared: Arc::new(shared) }
    }

    pub(crate) fn shared(&self) -> &Shared {
        &self.shared
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
        Stamp::new(caller.person(), self.now(), &self.shared.ids)
    }

    /// The stamp of a change that nobody signed for: a job's, or the first owner's own beginning.
    pub fn unsigned(&self) -> Stamp<'_> {
        Stamp::new(None, self.now(), &self.shared.ids)
    }
}
