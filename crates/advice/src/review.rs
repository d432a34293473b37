//! How well it went: compliance of a room, yield of a cycle. Each figure comes with its number of
//! observations, since a share of 100 % of two checks says little.

pub mod changes;
pub mod compliance;
pub mod concentrate;
pub mod cycles;
pub mod excursion;
pub mod room;
#[cfg(test)]
mod rows;
pub mod share;
pub mod signed;
pub mod standing;
#[cfg(test)]
pub(crate) mod testing;
pub mod trace;
pub mod welch;
pub mod yields;

pub use changes::{CHANGE_GRACE, changes_due, days_of_changes};
pub use compliance::{ChangeDue, InBand, Punctuality, changes_on_time, punctuality, readings_in_band};
pub use concentrate::{Concentrate, UnitPrices, cheapest, poured_for};
pub use cycles::{CycleRecords, CycleYield, cycle_yields};
pub use excursion::{Excursion, Joining, Side};
pub use room::{RoomCompliance, RoomRecords, Series, room_compliance};
pub use share::{Interval, Share};
pub use signed::{DayReviewed, DayStanding, Touch, days_reviewed, share_reviewed, touched_by_calibrations};
pub use standing::{AreaTaken, area_taken, stood_in, tanks_of};
pub use trace::{Between, Point, TimeInBand, Trace};
pub use welch::{Caution, NoComparison, Welch, compare};
pub use yields::{Cropped, Yield};

/// A figure and how many observations stand behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    /// The figure.
    pub value: f64,
    /// How many observations.
    pub n: usize,
}
