//! What is measured, and what a measured value can be at all.

use crate::code::Coded;
use crate::quantity::{Quantity, Unit};

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Electrical conductivity.
    Conductivity,
    /// Acidity.
    Ph,
    /// Temperature.
    Temperature,
    /// Volume.
    Volume,
    /// Mass.
    Mass,
    /// Mass in a volume.
    MassConcentration,
    /// Charge in a volume.
    ChargeConcentration,
    /// Volume in a volume.
    VolumeFraction,
    /// Photons on an area in a time.
    PhotonFlux,
    /// Pressure.
    Pressure,
    /// Part of a whole.
    Ratio,
    /// Soluble solids by refraction.
    Brix,
    /// Length.
    Length,
    /// Area.
    Area,
}

impl Dimension {
    /// What it is called in a sentence.
    pub const fn name(self) -> &'static str {
        match self {
            Dimension::Conductivity => "conductivity",
            Dimension::Ph => "pH",
            Dimension::Temperature => "temperature",
            Dimension::Volume => "volume",
            Dimension::Mass => "mass",
            Dimension::MassConcentration => "mass in a volume",
            Dimension::ChargeConcentration => "charge in a volume",
            Dimension::VolumeFraction => "volume in a volume",
            Dimension::PhotonFlux => "photon flux",
            Dimension::Pressure => "pressure",
            Dimension::Ratio => "a ratio",
            Dimension::Brix => "soluble solids",
            Dimension::Length => "length",
            Dimension::Area => "area",
        }
    }
}

/// What a reading measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Metric {
    /// Electrical conductivity, mS/cm at 25 °C.
    Ec,
    /// pH.
    Ph,
    /// Temperature of the solution, °C.
    SolutionTemperature,
    /// Volume of solution, L.
    Volume,
    /// Dissolved oxygen, mg/L.
    DissolvedOxygen,
    /// Temperature of the air, °C.
    AirTemperature,
    /// Relative humidity of the air, %.
    RelativeHumidity,
    /// Vapour pressure deficit of the air, kPa; banded, and derived from temperature and humidity.
    Vpd,
    /// Carbon dioxide, ppm by volume.
    Co2,
    /// Photosynthetic photon flux density, µmol m⁻² s⁻¹.
    Ppfd,
    /// Soluble solids, °Bx.
    Brix,
    /// A water meter's counter, L.
    WaterMeter,
}

/// Metric, code, canonical unit, lowest and highest value that can be at all.
/// The limits are physical or of the instruments (pH electrodes read 0–14; solutions freeze and plants cook);
/// common practice, no source. They refuse nonsense only: bands say what is good.
const METRICS: [(Metric, &str, Unit, f64, f64); 12] = {
    use Metric as M;
    use Unit as U;
    [
        (M::Ec, "ec", U::MilliSiemensPerCm, 0.0, 200.0),
        (M::Ph, "ph", U::Ph, 0.0, 14.0),
        (M::SolutionTemperature, "solution_temperature", U::Celsius, -5.0, 60.0),
        (M::Volume, "volume", U::Litre, 0.0, 1e6),
        (M::DissolvedOxygen, "dissolved_oxygen", U::MilligramPerLitre, 0.0, 60.0),
        (M::AirTemperature, "air_temperature", U::Celsius, -40.0, 70.0),
        (M::RelativeHumidity, "relative_humidity", U::Percent, 0.0, 100.0),
        (M::Vpd, "vpd", U::KiloPascal, 0.0, 12.0),
        (M::Co2, "co2", U::PpmByVolume, 0.0, 50_000.0),
        (M::Ppfd, "ppfd", U::MicroMolePerM2S, 0.0, 5_000.0),
        (M::Brix, "brix", U::Brix, 0.0, 85.0),
        (M::WaterMeter, "water_meter", U::Litre, 0.0, 1e12),
    ]
};

impl Coded for Metric {
    const NAME: &'static str = "Metric";

    fn all() -> &'static [Metric] {
        const ALL: [Metric; METRICS.len()] = {
            let mut all = [METRICS[0].0; METRICS.len()];
            let mut at = 0;
            while at < METRICS.len() {
                all[at] = METRICS[at].0;
                at += 1;
            }
            all
        };
        &ALL
    }

    fn code(self) -> &'static str {
        self.row().1
    }
}

