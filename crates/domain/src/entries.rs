//! What is measured and done: readings, additions, tank changes, and the instruments.
//!
//! Nothing here is ever edited. A reading is superseded by another, everything else is reversed by a linked
//! opposite and entered anew.

pub mod addition;
pub mod advice;
pub mod again;
pub mod instrument;
pub mod plausible;
pub mod reading;
mod seen;
pub mod tank_change;
pub mod usual;

pub use addition::{Addition, AdditionReason, Poured};
pub use advice::{Advice, AdviceKind, AdviceOutcome, AdvisedStep, Expectation, Lacking, Portion};
pub use again::{
    EnteredBefore, Measured, SAME_ADDITION, SAME_CHANGE, SAME_RECEIPT, same_addition, same_change,
    same_receipt,
};
pub use instrument::{Calibration, Meter, MeterKind, MeterStanding};
pub use plausible::{
    Beside, Doubt, doubts, doubts_of_volume, doubts_of_water, has_passed, has_passed_at_a_desk,
};
pub use reading::{BandThen, Compensation, NotMeasuredThere, Reading, SamplePoint, Spot};
pub use seen::{SeenAddition, SeenReading};
pub use tank_change::{CHANGE_CAUTIONS, ChangePlan, ChangePlanKind, EARLY, TankChange};
pub use usual::{
    Advised, BesideAddition, Unusual, doubts_of_addition, doubts_of_count, doubts_of_harvest,
    doubts_of_receipt, fill_of,
};
