//! Claims made through the client, on both databases.

mod alerts;
mod records;
mod sessions;
