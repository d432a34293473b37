//! Chemical formulas: what a salt, acid or oxide is made of.

/// Standard atomic weights, abridged (IUPAC Commission on Isotopic Abundances and Atomic Weights, 2021), g/mol.
const ATOMIC_WEIGHTS: [(&str, f64); 30] = [
    ("H", 1.008),
    ("Li", 6.94),
    ("B", 10.81),
    ("C", 12.011),
    ("N", 14.007),
    ("O", 15.999),
    ("F", 18.998),
    ("Na", 22.990),
    ("Mg", 24.305),
    ("Al", 26.982),
    ("Si", 28.085),
    ("P", 30.974),
    ("S", 32.06),
    ("Cl", 35.45),
    ("K", 39.098),
    ("Ca", 40.078),
    ("V", 50.942),
    ("Cr", 51.996),
    ("Mn", 54.938),
    ("Fe", 55.845),
    ("Co", 58.933),
    ("Ni", 58.693),
    ("Cu", 63.546),
    ("Zn", 65.38),
    ("Se", 78.971),
    ("Br", 79.904),
    ("Sr", 87.62),
    ("Mo", 95.95),
    ("I", 126.90),
    ("Ba", 137.33),
];

/// A formula that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{formula:?} is not a chemical formula")]
pub struct NoFormula {
    /// What was given.
    pub formula: String,
}

/// A chemical formula, read: how often each group of atoms stands in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Substance {
    atoms: Vec<(&'static str, f64)>,
}

impl Substance {
    /// Reads a formula such as `5Ca(NO3)2.NH4NO3.10H2O`: a point, dot or star joins parts, and a number leads each.
    /// # Errors
    /// [`NoFormula`] when an element is unknown or a bracket stands alone.
    pub fn read(formula: &str) -> Result<Self, NoFormula> {
        let refused = || NoFormula { formula: formula.to_owned() };
        let mut atoms = Vec::new();
        for (times, part) in parts(formula) {
            let (read, rest) = group(part, 0).ok_or_else(refused)?;
            if !rest.is_empty() || read.is_empty() {
                return Err(refused());
            }
            atoms.extend(read.into_iter().map(|(element, count)| (element, count * times)));
        }
        Ok(Self { atoms })
    }

    /// Mass of one mol, g.
    pub fn molar_mass_g_mol(&self) -> f64 {
        self.atoms.iter().map(|(element, count)| weight(element).unwrap_or(0.0) * count).sum()
    }

    /// Atoms of an element in one formula.
    pub fn count(&self, element: &str) -> f64 {
        self.atoms.iter().filter(|(name, _)| *name == element).map(|(_, count)| count).sum()
    }

    /// Mass of an element in a mass of this, g/g.
    pub fn mass_fraction(&self, element: &str) -> f64 {
        self.count(element) * weight(element).unwrap_or(0.0) / self.molar_mass_g_mol()
    }

    /// Mass of this that holds as much of the element that both share as one gram of another form, g/g: how an oxide
    /// on a label becomes its element. None when they share nothing but hydrogen and oxygen.
    pub fn per_gram_of(&self, other: &Substance) -> Option<f64> {
        let shared =
            |(element, _): &&(&'static str, f64)| !matches!(*element, "H" | "O") && self.count(element) > 0.0;
        let (element, _) = other.atoms.iter().find(shared)?;
        Some(other.mass_fraction(element) / self.mass_fraction(element))
    }
}

/// Mass of one mol of atoms, g.
fn weight(element: &str) -> Option<f64> {
    ATOMIC_WEIGHTS.iter().find(|(name, _)| *name == element).map(|(_, weight)| *weight)
}

/// The parts of a formula that its points join, each with the number that leads it.
pub(super) fn parts(formula: &str) -> impl Iterator<Item = (f64, &str)> {
    formula.split(['.', '·', '*']).map(|part| {
        let part = part.trim();
        let digits = part.len() - part.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        (part[..digits].parse().unwrap_or(1.0), &part[digits..])
    })
}

/// The number at the start of a text, one where there is none, and what follows.
pub(super) fn leading_count(text: &str) -> (f64, &str) {
    let digits = text.len() - text.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    (text[..digits].parse().unwrap_or(1.0), &text[digits..])
}

/// Atoms, and what follows them.
type Group<'a> = (Vec<(&'static str, f64)>, &'a str);

/// Reads up to the end or an unmatched closing bracket. Brackets deeper than four are no formula.
fn group(mut text: &str, depth: u8) -> Option<Group<'_>> {
    let mut atoms = Vec::new();
    while let Some(first) = text.chars().next() {
        if first == ')' || first == ']' {
            break;
        }
        if first == '(' || first == '[' {
            if depth >= 4 {
                return None;
            }
            let (inside, rest) = group(&text[1..], depth + 1)?;
            let closing = if first == '(' { ')' } else { ']' };
            let (count, rest) = leading_count(rest.strip_prefix(closing)?);
            atoms.extend(inside.into_iter().map(|(element, times)| (element, times * count)));
            text = rest;
            continue;
        }
        let (element, _) = ATOMIC_WEIGHTS
            .iter()
            .filter(|(name, _)| text.starts_with(name))
            .max_by_key(|(name, _)| name.len())?;
        let (count, rest) = leading_count(&text[element.len()..]);
        atoms.push((*element, count));
        text = rest;
    }
    Some((atoms, text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(formula: &str, g_mol: f64) {
        let got = Substance::read(formula).unwrap().molar_mass_g_mol();
        assert!((got - g_mol).abs() < 0.01, "{formula}: {got}");
    }

    #[test]
    fn formulas_weigh_what_the_handbook_says() {
        check("KNO3", 101.10);
        check("5Ca(NO3)2.NH4NO3.10H2O", 1080.62);
        check("(NH4)2SO4", 132.13);
        check("CuSO4·5H2O", 249.68);
        check("Ca3[Fe(CN)6]2", 544.14);
    }

    #[test]
    fn what_is_no_formula_is_refused() {
        for formula in ["", "Xx2", "K(NO3", "K(NO3]", "KNO3)", "knO3", "((((((H))))))", ".."] {
            assert!(Substance::read(formula).is_err(), "{formula}");
        }
    }

    #[test]
    fn an_oxide_becomes_its_element() {
        let of = |formula| Substance::read(formula).unwrap();
        assert!((of("P").per_gram_of(&of("P2O5")).unwrap() - 0.4364).abs() < 1e-4);
        assert!((of("K2O").per_gram_of(&of("K")).unwrap() - 1.2046).abs() < 1e-4);
        assert_eq!(of("H2O").per_gram_of(&of("O2")), None);
    }
}
