//! The stages of a crop.

/// A stage of growth. Leaf crops may use only the first two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// Seeds, cuttings and plugs.
    Propagation,
    /// Leaf and stem.
    Vegetative,
    /// Flowers, fruit set included.
    Flowering,
    /// Fruit ripening.
    Ripening,
    /// Plants kept for cuttings.
    StockPlants,
}

const STAGES: [(Stage, &str); 5] = [
    (Stage::Propagation, "propagation"),
    (Stage::Vegetative, "vegetative"),
    (Stage::Flowering, "flowering"),
    (Stage::Ripening, "ripening"),
    (Stage::StockPlants, "stock_plants"),
];

impl Stage {
    /// Every stage, in the order of growth.
    pub fn all() -> impl Iterator<Item = Stage> {
        STAGES.iter().map(|(stage, _)| *stage)
    }

    /// The stage with this code.
    pub fn from_code(code: &str) -> Option<Stage> {
        STAGES.iter().find(|(_, known)| *known == code).map(|(stage, _)| *stage)
    }

    /// Its code in rows and JSON.
    pub fn code(self) -> &'static str {
        STAGES[self as usize].1
    }
}
