//! The stages of a crop.

use crate::code::coded;

coded! {
    /// A stage of growth. Leaf crops may use only the first two.
    Stage {
        /// Seeds, cuttings and plugs.
        Propagation = "propagation",
        /// Leaf and stem.
        Vegetative = "vegetative",
        /// Flowers, fruit set included.
        Flowering = "flowering",
        /// Fruit ripening.
        Ripening = "ripening",
        /// Plants kept for cuttings.
        StockPlants = "stock_plants",
    }
}
