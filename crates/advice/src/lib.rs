//! The answers of Fillmark: what a solution is, who checks what today, what to order when, how well it went, as functions of
//! values.
//!
//! Everything here would be true with pen and paper: no clock, no chance, no files, no database, no JSON.
//! To add an answer: a module with its question (all it needs to know, as words of the domain), its answer (the
//! figure with its uncertainty, the number of observations and typed reasons, never a bare number), and one
//! function between them.

pub mod review;
mod root;
pub mod rounds;
pub mod solution;
pub mod supply;