/// Whether something is measured in the air of a room or in its solution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Medium {
    /// Air and the light in it.
    Air,
    /// Solution, or the water it is made of.
    Solution,
}

impl Metric {
    /// What it is measured in.
    pub fn medium(self) -> Medium {
        use Metric as M;
        match self {
            M::AirTemperature | M::RelativeHumidity | M::Vpd | M::Co2 | M::Ppfd => Medium::Air,
            M::Ec | M::Ph | M::SolutionTemperature | M::Volume => Medium::Solution,
            M::DissolvedOxygen | M::Brix | M::WaterMeter => Medium::Solution,
        }
    }

    /// The unit of its canonical value.
    pub fn unit(self) -> Unit {
        self.row().2
    }

    /// The lowest and the highest value that can be at all.
    pub fn limits(self) -> (f64, f64) {
        let (.., lowest, highest) = *self.row();
        (lowest, highest)
    }

    /// The canonical value of what was entered.
    /// # Errors
    /// [`WrongUnit`] when the unit measures something else; [`Impossible`] when no meter can have shown it.
    pub fn canonical(self, entered: Quantity) -> Result<f64, NotAValue> {
        let (_, _, unit, lowest, highest) = *self.row();
        if entered.unit.dimension() != unit.dimension() {
            return Err(WrongUnit { metric: self, unit: entered.unit }.into());
        }
        let value = entered.canonical();
        if !(lowest..=highest).contains(&value) {
            let fits = |unit: &&Unit| {
                let could_be = Quantity::new(entered.value, **unit).canonical();
                unit.dimension() == entered.unit.dimension() && (lowest..=highest).contains(&could_be)
            };
            let fits = Unit::all().iter().find(fits).copied();
            return Err(Impossible { metric: self, entered, lowest, highest, fits }.into());
        }
        Ok(value)
    }

    fn row(self) -> &'static (Metric, &'static str, Unit, f64, f64) {
        &METRICS[self as usize]
    }
}

/// What was entered is no value of the metric.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotAValue {
    /// The unit measures something else.
    #[error(transparent)]
    WrongUnit(#[from] WrongUnit),
    /// The value cannot be.
    #[error(transparent)]
    Impossible(#[from] Impossible),
}

/// A unit of another dimension.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{} is not a unit of {}, expected one like {}", unit.code(), metric.code(), metric.unit().code())]
pub struct WrongUnit {
    /// What was to be measured.
    pub metric: Metric,
    /// The unit given.
    pub unit: Unit,
}

/// A value outside what can be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{entered} cannot be, expected {lowest} to {highest} {}{}", metric.unit().code(), self.hint())]
pub struct Impossible {
    /// What was measured.
    pub metric: Metric,
    /// What was entered.
    pub entered: Quantity,
    /// The lowest value that can be, canonical.
    pub lowest: f64,
    /// The highest value that can be, canonical.
    pub highest: f64,
    /// A unit in which the number can be: the likely slip.
    pub fits: Option<Unit>,
}

impl Impossible {
    fn hint(&self) -> String {
        self.fits.map(|unit| format!("; {} {} can be", self.entered.value, unit.code())).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ph_of_58_cannot_be() {
        let refused = Metric::Ph.canonical(Quantity::new(58.0, Unit::Ph)).unwrap_err();
        assert_eq!(refused.to_string(), "58 [pH] cannot be, expected 0 to 14 [pH]");
    }

    #[test]
    fn microsiemens_keyed_as_millisiemens_are_told() {
        let refused = Metric::Ec.canonical(Quantity::new(1380.0, Unit::MilliSiemensPerCm)).unwrap_err();
        assert_eq!(refused.to_string(), "1380 mS/cm cannot be, expected 0 to 200 mS/cm; 1380 uS/cm can be");
    }

    #[test]
    fn not_a_number_cannot_be() {
        assert!(Metric::Ec.canonical(Quantity::new(f64::NAN, Unit::MilliSiemensPerCm)).is_err());
    }

    #[test]
    fn litres_are_no_unit_of_ph() {
        let refused = Metric::Ph.canonical(Quantity::new(6.0, Unit::Litre)).unwrap_err();
        assert_eq!(refused.to_string(), "L is not a unit of ph, expected one like [pH]");
    }

    #[test]
    fn each_metric_stands_at_its_own_place_in_the_table() {
        for &metric in Metric::all() {
            assert_eq!(Metric::from_code(metric.code()), Some(metric));
        }
    }
}
