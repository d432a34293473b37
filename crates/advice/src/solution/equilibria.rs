//! Constants of equilibrium by temperature: acids, pairs, carbon dioxide and water, at zero ionic strength.

use super::KELVIN;
use super::activity::van_t_hoff;
use super::component::Component;

/// A step in which an acid gives off a proton.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AcidStep {
    /// H₃PO₄ to H₂PO₄⁻.
    Phosphoric1,
    /// H₂PO₄⁻ to HPO₄²⁻.
    Phosphoric2,
    /// HPO₄²⁻ to PO₄³⁻.
    Phosphoric3,
    /// Dissolved carbon dioxide (with H₂CO₃) to HCO₃⁻.
    Carbonic1,
    /// HCO₃⁻ to CO₃²⁻.
    Carbonic2,
    /// NH₄⁺ to NH₃.
    Ammonium,
    /// HSO₄⁻ to SO₄²⁻.
    Bisulfate,
    /// First proton of citric acid.
    Citric1,
    /// Second proton of citric acid.
    Citric2,
    /// Third proton of citric acid.
    Citric3,
    /// Acetic acid.
    Acetic,
    /// Boric acid, taking up OH⁻.
    Boric,
    /// Orthosilicic acid.
    Silicic,
    /// Water.
    Water,
}

impl AcidStep {
    /// pK at zero ionic strength.
    /// Sources: phosphoric, ammonium, citric, acetic, boric, silicic, bisulfate: NIST Critically Selected Stability
    /// Constants and CRC Handbook, 25 °C, with their enthalpies (from memory; the PHREEQC database agrees within 0.02).
    /// Carbonic: Plummer and Busenberg, Geochim. Cosmochim. Acta 46, 1011 (1982). Water: Harned and Hamer, J. Am.
    /// Chem. Soc. 55, 2194 (1933), as printed in Stumm and Morgan.
    pub fn pk(self, temperature_c: f64) -> f64 {
        let (pk_25, enthalpy_kj_mol) = match self {
            AcidStep::Phosphoric1 => (2.148, -8.0),
            AcidStep::Phosphoric2 => (7.198, 3.6),
            AcidStep::Phosphoric3 => (12.35, 16.0),
            AcidStep::Ammonium => (9.245, 52.1),
            AcidStep::Bisulfate => (1.988, -16.1),
            AcidStep::Citric1 => (3.128, 4.1),
            AcidStep::Citric2 => (4.761, 2.2),
            AcidStep::Citric3 => (6.396, -3.4),
            AcidStep::Acetic => (4.757, -0.4),
            AcidStep::Boric => (9.236, 13.8),
            AcidStep::Silicic => (9.84, 25.6),
            AcidStep::Carbonic1 => {
                return -by_temperature(
                    [-356.3094, -0.060_919_64, 21_834.37, 126.8339, -1_684_915.0],
                    temperature_c,
                );
            }
            AcidStep::Carbonic2 => {
                return -by_temperature(
                    [-107.8871, -0.032_528_49, 5_151.79, 38.925_61, -563_713.9],
                    temperature_c,
                );
            }
            AcidStep::Water => {
                let kelvin = temperature_c + KELVIN;
                return 4470.99 / kelvin - 6.0875 + 0.017_06 * kelvin;
            }
        };
        -van_t_hoff(-pk_25, enthalpy_kj_mol, temperature_c)
    }
}

/// log₁₀ of Henry's constant of carbon dioxide, mol/kg a atm. Plummer and Busenberg (1982).
pub(super) fn log_henry_co2(temperature_c: f64) -> f64 {
    by_temperature([108.3865, 0.019_850_76, -6_919.53, -40.451_54, 669_365.0], temperature_c)
}

/// a + bT + c/T + d log T + e/T², T in K.
fn by_temperature([a, b, c, d, e]: [f64; 5], temperature_c: f64) -> f64 {
    let kelvin = temperature_c + KELVIN;
    a + b * kelvin + c / kelvin + d * kelvin.log10() + e / (kelvin * kelvin)
}

/// log₁₀ of what it takes to make a form from the reference form of its component and so many protons.
pub(super) fn log_formation(component: Component, protons: i8, temperature_c: f64) -> f64 {
    use AcidStep as A;
    let steps: &[AcidStep] = match component {
        Component::Ammonium if protons < 0 => return -A::Ammonium.pk(temperature_c),
        Component::Phosphate => &[A::Phosphoric3, A::Phosphoric2, A::Phosphoric1],
        Component::Carbonate => &[A::Carbonic2, A::Carbonic1],
        Component::Sulfate => &[A::Bisulfate],
        Component::Citrate => &[A::Citric3, A::Citric2, A::Citric1],
        Component::Acetate => &[A::Acetic],
        Component::Borate => &[A::Boric],
        Component::Silicate => &[A::Silicic],
        _ => &[],
    };
    let bound = usize::try_from(protons).unwrap_or(0);
    steps.iter().take(bound).map(|step| step.pk(temperature_c)).sum()
}

