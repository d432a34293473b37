//! Chemistry of water and feed: what is in a solution, how well it conducts, how acid it is, and what changes that.
//!
//! A [`Composition`] counts totals; [`speciation`] finds the forms they take at a pH; [`conductivity`] and [`ph`] follow
//! from those. Every constant stands beside its source, in the unit that its name carries. To add a solute: its component
//! and forms in `ions`, its acid steps and pairs in `equilibria`, with sources; rows to hold it to in `testdata/agronomy`.

pub mod acid_rise;
mod activity;
pub mod air;
pub mod balance;
pub mod calculate;
pub mod cell;
pub mod component;
pub mod conductivity;
pub mod correct;
pub mod electrode;
pub mod equilibria;
pub mod fill;
pub mod gathered;
mod interpolate;
pub mod ions;
pub mod kcl;
pub mod label;
pub mod learn;
pub mod learnt;
mod level;
pub mod ph;
pub mod prior;
pub mod published;
pub mod reagents;
pub mod reconcile;
pub mod record;
pub mod salts;
#[cfg(test)]
mod simulated;
pub mod speciation;
pub mod step;
pub mod stock_tank;
pub mod substance;
pub mod tank;
pub mod targets;
pub mod temperature;
pub mod titration;
pub mod turnover;
pub mod uptake;
pub mod waste;
mod water;

pub use component::{Component, Composition};
pub use speciation::{Carbon, OutsideModel, Speciation};

/// 0 °C, K.
const KELVIN: f64 = 273.15;
