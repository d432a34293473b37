//! Growing.
