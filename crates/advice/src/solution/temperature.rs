//! A conductivity read at one temperature, as it would be at 25 °C.

use fillmark_domain::entries;

use super::interpolate::cubic;
use super::kcl::by_molality_us_cm;

/// How conductivity is held to follow temperature. Meters have one of these built in; which one belongs to the reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Compensation {
    /// None: what is read is at the temperature of the solution.
    None,
    /// By so much of the value at 25 °C a degree, 0.0191 in Standard Methods 2510 and 0.02 on most meters.
    Linear {
        /// Part of the value at 25 °C a °C.
        per_c: f64,
    },
    /// As natural waters (ISO 7888:1985), from 0 to 35.9 °C.
    NaturalWater,
    /// As potassium chloride of 0.01 mol/kg, which most calibration standards are, from 0 to 50 °C.
    PotassiumChloride,
    /// As a feed of unknown make, between the two: no series for feeds is published; those two tables, by a salt of fast
    /// ions and by waters of slower ones, bracket it. From 0 to 35.9 °C.
    Feed,
}

/// A temperature for which the compensation has no value.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("conductivity at {temperature_c} °C cannot be brought to 25 °C that way")]
pub struct NoCompensation {
    /// Temperature of the solution.
    pub temperature_c: f64,
}

/// Factors f₂₅ of ISO 7888:1985 (= EN 27888:1993), table of the annex, from 0 °C by whole degrees; seen in an instrument
/// manual.
const NATURAL_WATER_F25: [f64; 36] = [
    1.918, 1.857, 1.800, 1.745, 1.693, 1.643, 1.596, 1.551, 1.508, 1.467, 1.428, 1.390, 1.354, 1.320, 1.287,
    1.256, 1.225, 1.196, 1.168, 1.141, 1.116, 1.091, 1.067, 1.044, 1.021, 1.000, 0.979, 0.959, 0.940, 0.921,
    0.903, 0.886, 0.869, 0.853, 0.837, 0.822,
];

/// Factor that brings the conductivity of a natural water to 25 °C (ISO 7888).
/// # Errors
/// [`NoCompensation`] outside 0 to 35.9 °C.
pub fn natural_water_f25(temperature_c: f64) -> Result<f64, NoCompensation> {
    let rows: Vec<(f64, f64)> = (0u8..).map(f64::from).zip(NATURAL_WATER_F25).collect();
    // The table goes on by tenths past its last whole degree.
    let found = if temperature_c < 0.0 { None } else { cubic(&rows, temperature_c, 0.9) };
    found.ok_or(NoCompensation { temperature_c })
}

impl Compensation {
    /// Conductivity at a temperature over that at 25 °C.
    /// # Errors
    /// [`NoCompensation`] outside the range of its table, or where a linear one reaches nought.
    pub fn ratio_to_25(self, temperature_c: f64) -> Result<f64, NoCompensation> {
        let refused = NoCompensation { temperature_c };
        let ratio = match self {
            Compensation::None => 1.0,
            Compensation::Linear { per_c } => 1.0 + per_c * (temperature_c - 25.0),
            Compensation::NaturalWater => 1.0 / natural_water_f25(temperature_c)?,
            Compensation::PotassiumChloride => {
                let at = |temperature_c| by_molality_us_cm(0.01, temperature_c).map_err(|_| refused);
                at(temperature_c)? / at(25.0)?
            }
            Compensation::Feed => {
                let ratios = [Compensation::NaturalWater, Compensation::PotassiumChloride]
                    .map(|bracket| bracket.ratio_to_25(temperature_c));
                let [water, salt] = ratios;
                0.5 * (water? + salt?)
            }
        };
        if ratio > 0.0 { Ok(ratio) } else { Err(refused) }
    }

    /// A conductivity read without compensation at a temperature, brought to 25 °C.
    /// # Errors
    /// [`NoCompensation`], as for the ratio.
    pub fn to_25(self, read: f64, temperature_c: f64) -> Result<f64, NoCompensation> {
        Ok(read / self.ratio_to_25(temperature_c)?)
    }

