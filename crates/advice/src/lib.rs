//! The answers of Fillmark: each a function of values, with its reasons, its uncertainty and how much it was learnt from.
//!
//! No clock, no chance, no files, no database. To add an answer: a module with its question (all it needs to
//! know, as the words of the domain), its answer (typed reasons, never prose), and one function between them.

pub mod supply;
