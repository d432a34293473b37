//! Stock: what comes in, goes out, is counted, moved and ordered.
//!
//! Every act enters a slip first, which makes it safe to send again, then locks what the site holds of the product,
//! decides, and enters the movements. [`draw`] and [`give_back`] do so inside the transaction of whoever pours.

mod draw;

pub use draw::{draw, give_back};