/// A pair of opposite ions that moves as one.
#[derive(Debug, Clone, Copy)]
pub(super) struct PairConstant {
    pub(super) cation: Component,
    pub(super) anion: Component,
    /// Protons of the anion's form.
    pub(super) protons: i8,
    log_k_25: f64,
    enthalpy_kj_mol: f64,
}

impl PairConstant {
    /// log₁₀ of the constant of association of the cation with that form of the anion.
    pub(super) fn log_k(&self, temperature_c: f64) -> f64 {
        van_t_hoff(self.log_k_25, self.enthalpy_kj_mol, temperature_c)
    }
}

/// Sources: Nordstrom et al., ACS Symposium Series 416, 398 (1990), and Smith and Martell, Critical Stability
/// Constants 4 and 6, as gathered by Parkhurst and Appelo (US Geological Survey, 2013); from memory.
/// Citrate has none here: its pairs with calcium hold back acid when it is dosed, by an amount that depends on how
/// soon bacteria eat it.
pub(super) const PAIRS: [PairConstant; 31] = {
    use Component as C;
    [
        pair(C::Potassium, C::Sulfate, 0, 0.85, 9.4),
        pair(C::Sodium, C::Sulfate, 0, 0.70, 4.7),
        pair(C::Ammonium, C::Sulfate, 0, 1.03, 0.0),
        pair(C::Calcium, C::Sulfate, 0, 2.30, 6.9),
        pair(C::Magnesium, C::Sulfate, 0, 2.37, 19.0),
        pair(C::Iron, C::Sulfate, 0, 2.25, 13.5),
        pair(C::Manganese, C::Sulfate, 0, 2.25, 14.1),
        pair(C::Zinc, C::Sulfate, 0, 2.37, 5.7),
        pair(C::Copper, C::Sulfate, 0, 2.31, 5.1),
        pair(C::Calcium, C::Phosphate, 2, 1.408, 14.2),
        pair(C::Calcium, C::Phosphate, 1, 2.739, 13.8),
        pair(C::Calcium, C::Phosphate, 0, 6.459, 13.0),
        pair(C::Magnesium, C::Phosphate, 2, 1.513, 14.2),
        pair(C::Magnesium, C::Phosphate, 1, 2.87, 13.8),
        pair(C::Magnesium, C::Phosphate, 0, 6.589, 13.0),
        pair(C::Potassium, C::Phosphate, 1, 0.29, 0.0),
        pair(C::Sodium, C::Phosphate, 1, 0.29, 0.0),
        pair(C::Ammonium, C::Phosphate, 1, 0.29, 0.0),
        pair(C::Iron, C::Phosphate, 1, 3.6, 0.0),
        pair(C::Manganese, C::Phosphate, 1, 3.6, 0.0),
        pair(C::Zinc, C::Phosphate, 1, 3.3, 0.0),
        pair(C::Calcium, C::Carbonate, 1, 1.106, 7.5),
        pair(C::Calcium, C::Carbonate, 0, 3.224, 14.8),
        pair(C::Magnesium, C::Carbonate, 1, 1.07, 3.3),
        pair(C::Magnesium, C::Carbonate, 0, 2.98, 11.3),
        pair(C::Sodium, C::Carbonate, 1, -0.25, 0.0),
        pair(C::Sodium, C::Carbonate, 0, 1.27, 37.3),
        pair(C::Manganese, C::Carbonate, 1, 1.95, 0.0),
        pair(C::Zinc, C::Carbonate, 1, 2.1, 0.0),
        pair(C::Calcium, C::Nitrate, 0, 0.28, 0.0),
        pair(C::Potassium, C::Nitrate, 0, -0.2, 0.0),
    ]
};

const fn pair(
    cation: Component,
    anion: Component,
    protons: i8,
    log_k_25: f64,
    enthalpy_kj_mol: f64,
) -> PairConstant {
    PairConstant { cation, anion, protons, log_k_25, enthalpy_kj_mol }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(step: AcidStep, temperature_c: f64, pk: f64) {
        let got = step.pk(temperature_c);
        assert!((got - pk).abs() < 0.02, "{step:?} at {temperature_c}: {got}");
    }

    #[test]
    fn acids_are_as_strong_as_the_tables_say() {
        check(AcidStep::Carbonic1, 25.0, 6.352);
        check(AcidStep::Carbonic2, 25.0, 10.329);
        // Plummer and Busenberg (1982), table of fitted values: 6.42 and 10.43 at 15 °C.
        check(AcidStep::Carbonic1, 15.0, 6.42);
        check(AcidStep::Carbonic2, 15.0, 10.43);
        // CRC Handbook, ion product of water (from memory).
        check(AcidStep::Water, 0.0, 14.94);
        check(AcidStep::Water, 25.0, 13.995);
        check(AcidStep::Water, 40.0, 13.53);
    }

    #[test]
    fn a_form_is_made_over_all_its_steps() {
        let all = log_formation(Component::Phosphate, 3, 25.0);
        assert!((all - (2.148 + 7.198 + 12.35)).abs() < 1e-9, "{all}");
        assert_eq!(log_formation(Component::Nitrate, 0, 25.0), 0.0);
    }
}
