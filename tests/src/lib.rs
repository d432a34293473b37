//! What the end-to-end claims stand on: a real server on a fresh database, with a clock that the test moves.

pub mod bench;
pub mod clock;
pub mod cluster;
pub mod contract;
pub mod faults;
pub mod feeding;
pub mod fresh;
pub mod greenhouse;
pub mod process;
pub mod reference;
pub mod replay;
pub mod rows;
pub mod staffing;
pub mod work;
pub mod world;
pub mod yard;

pub use clock::MovedClock;
pub use feeding::Feeding;
pub use greenhouse::Greenhouse;
pub use world::World;
