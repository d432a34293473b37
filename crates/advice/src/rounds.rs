//! Rounds.
