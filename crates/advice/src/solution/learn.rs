//! Learning from a tank's records: how much EC a product adds, and how much of a product a pH takes.
//!
//! [`pairs`] finds the additions with a reading before and after; [`ec_rises`] and [`ph_response`] fit what they tell,
//! starting from what chemistry or the label says. All is fitted anew each time: two years of a tank take a few milliseconds,
//! and a correction of an old record needs no thought.

mod ec;
mod fit;
mod pairs;
mod ph;

#[cfg(test)]
pub(super) mod simulated;
#[cfg(test)]
mod tests;

pub use ec::{EcPrior, EcRises, ec_rises};
pub use pairs::{Dose, LONGEST, Pair, Taken, pairs, pairs_in_water};
pub(super) use ph::READ_TO_PH;
pub use ph::{PhKind, PhResponse, Predicted, ph_response};
