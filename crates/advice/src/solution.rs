//! Chemistry of water and feed: what is in a solution, how well it conducts, how acid it is, and what changes that.
//!
//! A [`Composition`] counts totals; [`speciation`] finds the forms they take at a pH; [`conductivity`] and [`ph`] follow
//! from those. Every constant stands beside its source, in the unit that its name carries. To add a solute: its component
//! and forms in `ions`, its acid steps and pairs in `equilibria`, with sources; rows to hold it to in `testdata/agronomy`.

mod activity;
pub mod air;
pub mod calculate;
pub mod cell;
pub mod component;
pub mod conductivity;
pub mod electrode;
pub mod equilibria;
pub mod fill;
mod interpolate;
pub mod ions;
pub mod kcl;
pub mod label;
pub mod learn;
pub mod learnt;
pub mod ph;
pub mod published;
pub mod reagents;
pub mod record;
mod root;
pub mod salts;
pub mod speciation;
pub mod step;
pub mod substance;
pub mod tank;
pub mod temperature;
mod water;

pub use component::{Component, Composition};
pub use speciation::{Carbon, OutsideModel, Speciation};

/// 0 °C, K.
const KELVIN: f64 = 273.15;
