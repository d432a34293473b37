//! What happens to entries when something fails under them: runs that do the harm and count what is lost.

mod disk;
mod kill;
mod load;
mod pair;
mod postgres;
mod slow;

pub use disk::{DiskFull, fill_disk};
pub use kill::{Kills, kill_again_and_again};
pub use load::{Count, Load, Outcome, Written};
pub use pair::{InTurn, TakenOver, restart_in_turn, take_over};
pub use postgres::{Exhausted, Restarts, exhaust_connections, restart_postgres};
pub use slow::{Slow, send_slowly};
