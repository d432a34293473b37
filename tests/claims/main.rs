//! Claims made through the client, on both databases.

mod records;
mod sessions;
