//! The operations server: where actions, contract and store are wired together and spoken to over HTTP.
//!
//! `routes` has one module a subject, each a list of handlers that only translate; `http` has what they share:
//! reading bodies, answering records, problems and lists. To add an endpoint: its body in the `api` crate, its
//! action, then a handler here, registered in its module's `routes` function, and `fillmark openapi` again.

pub mod commands;
pub mod demo;
pub mod document;
mod hold;
pub mod http;
pub mod jobs;
mod line;
pub mod metrics;
mod program;
pub mod routes;
pub mod settings;
pub mod startup;
pub mod tokens;

pub use hold::{Hold, HoldError};
pub use program::run;
pub use settings::Settings;
pub use startup::{Running, StartError, open_app, start};