    /// What a meter with this setting showed, as one with another would have shown it.
    /// # Errors
    /// [`NoCompensation`], as for the ratio.
    pub fn shown_as(
        self,
        other: Compensation,
        shown: f64,
        temperature_c: f64,
    ) -> Result<f64, NoCompensation> {
        other.to_25(shown * self.ratio_to_25(temperature_c)?, temperature_c)
    }
}

/// Why what a meter showed cannot be told at 25 °C.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NotAt25 {
    /// The meter does not compensate, and the temperature of the solution is not known.
    #[error("expected the solution's temperature too, read within an hour: this meter does not compensate")]
    NoTemperature,
    /// There is no value for that temperature.
    #[error(transparent)]
    NoValue(#[from] NoCompensation),
}

/// A conductivity that a meter showed, as it would be at 25 °C: brought on from another reference temperature by the meter's own
/// part a °C, and from the solution's own temperature as a feed's. A meter of which nothing is known is taken to compensate to
/// 25 °C, as meters for feeds do (common practice, no source).
/// # Errors
/// [`NotAt25`].
pub fn shown_at_25(
    setting: Option<entries::Compensation>,
    shown: f64,
    temperature_c: Option<f64>,
) -> Result<f64, NotAt25> {
    match setting {
        None => Ok(shown),
        Some(entries::Compensation::Linear { percent_per_c, reference_c }) => {
            let factor = 1.0 + percent_per_c / 100.0 * (25.0 - reference_c);
            let refused = NoCompensation { temperature_c: reference_c };
            if factor > 0.0 { Ok(shown * factor) } else { Err(refused.into()) }
        }
        Some(entries::Compensation::None) => {
            let temperature_c = temperature_c.ok_or(NotAt25::NoTemperature)?;
            Ok(Compensation::Feed.to_25(shown, temperature_c)?)
        }
    }
}

/// Coefficient of temperature that two conductivities of one solution tell, % of the second a °C.
pub fn coefficient_percent_per_c(first: (f64, f64), reference: (f64, f64)) -> f64 {
    let ((first_c, first), (reference_c, reference)) = (first, reference);
    100.0 * (first / reference - 1.0) / (first_c - reference_c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_25_degrees_nothing_is_compensated() {
        use Compensation as C;
        for compensation in
            [C::None, C::Linear { per_c: 0.02 }, C::NaturalWater, C::PotassiumChloride, C::Feed]
        {
            assert!((compensation.to_25(1.5, 25.0).unwrap() - 1.5).abs() < 1e-9, "{compensation:?}");
        }
    }

    #[test]
    fn a_meters_setting_can_be_undone() {
        let (meter, wanted) = (Compensation::Linear { per_c: 0.0191 }, Compensation::NaturalWater);
        let there = meter.shown_as(wanted, 1.5, 17.0).unwrap();
        assert!((wanted.shown_as(meter, there, 17.0).unwrap() - 1.5).abs() < 1e-12);
    }

    /// The factor of a natural water at 15 °C is 1.256 (ISO 7888), that of potassium chloride 1.225 (its own table here).
    #[test]
    fn what_a_meter_showed_is_told_at_25_degrees() {
        let linear = |reference_c| Some(entries::Compensation::Linear { percent_per_c: 2.0, reference_c });
        assert_eq!(shown_at_25(None, 1.5, None), Ok(1.5));
        assert_eq!(shown_at_25(linear(25.0), 1.5, None), Ok(1.5));
        assert!((shown_at_25(linear(20.0), 1.5, None).unwrap() - 1.65).abs() < 1e-12);
        let cold = shown_at_25(Some(entries::Compensation::None), 1.5, Some(15.0)).unwrap();
        assert!((1.5 * 1.22..1.5 * 1.256).contains(&cold), "{cold}");
        assert_eq!(shown_at_25(Some(entries::Compensation::None), 1.5, None), Err(NotAt25::NoTemperature));
    }

    #[test]
    fn no_table_is_read_past_its_end() {
        for temperature_c in [-0.1, 36.0, f64::NAN] {
            assert!(natural_water_f25(temperature_c).is_err(), "{temperature_c}");
        }
        assert!(Compensation::Linear { per_c: 0.05 }.to_25(1.0, 0.0).is_err());
    }
}
