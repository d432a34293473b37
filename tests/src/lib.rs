//! What the end-to-end claims stand on: a real server on a fresh database, with a clock that the test moves.

pub mod clock;
pub mod contract;
pub mod feeding;
pub mod fresh;
pub mod greenhouse;
pub mod replay;
pub mod work;
pub mod world;

pub use clock::MovedClock;
pub use feeding::Feeding;
pub use greenhouse::Greenhouse;
pub use world::World;
