//! When to order and how much, on a site one can reckon in one's head.
#![expect(clippy::unwrap_used, reason = "a date that cannot be read is a failed test")]

mod day;
mod joint;
mod packs;
mod site;
