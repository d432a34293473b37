//! The textbook's stock levels and order quantities: where use is one steady distribution, these are the answers.
//!
//! The forecast does better where it knows the plan, and must agree with these where there is none. Uses, lots and levels
//! are in any one unit of the product, money in any one currency; a year is whatever yearly figures are told for.

mod counts;
mod discount;
mod joint;
mod lot_size;
mod newsvendor;
mod penalty;
mod service;

pub use super::normal::{normal_density, normal_loss, normal_loss_inverse, normal_tail, normal_tail_inverse};
pub use counts::{CountLevel, gamma_level, gamma_loss, negative_binomial_level, poisson_level};
pub use discount::{Discounted, PriceBreak, PricedLot, all_units, incremental};
pub use joint::{Joint, JointItem, JointPlan};
pub use lot_size::{LotCosts, MadeLot};
pub use newsvendor::{Newsvendor, OneOrder};
pub use penalty::{PenaltyPolicy, with_penalty};
pub use service::{LeadDays, Use, fill_rate_of_review};
