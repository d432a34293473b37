//! The words of Fillmark: what a place, a plan, a reading, a lot is, and which change of state is allowed.
//!
//! Everything here would be true with pen and paper: no clock, no chance, no files, no database, no JSON.
//! To add a word: give it a module of its own, a struct with public fields whose types make wrong values
//! impossible, and small named errors beside the rules that can refuse it.

pub mod amount;
pub mod band;
pub mod id;
pub mod metric;
pub mod money;
pub mod open_days;
pub mod quantity;
pub mod record;
pub mod stage;
pub mod stock;
pub mod week;

pub use amount::{Amount, Base};
pub use band::Band;
pub use id::Id;
pub use metric::Metric;
pub use money::{Currency, Money};
pub use open_days::OpenDays;
pub use quantity::{Quantity, Unit};
pub use record::Kept;
pub use stage::Stage;
pub use week::{Days, Week};
