//! The answers of Fillmark: who checks what today, and how well it went, as functions of values.
//!
//! Everything here would be true with pen and paper: no clock, no chance, no files, no database, no JSON.
//! To add an answer: give it a module of its own that takes words of the domain and returns the figure with
//! what stands behind it: number of observations, interval, cautions. Never a bare number.

pub mod review;
pub mod rounds;
