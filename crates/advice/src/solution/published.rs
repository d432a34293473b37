//! Nutrient solutions of the literature, to compare with.

use super::component::Composition;
use super::salts::Salt;
use super::substance::NoFormula;

/// A published solution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Published {
    /// How it is known.
    pub name: &'static str,
    /// Its salts, mmol/L.
    pub salts_mmol_l: &'static [(&'static str, f64)],
}

/// The solutions known here.
pub const PUBLISHED: [Published; 2] = [
    // Hoagland, D. R. and Arnon, D. I., The Water-Culture Method for Growing Plants without Soil, California Agricultural
    // Experiment Station Circular 347 (1950).
    Published {
        name: "Hoagland No. 1",
        salts_mmol_l: &[("KNO3", 5.0), ("Ca(NO3)2", 5.0), ("KH2PO4", 1.0), ("MgSO4", 2.0)],
    },
    Published {
        name: "Hoagland No. 2",
        salts_mmol_l: &[("KNO3", 6.0), ("Ca(NO3)2", 4.0), ("NH4H2PO4", 1.0), ("MgSO4", 2.0)],
    },
];

impl Published {
    /// Its totals at full strength.
    /// # Errors
    /// None in truth: all formulas here can be read.
    pub fn composition(&self) -> Result<Composition, NoFormula> {
        self.salts_mmol_l.iter().try_fold(Composition::default(), |sum, (formula, mmol_l)| {
            Ok(sum.plus(&Salt::read(formula)?.per_mol, *mmol_l))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::conductivity::ec25_ms_cm;

    #[test]
    fn published_solutions_can_be_made() {
        for published in PUBLISHED {
            let ec = ec25_ms_cm(&published.composition().unwrap()).unwrap();
            assert!((2.0..2.3).contains(&ec), "{}: {ec}", published.name);
        }
    }
}
