//! What was entered of a tank as far as whoever learns from it needs it: months of it are read for each advice.

use chrono::{DateTime, Utc};

use crate::entries::{Addition, AdditionReason, Meter, Reading, SamplePoint};
use crate::stock::ProductId;
use crate::{Amount, Base, Id, Metric};

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
    /// What was poured.
    pub poured: SeenPour,
    /// Why.
    pub reason: AdditionReason,
    /// Whether it was entered with a tank change.
    pub with_change: bool,
    /// When it was done.
    pub recorded_at: DateTime<Utc>,
}

/// What was poured, whatever lots it came from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SeenPour {
    /// So much of a product.
    Product {
        /// Which.
        product: ProductId,
        /// How much.
        amount: Amount,
        /// What it is counted in.
        base: Base,
    },
    /// Water.
    Water {
        /// L.
        litres: f64,
    },
}
