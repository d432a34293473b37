//! Claims made through the client, on both databases.

mod alerts;
mod checks;
mod commands;
mod first_owner;
mod journal;
mod occurrences;
mod readings;
mod records;
mod reports;
mod rounds;
mod sessions;
mod stock;
