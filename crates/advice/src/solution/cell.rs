//! Calibrating a conductivity cell.

use super::kcl::{NoStandard, by_molality_us_cm};

/// Cell constant from a potassium chloride standard, 1/cm: the standard's conductivity at the temperature of the bath over
/// the conductance that the cell showed without compensation. The water's own conductivity, about 1 µS/cm, is for the caller
/// to add where the standard was not made with purer water.
/// # Errors
/// [`NoStandard`] when the table has none such.
pub fn constant_per_cm(kcl_mol_kg: f64, temperature_c: f64, conductance_us: f64) -> Result<f64, NoStandard> {
    Ok(by_molality_us_cm(kcl_mol_kg, temperature_c)? / conductance_us)
}

/// How far a meter is off its standard, %.
pub fn deviation_percent(shown: f64, standard: f64) -> f64 {
    100.0 * (shown / standard - 1.0)
}

/// Whether a meter off by so much may be used: within this, %. Common practice, no source.
pub const DEVIATION_GOOD_PERCENT: f64 = 5.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_that_shows_the_standard_has_constant_one() {
        assert!((constant_per_cm(0.1, 25.0, 12_824.6).unwrap() - 1.0).abs() < 1e-12);
        assert_eq!(constant_per_cm(0.1, 99.0, 1.0), Err(NoStandard));
    }

    #[test]
    fn a_meter_that_shows_less_is_off_below() {
        assert!((deviation_percent(1.343, 1.413) + 4.954).abs() < 0.001);
    }
}
