//! Claims made through the client, on both databases.

mod alerts;
mod readings;
mod records;
mod reports;
mod sessions;
