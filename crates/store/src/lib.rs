//! The only crate that knows SQL: connections, transactions, and for each word the functions that keep and find it.
//!
//! Words with the common life (created, changed under their version, archived) are kept by [`records`]; to add
//! one, write its table in a migration, and a module in [`words`] with its entity and one `impl Record`. Words
//! with a life of their own (readings, movements, checks) have functions of their own.
//!
//! Every function takes the transaction first and the scope second: a query that forgets the site does not compile. What
//! one statement tells by itself is asked of the [`Store`]: it needs no transaction around it.

pub mod accounts;
pub mod additions;
pub mod advice;
pub mod alerts;
pub mod answers;
pub mod carry;
pub mod check_offers;
pub mod checks;
mod columns;
pub mod connection;
pub mod device_tokens;
pub mod entries;
pub mod error;
pub mod forecasts;
pub mod handover_notes;
pub mod harvests;
pub mod holdings;
pub mod journal;
pub mod movements;
pub mod plan;
pub mod planning;
pub mod preparations;
pub mod readings;
pub mod records;
pub mod reviews;
pub mod rounds;
mod rows;
pub mod scope;
pub mod shortages;
pub mod slips;
pub mod spent_tokens;
pub mod staff;
pub mod stamp;
pub mod standing;
pub mod summary;
pub mod tank_changes;
pub mod transfers;
pub mod tries;
pub mod verify;
pub mod words;

pub use connection::{Database, Store, Tx, Unit};
pub use error::{BrokenRow, StoreError};
pub use records::{Filter, Holder, Page, PageQuery, Record, Reference, SortKey, SortValue};
pub use scope::{BusinessScope, Scope, SiteScope};
pub use stamp::{Ids, Stamp};
