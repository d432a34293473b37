//! What is measured and done: readings, additions, tank changes, harvests.

mod addition;
mod batch;
mod harvest;
mod reading;
mod tank_change;

use fillmark_domain::entries as words;

use crate::Code;

pub use addition::*;
pub use batch::*;
pub use harvest::*;
pub(crate) use reading::spot_ids;
pub use reading::*;
pub use tank_change::*;

/// A sample point by its code.
pub type SamplePoint = Code<words::SamplePoint>;
/// The reason of an addition by its code.
pub type AdditionReason = Code<words::AdditionReason>;
