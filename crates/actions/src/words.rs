//! What each record with the common life must keep to.

mod people;
mod places;
