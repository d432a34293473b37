//! What people look at, as functions from the contract's values to text.
//!
//! To add a picture: a file with a struct of what it shows and a function that draws it; a title and a text alternative are part
//! of it, and nothing may be told by colour alone.

pub mod stock_chart;
