//! Work: who is there, what is planned, what becomes of it.

mod checks;
mod cure;
mod handing;
mod outlook;
mod plans;
mod rounds;
mod staff;
mod templates;

pub use checks::*;
pub use cure::*;
pub use handing::*;
pub use outlook::*;
pub use plans::*;
pub use rounds::*;
pub use staff::*;
pub use templates::*;
