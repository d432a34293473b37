//! Moisture and light in the air of a room.

use super::KELVIN;

/// Saturation vapour pressure over water, kPa. FAO Irrigation and Drainage Paper 56 (1998), equation 11 (Tetens).
pub fn saturation_vapour_pressure_kpa(air_c: f64) -> f64 {
    0.6108 * (17.27 * air_c / (air_c + 237.3)).exp()
}

/// Saturation vapour pressure of a day, kPa: the mean over its ends, not that of its mean temperature, which is less
/// (FAO-56, equation 12).
pub fn daily_saturation_vapour_pressure_kpa(highest_c: f64, lowest_c: f64) -> f64 {
    0.5 * (saturation_vapour_pressure_kpa(highest_c) + saturation_vapour_pressure_kpa(lowest_c))
}

/// Vapour pressure of the air, kPa.
pub fn vapour_pressure_kpa(air_c: f64, humidity_percent: f64) -> f64 {
    saturation_vapour_pressure_kpa(air_c) * humidity_percent / 100.0
}

/// How moist a day's air was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DailyHumidity {
    /// Highest (at the coolest hour) and lowest relative humidity, %.
    Ends {
        /// At the lowest temperature.
        highest_percent: f64,
        /// At the highest temperature.
        lowest_percent: f64,
    },
    /// The highest alone, which errs less than the lowest alone.
    Highest {
        /// At the lowest temperature.
        percent: f64,
    },
    /// The day's mean.
    Mean {
        /// Over the day.
        percent: f64,
    },
    /// Dew point, °C.
    DewPoint {
        /// Temperature at which dew forms.
        dew_c: f64,
    },
}

/// Vapour pressure of a day's air, kPa (FAO-56, equations 14 and 17 to 19).
pub fn daily_vapour_pressure_kpa(highest_c: f64, lowest_c: f64, humidity: DailyHumidity) -> f64 {
    match humidity {
        DailyHumidity::Ends { highest_percent, lowest_percent } => {
            0.5 * (vapour_pressure_kpa(lowest_c, highest_percent)
                + vapour_pressure_kpa(highest_c, lowest_percent))
        }
        DailyHumidity::Highest { percent } => vapour_pressure_kpa(lowest_c, percent),
        DailyHumidity::Mean { percent } => {
            daily_saturation_vapour_pressure_kpa(highest_c, lowest_c) * percent / 100.0
        }
        DailyHumidity::DewPoint { dew_c } => saturation_vapour_pressure_kpa(dew_c),
    }
}

/// Pressure of the air at a height, kPa (FAO-56, equation 7).
pub fn air_pressure_kpa(altitude_m: f64) -> f64 {
    101.3 * ((293.0 - 0.0065 * altitude_m) / 293.0).powf(5.26)
}

/// Vapour pressure that a ventilated pair of dry and wet bulb tells, kPa (FAO-56, equations 15 and 16, 0.000662 per °C).
pub fn vapour_pressure_by_wet_bulb_kpa(dry_c: f64, wet_c: f64, pressure_kpa: f64) -> f64 {
    saturation_vapour_pressure_kpa(wet_c) - 0.000_662 * pressure_kpa * (dry_c - wet_c)
}

/// Vapour pressure deficit, kPa: what the air at the leaf would hold less what it holds. Where the leaf's temperature is not
/// known it is taken for the air's.
pub fn vapour_pressure_deficit_kpa(air_c: f64, humidity_percent: f64, leaf_c: f64) -> f64 {
    saturation_vapour_pressure_kpa(leaf_c) - vapour_pressure_kpa(air_c, humidity_percent)
}

/// Dew point, °C: equation 11 of FAO-56 turned round. None for air without moisture.
pub fn dew_point_c(vapour_pressure_kpa: f64) -> Option<f64> {
    let exponent = (vapour_pressure_kpa / 0.6108).ln();
    exponent.is_finite().then(|| 237.3 * exponent / (17.27 - exponent))
}

/// Water in the air, g/m³: an ideal gas of 461.5 J a kg and K.
pub fn absolute_humidity_g_m3(air_c: f64, humidity_percent: f64) -> f64 {
    vapour_pressure_kpa(air_c, humidity_percent) * 1e6 / (461.5 * (air_c + KELVIN))
}

/// Light of a day, mol of photons a m²: a constant flux for so many hours.
pub fn daily_light_integral_mol_m2(ppfd_umol_m2_s: f64, hours: f64) -> f64 {
    ppfd_umol_m2_s * hours * 3600.0 / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wet_bulb_and_altitude_are_as_in_the_papers_example() {
        // FAO-56, Example 4: 25.6 and 19.5 °C at 1200 m: 87.9 kPa and 1.91 kPa (from memory).
        let pressure_kpa = air_pressure_kpa(1200.0);
        assert!((pressure_kpa - 87.9).abs() < 0.1, "{pressure_kpa}");
        assert!((vapour_pressure_by_wet_bulb_kpa(25.6, 19.5, pressure_kpa) - 1.91).abs() < 0.005);
    }

    #[test]
    fn dew_forms_where_the_air_is_saturated() {
        for air_c in [2.0, 13.5, 31.0] {
            let dew_c = dew_point_c(saturation_vapour_pressure_kpa(air_c)).unwrap();
            assert!((dew_c - air_c).abs() < 1e-9);
        }
        assert_eq!(dew_point_c(0.0), None);
    }
}
