//! Chance from a seed, so that the same day gives the same plan.

/// A seeded generator (splitmix64: Steele, Lea and Flood, Fast Splittable Pseudorandom Number Generators, 2014).
pub(super) struct Chance(u64);

impl Chance {
    pub(super) const fn seeded(seed: u64) -> Chance {
        Chance(seed.wrapping_mul(0xD129_0A2B_5D4F_13C7))
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly between 0 and 1.
    pub(super) fn even(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly from 0 up to a number, which is not reached; 0 of none.
    pub(super) fn below(&mut self, number: usize) -> usize {
        // The high half of the product: exact enough for choices of at most some thousand.
        ((u128::from(self.bits()) * number as u128) >> 64) as usize
    }

    /// One of these.
    pub(super) fn one_of(&mut self, of: &[usize]) -> Option<usize> {
        of.get(self.below(of.len())).copied()
    }

    /// Puts them in an order of chance.
    pub(super) fn shuffle(&mut self, items: &mut [usize]) {
        for last in (1..items.len()).rev() {
            items.swap(last, self.below(last + 1));
        }
    }
}
