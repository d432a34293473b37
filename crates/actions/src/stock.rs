//! Stock: what comes in, goes out, is counted, moved and ordered.
//!
//! Every act locks what the site holds of the product, enters a slip under the client's id, which makes it safe to
//! send again, decides, and enters the movements. `Shelf` and `give_back` do so inside the transaction of whoever pours.

mod coming;
mod corrections;
mod costs;
mod counting;
mod counts;
mod desk;
mod draw;
mod issues;
mod opposites;
mod orders;
mod placing;
mod preparations;
mod receipts;
mod traces;
mod transfers;
mod views;

pub use corrections::{reverse_movement, reverse_slip};
pub use costs::{SiteCosts, price_history, read_costs};
pub use counting::{A_FEW, CauseRead, CountListed, CountRead, ToCount, due_counts, list_counts, read_count};
pub use counts::{Count, count_stock};
pub(crate) use desk::some_amount;
pub use desk::{Done, Handled, read_slip};
pub(crate) use draw::{Pour, Shelf};
pub use issues::{Issue, WriteOff, issue_product, write_off};
pub use opposites::give_back;
pub use orders::{
    OrderMessage, Packs, SupplierOrder, approve_order, cancel_order, close_order, draft_order, list_orders,
    order_message, read_order, redraft_order,
};
pub use placing::{Confirmation, Placing, confirm_order, place_order};
pub use preparations::{Part, Preparation, make_preparation};
pub use receipts::{Receipt, receive_product};
pub use traces::{HarvestOrigin, LotReach, trace, trace_back};
pub use transfers::{Sending, list_transfers, read_transfer, send_transfer, take_in_transfer};
pub use views::{ProductStock, list_movements, list_shortages, list_stock, read_stock};
