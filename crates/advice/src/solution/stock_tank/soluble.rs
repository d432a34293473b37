//! How much of a salt dissolves: which salt a product is follows from what its label declares.

use super::super::label::{Dose, Label};
use super::super::substance::Substance;

/// A salt of which it is published how much dissolves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Salt {
    /// What it is called.
    pub name: &'static str,
    /// What a litre of water dissolves of it at 20 °C, g.
    pub soluble_g_l: f64,
}

/// What a litre of water dissolves at 20 °C, g: Department of Primary Industries and Regional Development, Western Australia,
/// Preparation of liquid fertiliser stock solutions, table 1 (seen). It names no crystal water: handbooks give the figure of
/// calcium nitrate for the tetrahydrate (from memory), and what it says of magnesium sulfate fits the dry salt and not the
/// one that is sold, so that one is left out. Salts in one tank hold each other back.
const SALTS: [(&str, Salt); 8] = [
    ("NH4NO3", Salt { name: "ammonium nitrate", soluble_g_l: 1902.0 }),
    ("(NH4)2SO4", Salt { name: "ammonium sulfate", soluble_g_l: 750.0 }),
    ("H3BO3", Salt { name: "boric acid", soluble_g_l: 49.0 }),
    ("Ca(NO3)2.4H2O", Salt { name: "calcium nitrate", soluble_g_l: 1290.0 }),
    ("KCl", Salt { name: "potassium chloride", soluble_g_l: 340.0 }),
    ("KNO3", Salt { name: "potassium nitrate", soluble_g_l: 316.0 }),
    ("K2SO4", Salt { name: "potassium sulfate", soluble_g_l: 111.0 }),
    ("CO(NH2)2", Salt { name: "urea", soluble_g_l: 1000.0 }),
];

/// Elements by which these salts are told apart.
const TOLD_BY: [&str; 7] = ["N", "P", "K", "Ca", "Mg", "S", "B"];

/// Salts of trade declare so much of what the pure salt has: 50 % K₂O of a sulfate that has 54 % (common practice, no source).
const OF_PURE: std::ops::RangeInclusive<f64> = 0.9..=1.02;

/// Of what a salt has none, its label declares less than this part (our own judgement).
const NONE: f64 = 0.005;

/// The salt that a dry product is by its label.
pub fn salt_of(label: &Label) -> Option<Salt> {
    SALTS.iter().find(|(formula, _)| is(label, formula)).map(|(_, salt)| *salt)
}

fn is(label: &Label, formula: &str) -> bool {
    let Ok(substance) = Substance::read(formula) else { return false };
    TOLD_BY.iter().all(|element| {
        let declared = label.element_mg_l(element, Dose::GramPerL(1.0)).map_or(0.0, |mg_l| mg_l / 1000.0);
        let pure = substance.mass_fraction(element);
        if pure > 0.0 { OF_PURE.contains(&(declared / pure)) } else { declared < NONE }
    })
}

#[cfg(test)]
mod tests {
    use super::super::super::label::Basis;
    use super::*;
    use crate::solution::label::Declared::{
        self, Boron, Calcium, NitrateNitrogen, Nitrogen, PhosphorusPentoxide, PotassiumOxide, Sulfur,
    };

    #[track_caller]
    fn check(analysis: &[(Declared, f64)], expected: Option<&str>) {
        let basis = Basis::MassByMass { density_kg_l: None };
        let label = Label { basis, analysis: analysis.to_vec() };
        assert_eq!(salt_of(&label).map(|salt| salt.name), expected, "{analysis:?}");
    }

    /// Analyses as salts are sold; common practice, no source.
    #[test]
    fn a_label_tells_which_salt_it_is() {
        check(&[(NitrateNitrogen, 13.7), (PotassiumOxide, 46.0)], Some("potassium nitrate"));
        check(&[(PotassiumOxide, 50.0), (Sulfur, 18.0)], Some("potassium sulfate"));
        check(&[(PotassiumOxide, 60.0)], Some("potassium chloride"));
        check(&[(NitrateNitrogen, 11.7), (Calcium, 16.8)], Some("calcium nitrate"));
        check(&[(Nitrogen, 46.0)], Some("urea"));
        check(&[(Boron, 17.0)], Some("boric acid"));
    }

    #[test]
    fn what_is_no_such_salt_is_none() {
        check(&[(Nitrogen, 15.5), (Calcium, 19.0)], None);
        check(&[(PhosphorusPentoxide, 52.0), (PotassiumOxide, 34.0)], None);
        check(&[(Nitrogen, 20.0), (PhosphorusPentoxide, 20.0), (PotassiumOxide, 20.0)], None);
        check(&[(PotassiumOxide, 68.0)], None);
        check(&[], None);
    }
}
