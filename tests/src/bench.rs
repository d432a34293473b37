//! Measures the server against what it stands on. Both sides are measured in one run, in turn: on a machine that others
//! use too, a figure means something only beside another that was taken with it.

mod advice;
pub mod bare;
mod batch;
mod chemistry;
mod entry;
mod feed;
pub mod figures;
mod forecast;
mod ground;
mod history;
mod kept;
mod library;
mod load;
mod looked_after;
mod memory;
mod plan;
mod report;
mod round;
mod server;
mod start;
mod tended;
mod verify;

pub use advice::advice;
pub use batch::batch;
pub use chemistry::chemistry;
pub use entry::entry;
pub use figures::Measured;
pub use forecast::forecasts;
pub use memory::memory;
pub use plan::plan;
pub use report::report;
pub use round::round;
pub use start::start;
pub use verify::verify;
