//! Conductivity of potassium chloride, by which cells and meters are calibrated.

use super::interpolate::{cubic, lagrange};
use super::ions::Ion;

/// Temperature, °C, and conductivity of 0.01, 0.1 and 1 mol/kg, µS/cm, the water's own taken off.
/// CRC Handbook of Chemistry and Physics, "Standard KCl solutions for calibrating conductivity cells" (values of NIST; Pratt
/// et al., Pure Appl. Chem. 73, 1783, 2001); seen. At 18 °C the table has none for 1 mol/kg, and is left out.
const BY_MOLALITY: [(f64, [f64; 3]); 11] = [
    (0.0, [772.92, 7116.85, 63_488.0]),
    (5.0, [890.96, 8183.70, 72_030.0]),
    (10.0, [1013.95, 9291.72, 80_844.0]),
    (15.0, [1141.45, 10_437.1, 89_900.0]),
    (20.0, [1273.03, 11_615.9, 99_170.0]),
    (25.0, [1408.23, 12_824.6, 108_620.0]),
    (30.0, [1546.63, 14_059.2, 118_240.0]),
    (35.0, [1687.79, 15_316.0, 127_970.0]),
    (40.0, [1831.27, 16_591.0, 137_810.0]),
    (45.0, [1976.62, 17_880.6, 147_720.0]),
    (50.0, [2123.43, 19_180.9, 157_670.0]),
];

/// Molalities of the table's columns, mol/kg.
const MOLALITIES: [f64; 3] = [0.01, 0.1, 1.0];

/// Concentration, mol/L, and equivalent conductivity at 25 °C, S cm²/mol. Standard Methods for the Examination of Water and
/// Wastewater, Table 2510:I; seen in part, the rest from memory.
const BY_CONCENTRATION_25: [(f64, f64); 12] = [
    (0.0, 149.9),
    (0.0001, 148.9),
    (0.0005, 147.7),
    (0.001, 146.9),
    (0.005, 143.6),
    (0.01, 141.2),
    (0.02, 138.2),
    (0.05, 133.3),
    (0.1, 128.9),
    (0.2, 124.0),
    (0.5, 117.3),
    (1.0, 111.9),
];

/// A standard that the tables do not hold.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("potassium chloride standards are known up to 1 mol/L and between 0 and 50 °C")]
pub struct NoStandard;

/// Conductivity of potassium chloride by mol a kg of water, µS/cm.
/// # Errors
/// [`NoStandard`] outside 0 to 1 mol/kg and 0 to 50 °C.
pub fn by_molality_us_cm(mol_kg: f64, temperature_c: f64) -> Result<f64, NoStandard> {
    let column = |at: usize| {
        let points = BY_MOLALITY.map(|(temperature, row)| (temperature, row[at]));
        cubic(&points, temperature_c, 0.0).ok_or(NoStandard)
    };
    if let Some(at) = MOLALITIES.iter().position(|known| (known - mol_kg).abs() < 1e-9) {
        return column(at);
    }
    if !(0.0..=1.0).contains(&mol_kg) {
        return Err(NoStandard);
    }
    // Between the columns: molar conductivity runs nearly straight in the root of molality (Kohlrausch).
    let mut points = vec![(0.0, limiting(temperature_c))];
    for (at, known) in MOLALITIES.into_iter().enumerate() {
        points.push((known.sqrt(), column(at)? / known));
    }
    Ok(lagrange(&points, mol_kg.sqrt()) * mol_kg)
}

/// Conductivity of potassium chloride by mol a litre of solution made at 25 °C, µS/cm.
/// # Errors
/// [`NoStandard`] outside 0 to 1 mol/L and 0 to 50 °C.
pub fn by_concentration_us_cm(mol_l: f64, temperature_c: f64) -> Result<f64, NoStandard> {
    let points = BY_CONCENTRATION_25.map(|(mol_l, molar)| (mol_l.sqrt(), molar));
    let molar = cubic(&points, mol_l.sqrt(), 0.0).ok_or(NoStandard)?;
    let at_25 = molar * mol_l * 1000.0;
    if temperature_c == 25.0 || mol_l == 0.0 {
        return Ok(at_25);
    }
    // How it moves with temperature hardly depends on the last per cent of concentration.
    Ok(at_25 * by_molality_us_cm(mol_l, temperature_c)? / by_molality_us_cm(mol_l, 25.0)?)
}

/// Molar conductivity at infinite dilution, S cm²/mol times 1000, as the table's columns over their molality.
fn limiting(temperature_c: f64) -> f64 {
    let of = |name| Ion::named(name).map_or(0.0, |ion| ion.limiting_molar_conductivity(temperature_c));
    (of("K") + of("Cl")) * 1000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn between_rows_the_table_is_met_where_it_has_a_row_of_its_own() {
        // The table's row at 18 °C, which is not among those interpolated.
        assert!((by_molality_us_cm(0.01, 18.0).unwrap() / 1219.93 - 1.0).abs() < 1e-4);
        assert!((by_molality_us_cm(0.1, 18.0).unwrap() / 11_140.6 - 1.0).abs() < 1e-4);
    }

    #[test]
    fn a_litre_and_a_kilogram_differ_by_less_than_a_hundredth() {
        let litre = by_concentration_us_cm(0.05, 25.0).unwrap();
        let kilogram = by_molality_us_cm(0.05, 25.0).unwrap();
        assert!((litre / kilogram - 1.0).abs() < 0.01, "{litre} {kilogram}");
    }

    #[test]
    fn outside_the_tables_there_is_no_standard() {
        assert_eq!(by_molality_us_cm(0.01, 51.0), Err(NoStandard));
        assert_eq!(by_concentration_us_cm(1.1, 25.0), Err(NoStandard));
        assert_eq!(by_concentration_us_cm(f64::NAN, 25.0), Err(NoStandard));
    }
}
