//! One module for each word with the common life: its entity below, its `Record` on top.

pub mod memberships;
pub mod people;
pub mod rooms;
pub mod sites;
