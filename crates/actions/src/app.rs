//! What every action has at hand: the store, the clock and the maker of ids.

use std::fmt;
use std::sync::Arc;

use chrono::{DateTime, SubsecRound, Utc};
use fillmark_domain::places::SiteId;
use fillmark_store::readings::KeptReading;
use fillmark_store::{Ids, Stamp, Store, Unit};
use uuid::Uuid;

use crate::dosing::Expected;
use crate::passwords::{self, Hashing};
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
    /// How passwords are hashed, and whose turn it is.
    pub(crate) hashing: Hashing,
    /// Readings that wait to be kept together.
    pub(crate) readings: Lines<SiteId, (Caller, ReadingEntry), Result<KeptReading, Refusal>>,
    /// Sessions that wait to be looked up together.
    pub(crate) callers: Lines<(), Uuid, Result<Caller, Refusal>>,
    /// What chemistry expects of steps and their labels, which takes longer to find than all that is learnt from records.
    pub(crate) priors: Expected,
}

impl App {
    /// An application on a store.
    pub fn new(store: Store, clock: Arc<dyn Clock>) -> Self {
        Self::new_hashing_in(store, clock, passwords::PASSES)
    }

    /// The same, which hashes passwords in so many passes: the more, the slower to sign in and to guess.
    #[must_use]
    pub fn hashing_in(self, passes: u32) -> Self {
        Self::new_hashing_in(self.store, self.clock, passes)
    }

    fn new_hashing_in(store: Store, clock: Arc<dyn Clock>, passes: u32) -> Self {
        let shared = Shared {
            ids: Ids::default(),
            hashing: Hashing::new(passes),
            readings: Lines::default(),
            callers: Lines::default(),
            priors: Expected::default(),
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
        Stamp::new(caller.person(), self.now(), &self.shared.ids).sent_with(caller.sent_with())
    }

    /// The stamp of a change that nobody signed for: a job's, or the first owner's own beginning.
    pub fn unsigned(&self) -> Stamp<'_> {
        Stamp::new(None, self.now(), &self.shared.ids)
    }
}
