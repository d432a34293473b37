//! Chance and names for simulated tanks.

use fillmark_domain::Id;
use fillmark_domain::stock::ProductId;
use uuid::Uuid;

use super::learnt::Learnt;

/// A seeded generator (splitmix64: Steele, Lea and Flood, Fast Splittable Pseudorandom Number Generators, 2014).
pub(crate) struct Chance(u64);

impl Chance {
    /// Each seed its own run.
    pub(crate) const fn seeded(seed: u64) -> Chance {
        Chance(seed.wrapping_mul(0xD129_0A2B_5D4F_13C7))
    }

    /// Evenly between 0 and 1.
    pub(crate) fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly between two values.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller, 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        radius * (2.0 * std::f64::consts::PI * self.even()).cos()
    }
}

/// A product by a small number.
pub(crate) fn product(id: u128) -> ProductId {
    Id::new(Uuid::from_u128(id))
}

/// A learnt figure with so much spread as a part of it.
pub(crate) fn learnt(value: f64, spread: f64) -> Learnt {
    let half = super::balance::TO_90 * spread * value;
    Learnt { value, low: value - half, high: value + half, prior_share: 0.0, records: Vec::new() }
}
