//! Claims made through the client, on both databases.

mod additions;
mod alerts;
mod bad_input;
mod chain;
mod change_checks;
mod checks;
mod commands;
mod faults;
mod first_owner;
mod forecast;
mod journal;
mod newcomer;
mod occurrences;
mod places;
mod readings;
mod records;
mod replay;
mod reports;
mod request_keys;
mod rights;
mod rounds;
mod same_answers;
mod schema;
mod sessions;
mod stock;
mod tank_changes;
