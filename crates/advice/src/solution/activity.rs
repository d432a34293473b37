//! How much less than their number ions count for when they stand close.

use super::KELVIN;
use super::ions::Ion;
use super::water;

/// The Debye–Hückel law at one temperature.
#[derive(Debug, Clone, Copy)]
pub(super) struct DebyeHueckel {
    slope: f64,
    per_angstrom: f64,
}

impl DebyeHueckel {
    /// Constants of the extended law: A = 1.82483·10⁶ √ρ (εT)^-3/2, B = 50.2916 √ρ (εT)^-1/2 Å⁻¹
    /// (Helgeson and Kirkham, Am. J. Sci. 274, 1199, 1974).
    pub(super) fn at(temperature_c: f64) -> Self {
        let root_density = water::density_kg_l(temperature_c).sqrt();
        let product = water::permittivity_kelvin(temperature_c);
        Self {
            slope: 1.824_83e6 * root_density / product.powf(1.5),
            per_angstrom: 50.2916 * root_density / product.sqrt(),
        }
    }

    /// Reciprocal radius of the ionic atmosphere at one mol/kg, 1/Å.
    pub(super) fn per_angstrom(&self) -> f64 {
        self.per_angstrom
    }

    /// log₁₀ of the activity coefficient: −A z² √I / (1 + B a √I) + b I (Truesdell and Jones 1974).
    pub(super) fn log_gamma(&self, shape: Shape, ionic_strength: f64) -> f64 {
        let root = ionic_strength.sqrt();
        let charge = f64::from(shape.charge);
        -self.slope * charge * charge * root / (1.0 + self.per_angstrom * shape.size_angstrom * root)
            + shape.linear_kg_mol * ionic_strength
    }
}

/// What the law asks of a species.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shape {
    pub(super) charge: i8,
    pub(super) size_angstrom: f64,
    pub(super) linear_kg_mol: f64,
}

impl From<&Ion> for Shape {
    fn from(ion: &Ion) -> Self {
        Self { charge: ion.charge, size_angstrom: ion.size_angstrom, linear_kg_mol: ion.linear_kg_mol }
    }
}

/// A constant of equilibrium at another temperature than 25 °C, by van 't Hoff:
/// log K(T) = log K(25) + ΔH / (R ln 10) (1/298.15 − 1/T).
pub(super) fn van_t_hoff(log_k_25: f64, enthalpy_kj_mol: f64, temperature_c: f64) -> f64 {
    const R_LN_10_KJ: f64 = 8.314_462_618e-3 * std::f64::consts::LN_10;
    log_k_25 + enthalpy_kj_mol / R_LN_10_KJ * (1.0 / (25.0 + KELVIN) - 1.0 / (temperature_c + KELVIN))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_law_has_its_textbook_constants_at_25_degrees() {
        let law = DebyeHueckel::at(25.0);
        assert!((law.slope - 0.509).abs() < 0.003, "{}", law.slope);
        assert!((law.per_angstrom - 0.328).abs() < 0.001, "{}", law.per_angstrom);
    }
}
