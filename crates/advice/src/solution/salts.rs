//! Salts, acids and bases of the formula kind: what one mol of them puts into the water.

use super::component::Composition;
use super::ions::Ion;
use super::substance::{NoFormula, Substance, leading_count, parts};
use super::water;

/// A substance that goes into water as ions.
#[derive(Debug, Clone, PartialEq)]
pub struct Salt {
    /// Mass of one mol, crystal water included, g.
    pub molar_mass_g_mol: f64,
    /// What one mol/L of it gives a solution, mol a mol. Protons and hydroxide are what the charges leave.
    pub per_mol: Composition,
    /// Charge of the ions of its formula, mol a mol: nothing of what can stand in a bottle.
    pub charge: f64,
}

impl Salt {
    /// Reads a formula as ions: `KH2PO4` is potassium and dihydrogen phosphate.
    /// # Errors
    /// [`NoFormula`] when it is none, or not made of the ions known here.
    pub fn read(formula: &str) -> Result<Self, NoFormula> {
        let refused = || NoFormula { formula: formula.to_owned() };
        let molar_mass_g_mol = Substance::read(formula)?.molar_mass_g_mol();
        let (mut per_mol, mut charge) = (Composition::default(), 0.0);
        for (times, part) in parts(formula) {
            for (ion, count) in ions_of(part).ok_or_else(refused)? {
                charge += f64::from(ion.charge) * count * times;
                if let Some(component) = ion.component {
                    per_mol = per_mol.with(component, count * times);
                }
            }
        }
        Ok(Self { molar_mass_g_mol, per_mol, charge })
    }

    /// What so many grams in a litre give, mmol/L.
    pub fn at_g_l(&self, g_l: f64) -> Composition {
        Composition::default().plus(&self.per_mol, 1000.0 * g_l / self.molar_mass_g_mol)
    }

    /// What a solution of so much by mass gives, mmol/L, the salt counted as it is weighed, crystal water included. For a few
    /// per cent: a dilute salt solution is denser than water by 0.7 to 0.8 % for each per cent (CRC Handbook), taken as 0.75.
    pub fn at_mass_percent(&self, percent: f64, temperature_c: f64) -> Composition {
        let density = water::density_kg_l(temperature_c) * (1.0 + 0.0075 * percent);
        self.at_g_l(10.0 * percent * density)
    }

    /// What so many mmol in a litre give, mmol/L.
    pub fn at_mmol_l(&self, mmol_l: f64) -> Composition {
        Composition::default().plus(&self.per_mol, mmol_l)
    }
}

/// Salts as they are sold for feeds: the formula they go by, the salt they are, and how much of them it is by mass. Shares are
/// the usual declared analysis over that of the pure salt (46 % K₂O of potassium nitrate over 46.6 %, 50 % of the sulfate over
/// 54.1 %, 60.5 % of the chloride over 63.2 %, 16 % MgO over 16.4 %); common practice, no source.
const OF_TRADE: [(&str, &str, f64); 5] = [
    // Calcium nitrate is the double salt with ammonium.
    ("Ca(NO3)2", "5Ca(NO3)2.NH4NO3.10H2O", 1.0),
    ("KNO3", "KNO3", 0.988),
    ("K2SO4", "K2SO4", 0.925),
    ("KCl", "KCl", 0.958),
    ("MgSO4.7H2O", "MgSO4.7H2O", 0.979),
];

/// What so many grams in a litre of a salt of trade give, mmol/L: it is not always the salt of its formula, and not all of it.
/// # Errors
/// [`NoFormula`] as for the salt itself.
pub fn of_trade_at_g_l(formula: &str, g_l: f64) -> Result<Composition, NoFormula> {
    let known = OF_TRADE.iter().find(|(named, ..)| *named == formula);
    let (salt, share) = known.map_or((formula, 1.0), |(_, salt, share)| (*salt, *share));
    Ok(Salt::read(salt)?.at_g_l(g_l * share))
}

/// Cuts a part of a formula into ions, the longest name first, so that `H2PO4` is not taken for hydrogen.
/// Crystal water is none.
fn ions_of(part: &str) -> Option<Vec<(&'static Ion, f64)>> {
    let mut found = Vec::new();
    let mut text = if part == "H2O" { "" } else { part };
    while !text.is_empty() {
        let (ion, rest) = bracketed(text).or_else(|| bare(text))?;
        let (count, rest) = leading_count(rest);
        found.push((ion, count));
        text = rest;
    }
    Some(found)
}

fn bracketed(text: &str) -> Option<(&'static Ion, &str)> {
    let (inside, rest) = text.strip_prefix('(')?.split_once(')')?;
    Some((Ion::named(inside)?, rest))
}

fn bare(text: &str) -> Option<(&'static Ion, &str)> {
    let ion = Ion::all().filter(|ion| text.starts_with(ion.name)).max_by_key(|ion| ion.name.len())?;
    Some((ion, &text[ion.name.len()..]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::component::Component::{self, self as C};

    #[track_caller]
    fn check(formula: &str, expected: &[(Component, f64)]) {
        let salt = Salt::read(formula).unwrap();
        let got: Vec<_> = salt.per_mol.present().collect();
        assert_eq!((got.as_slice(), salt.charge), (expected, 0.0), "{formula}");
    }

    #[test]
    fn salts_fall_apart_into_their_ions() {
        check("KNO3", &[(C::Potassium, 1.0), (C::Nitrate, 1.0)]);
        check("NaNO3", &[(C::Sodium, 1.0), (C::Nitrate, 1.0)]);
        check("NH4H2PO4", &[(C::Ammonium, 1.0), (C::Phosphate, 1.0)]);
        check("Ca(H2PO4)2.H2O", &[(C::Calcium, 1.0), (C::Phosphate, 2.0)]);
        check("K2HPO4", &[(C::Potassium, 2.0), (C::Phosphate, 1.0)]);
        check("(NH4)2SO4", &[(C::Ammonium, 2.0), (C::Sulfate, 1.0)]);
        check("5Ca(NO3)2.NH4NO3.10H2O", &[(C::Ammonium, 1.0), (C::Calcium, 5.0), (C::Nitrate, 11.0)]);
        check("H3PO4", &[(C::Phosphate, 1.0)]);
        check("KOH", &[(C::Potassium, 1.0)]);
        check("Ca(OH)2", &[(C::Calcium, 1.0)]);
        check("H3BO3", &[(C::Borate, 1.0)]);
        check("K2CO3", &[(C::Potassium, 2.0), (C::Carbonate, 1.0)]);
    }

    #[test]
    fn a_formula_that_lacks_a_bracket_or_number_is_left_with_a_charge() {
        let charge = |formula| Salt::read(formula).unwrap().charge;
        assert_eq!((charge("CaNO3"), charge("K"), charge("K2NO3"), charge("MgSO4")), (1.0, 1.0, 1.0, 0.0));
    }

    #[test]
    fn what_is_no_salt_of_these_ions_is_refused() {
        for formula in ["CO(NH2)2", "AgNO3", "Ca(NO3", ""] {
            assert!(Salt::read(formula).is_err(), "{formula}");
        }
    }
}
