//! Water as a solvent, by temperature.

use super::KELVIN;

/// Viscosity, mPa s. Kestin, Sokolov and Wakeham, J. Phys. Chem. Ref. Data 7, 941 (1978); 1.002 at 20 °C.
pub(super) fn viscosity_mpa_s(temperature_c: f64) -> f64 {
    let below = 20.0 - temperature_c;
    let exponent = below / (temperature_c + 96.0) * (1.2364 - 1.37e-3 * below + 5.7e-6 * below.powi(2));
    1.002 * 10f64.powf(exponent)
}

/// Density, kg/L. Kell, J. Chem. Eng. Data 20, 97 (1975).
pub(super) fn density_kg_l(temperature_c: f64) -> f64 {
    let t = temperature_c;
    let numerator = 999.839_52 + 16.945_176 * t - 7.987_040_1e-3 * t.powi(2) - 46.170_461e-6 * t.powi(3)
        + 105.563_02e-9 * t.powi(4)
        - 280.542_53e-12 * t.powi(5);
    numerator / (1.0 + 16.879_85e-3 * t) / 1000.0
}

/// Relative permittivity. Malmberg and Maryott, J. Res. Natl. Bur. Stand. 56, 1 (1956).
pub(super) fn permittivity(temperature_c: f64) -> f64 {
    let t = temperature_c;
    87.740 - 0.400_08 * t + 9.398e-4 * t.powi(2) - 1.410e-6 * t.powi(3)
}

/// Product of permittivity and temperature, K, by which all laws of Debye and Hückel go.
pub(super) fn permittivity_kelvin(temperature_c: f64) -> f64 {
    permittivity(temperature_c) * (temperature_c + KELVIN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn water_is_as_the_tables_say() {
        // CRC Handbook: viscosity 1.793, 1.002, 0.8903, 0.6527; permittivity 78.30; density 0.99705 (from memory).
        for (temperature_c, mpa_s) in [(0.0, 1.793), (20.0, 1.002), (25.0, 0.8903), (40.0, 0.6527)] {
            assert!((viscosity_mpa_s(temperature_c) / mpa_s - 1.0).abs() < 0.002, "{temperature_c}");
        }
        assert!((permittivity(25.0) - 78.30).abs() < 0.01);
        assert!((density_kg_l(25.0) - 0.997_05).abs() < 1e-5);
    }
}
