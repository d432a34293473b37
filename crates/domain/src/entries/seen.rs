//! What was entered of a tank as far as whoever learns from it needs it: months of it are read for each advice.

use chrono::{DateTime, Utc};

use crate::entries::{Addition, AdditionReason, Measured, Meter, Reading, SamplePoint};
use crate::{Id, Metric};

/// A reading that stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeenReading {
    /// Its id.
    pub id: Id<Reading>,
    /// What was read.
    pub metric: Metric,
    /// Where the sample was taken.
    pub sample_point: SamplePoint,
    /// In the metric's canonical unit.
    pub value: f64,
    /// By which meter.
    pub meter: Option<Id<Meter>>,
    /// [`Reading::taken_at`].
    pub taken_at: DateTime<Utc>,
}

/// An addition that stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeenAddition {
    /// Its id.
    pub id: Id<Addition>,
    /// What was poured, whatever lots it came from.
    pub poured: Measured,
    /// Why.
    pub reason: AdditionReason,
    /// Whether it was entered with a tank change.
    pub with_change: bool,
    /// When it was done.
    pub recorded_at: DateTime<Utc>,
}
