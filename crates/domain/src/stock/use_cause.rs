//! What a product is used for.

use crate::code::coded;

coded! {
    /// What a product is used for.
    UseCause {
        /// Filling after a tank change.
        Changes = "tank_changes",
        /// Topping up between changes.
        TopUps = "top_ups",
        /// Moving the pH, of fills and top-ups.
        Ph = "ph",
        /// Litres fed to waste or drawn from a stock tank.
        Fed = "fed",
        /// Spills, losses and what counts found missing.
        Unplanned = "unplanned",
        /// Taken out of the store for other uses, preparations among them.
        Taken = "taken_out",
    }
}
