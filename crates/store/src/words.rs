//! One module for each word with the common life: its entity below, its `Record` on top.

pub mod calibrations;
pub mod change_plans;
pub mod closures;
pub mod crops;
pub mod cycles;
pub mod feeds;
pub mod label_revisions;
pub mod lots;
pub mod memberships;
pub mod meters;
pub mod offers;
pub mod orders;
pub mod outages;
pub mod people;
pub mod placements;
pub mod products;
pub mod programme_revisions;
pub mod programmes;
pub mod rooms;
pub mod sites;
pub mod suppliers;
pub mod tank_rooms;
pub mod tanks;
pub mod water_sources;
