//! The contract: what goes over the wire as JSON, with its schema, and how it becomes a word of the domain.
//!
//! A record with the common life has one body here (`NewRoom`), which is both what is sent to make it and the
//! heart of what is answered: [`Stored`] adds id, version and dates, [`Patch`] makes every field optional. To add
//! one, write the body with a description on each field, `impl Body` for it, and its two aliases.

pub mod alerts;
pub mod balances;
pub mod basics;
pub mod body;
pub mod calculators;
pub mod dosing;
pub mod entries;
pub mod forecast;
pub mod growing;
pub mod instruments;
pub mod journal;
pub mod people;
pub mod places;
pub mod problem;
pub mod reports;
pub mod reviews;
pub mod sessions;
pub mod stock;
pub mod system;
pub mod work;

pub use alerts::*;
pub use balances::*;
pub use basics::{Band, Code, Instant, Metric, Quantity, Stage, Unit};
pub use body::{Body, Listed, Patch, Stored};
pub use calculators::*;
pub use dosing::*;
pub use entries::*;
pub use forecast::*;
pub use growing::*;
pub use instruments::*;
pub use journal::*;
pub use people::*;
pub use places::*;
pub use problem::{Problem, ProblemCode, ProblemFault};
pub use reports::*;
pub use reviews::*;
pub use sessions::*;
pub use stock::*;
pub use system::*;
pub use work::*;
