//! Who writes, when, and the ids they use: what each writing function wants, so that no change goes unrecorded.

use std::sync::Mutex;

use chrono::{DateTime, SubsecRound, Utc};
use fillmark_domain::Id;
use fillmark_domain::people::{Device, PersonId};
use uuid::{ContextV7, Timestamp, Uuid};

/// Makes ids that sort by the instant they were made at, and within it by their order.
#[derive(Debug, Default)]
pub struct Ids(Mutex<ContextV7>);

/// Who writes and when.
#[derive(Debug, Clone, Copy)]
pub struct Stamp<'a> {
    /// The person; nobody when a job or a device writes.
    pub by: Option<PersonId>,
    /// The device, where one writes.
    pub with: Option<Id<Device>>,
    /// The instant, in whole milliseconds.
    pub at: DateTime<Utc>,
    ids: &'a Ids,
}

impl Ids {
    /// An id for something made now.
    pub fn fresh(&self, at: DateTime<Utc>) -> Uuid {
        let context = match self.0.lock() {
            Ok(context) => context,
            // A counter that another thread left half way is still a counter.
            Err(poisoned) => poisoned.into_inner(),
        };
        let seconds = u64::try_from(at.timestamp()).unwrap_or_default();
        Uuid::new_v7(Timestamp::from_unix(&*context, seconds, at.timestamp_subsec_nanos()))
    }
}

impl<'a> Stamp<'a> {
    /// A stamp of this person, or of a job.
    pub fn new(by: Option<PersonId>, at: DateTime<Utc>, ids: &'a Ids) -> Self {
        Self { by, with: None, at: at.trunc_subsecs(3), ids }
    }

    /// The same, of a device.
    #[must_use]
    pub fn sent_with(self, device: Option<Id<Device>>) -> Self {
        Self { with: device, ..self }
    }

    /// A new id.
    pub fn fresh<W>(&self) -> Id<W> {
        Id::new(self.ids.fresh(self.at))
    }
}
