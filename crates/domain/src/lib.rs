//! The words of Fillmark: what a place, a plan, a reading, a lot is, and which change of state is allowed.
//!
//! Everything here would be true with pen and paper: no clock, no chance, no files, no database, no JSON.
//! To add a word: give it a module of its own, a struct with public fields whose types make wrong values
//! impossible, and small named errors beside the rules that can refuse it.

pub mod amount;
pub mod band;
pub mod code;
pub mod entries;
pub mod fault;
pub mod growing;
pub mod id;
pub mod local;
pub mod metric;
pub mod money;
pub mod open_days;
pub mod people;
pub mod places;
pub mod plan;
pub mod quantity;
pub mod record;
pub mod recurrence;
pub mod stage;
pub mod stock;
pub mod week;
pub mod work;

pub use amount::{Amount, Base};
pub use band::Band;
pub use code::Coded;
pub use fault::{Fault, Faults};
pub use id::Id;
pub use metric::{Dimension, Medium, Metric};
pub use money::{Currency, Money};
pub use open_days::OpenDays;
pub use quantity::{Quantity, Unit};
pub use record::Kept;
pub use recurrence::{Occurrence, Recurrence};
pub use stage::Stage;
pub use week::{Days, Week};
