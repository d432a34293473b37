//! Forecasts that look only at past use, period by period: the fallback for products outside any programme, and the
//! baseline that every forecast is shown beside.
//!
//! A period is a day or a week, as the caller counts; a use is what was used in it, in any one unit, which is also the
//! unit of the answer. A weight (alpha, beta, gamma) says how much the newest period counts, from 0 to 1.

mod demand;
mod intermittent;
mod score;
mod smoothing;
mod trend;

pub use demand::{Demand, DemandClass};
pub use intermittent::{Croston, Tsb, croston, sba, tsb};
pub use score::{Errors, pinball, scaled_errors};
pub use smoothing::{Smoothed, mean_of_last, smooth, smooth_best, smooth_from};
pub use trend::{DampedHolt, HoltWinters, Seasonal, Trend, Trending};
