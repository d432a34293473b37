//! All that a person, a device or a job can do: who may, load, decide, keep.
//!
//! Each action is one transaction with that rhythm. Records with the common life go through [`records`]; to add
//! one, write `impl Managed` for it in `words`. An action with a life of its own gets a module of its own.

pub mod additions;
pub mod alerts;
pub mod answers;
pub mod app;
mod bands;
pub mod calculators;
pub mod caller;
pub mod devices;
pub mod dosing;
pub mod first_owner;
pub mod forecast;
pub mod harvests;
pub mod journal;
pub mod keys;
mod known;
pub mod passwords;
pub mod people;
pub mod readings;
pub mod records;
pub mod refusal;
pub mod reports;
mod retry;
pub mod reviews;
pub mod sessions;
pub mod stock;
pub mod tank_changes;
mod together;
mod tries;
mod words;
pub mod work;

pub use app::{App, Clock};
pub use caller::{Caller, Door};
pub use records::Managed;
pub use refusal::Refusal;
