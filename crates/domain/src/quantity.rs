//! What a person enters: a number with the unit their meter, jug or label shows.

use std::fmt;

use crate::code::Coded;
use crate::metric::Dimension;

/// A number with its unit, as entered.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// The number, as it was typed.
    pub value: f64,
    /// The unit it was typed in.
    pub unit: Unit,
}

/// The units that can be entered. Codes are UCUM where UCUM has one; the ppm scales of conductivity and
/// °Brix are the trade's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Millisiemens per centimetre.
    MilliSiemensPerCm,
    /// Microsiemens per centimetre.
    MicroSiemensPerCm,
    /// Decisiemens per metre, the same number as mS/cm.
    DeciSiemensPerM,
    /// Parts per million on the scale of 500 per mS/cm.
    Ppm500,
    /// Parts per million on the scale of 640 per mS/cm.
    Ppm640,
    /// Parts per million on the scale of 700 per mS/cm.
    Ppm700,
    /// pH.
    Ph,
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
    /// Litres.
    Litre,
    /// Millilitres.
    MilliLitre,
    /// Cubic metres.
    CubicMetre,
    /// US gallons.
    GallonUs,
    /// Imperial gallons.
    GallonImperial,
    /// US fluid ounces.
    FluidOunceUs,
    /// US tablespoons.
    TablespoonUs,
    /// US teaspoons.
    TeaspoonUs,
    /// Metric teaspoons of 5 mL.
    TeaspoonMetric,
    /// Grams.
    Gram,
    /// Kilograms.
    Kilogram,
    /// Milligrams.
    Milligram,
    /// Avoirdupois ounces.
    Ounce,
    /// Avoirdupois pounds.
    Pound,
    /// Milligrams per litre.
    MilligramPerLitre,
    /// Milliequivalents per litre.
    MilliequivalentPerLitre,
    /// Parts per million by volume.
    PpmByVolume,
    /// Micromoles of photons per square metre and second.
    MicroMolePerM2S,
    /// Kilopascal.
    KiloPascal,
    /// Per cent.
    Percent,
    /// Degrees Brix.
    Brix,
}

/// Unit, code, dimension, factor and offset: canonical = value × factor + offset.
/// Sources: BIPM SI Brochure; NIST Handbook 44, Appendix C (gallons, ounces, spoons; exact by definition);
/// ppm scales are trade conventions (640: USDA Handbook 60, 1954).
const UNITS: [(Unit, &str, Dimension, f64, f64); 30] = {
    use Dimension as D;
    use Unit as U;
    [
        (U::MilliSiemensPerCm, "mS/cm", D::Conductivity, 1.0, 0.0),
        (U::MicroSiemensPerCm, "uS/cm", D::Conductivity, 1e-3, 0.0),
        (U::DeciSiemensPerM, "dS/m", D::Conductivity, 1.0, 0.0),
        (U::Ppm500, "ppm500", D::Conductivity, 1.0 / 500.0, 0.0),
        (U::Ppm640, "ppm640", D::Conductivity, 1.0 / 640.0, 0.0),
        (U::Ppm700, "ppm700", D::Conductivity, 1.0 / 700.0, 0.0),
        (U::Ph, "[pH]", D::Ph, 1.0, 0.0),
        (U::Celsius, "Cel", D::Temperature, 1.0, 0.0),
        (U::Fahrenheit, "[degF]", D::Temperature, 5.0 / 9.0, -160.0 / 9.0),
        (U::Litre, "L", D::Volume, 1.0, 0.0),
        (U::MilliLitre, "mL", D::Volume, 1e-3, 0.0),
        (U::CubicMetre, "m3", D::Volume, 1e3, 0.0),
        (U::GallonUs, "[gal_us]", D::Volume, 3.785_411_784, 0.0),
        (U::GallonImperial, "[gal_br]", D::Volume, 4.546_09, 0.0),
        (U::FluidOunceUs, "[foz_us]", D::Volume, 0.029_573_529_562_5, 0.0),
        (U::TablespoonUs, "[tbs_us]", D::Volume, 0.014_786_764_781_25, 0.0),
        (U::TeaspoonUs, "[tsp_us]", D::Volume, 0.004_928_921_593_75, 0.0),
        (U::TeaspoonMetric, "[tsp_m]", D::Volume, 0.005, 0.0),
        (U::Gram, "g", D::Mass, 1.0, 0.0),
        (U::Kilogram, "kg", D::Mass, 1e3, 0.0),
        (U::Milligram, "mg", D::Mass, 1e-3, 0.0),
        (U::Ounce, "[oz_av]", D::Mass, 28.349_523_125, 0.0),
        (U::Pound, "[lb_av]", D::Mass, 453.592_37, 0.0),
        (U::MilligramPerLitre, "mg/L", D::MassConcentration, 1.0, 0.0),
        (U::MilliequivalentPerLitre, "meq/L", D::ChargeConcentration, 1.0, 0.0),
        (U::PpmByVolume, "[ppm]", D::VolumeFraction, 1.0, 0.0),
        (U::MicroMolePerM2S, "umol/m2/s", D::PhotonFlux, 1.0, 0.0),
        (U::KiloPascal, "kPa", D::Pressure, 1.0, 0.0),
        (U::Percent, "%", D::Ratio, 1.0, 0.0),
        (U::Brix, "Bx", D::Brix, 1.0, 0.0),
    ]
};

impl Coded for Unit {
    const NAME: &'static str = "Unit";

    fn all() -> &'static [Unit] {
        const ALL: [Unit; UNITS.len()] = {
            let mut all = [UNITS[0].0; UNITS.len()];
            let mut at = 0;
            while at < UNITS.len() {
                all[at] = UNITS[at].0;
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

impl Unit {
    /// What it measures.
    pub fn dimension(self) -> Dimension {
        self.row().2
    }

    fn row(self) -> &'static (Unit, &'static str, Dimension, f64, f64) {
        &UNITS[self as usize]
    }
}

impl Quantity {
    /// A quantity of so much of a unit.
    pub const fn new(value: f64, unit: Unit) -> Self {
        Self { value, unit }
    }

    /// The value in the canonical unit of its dimension: mS/cm, pH, °C, L, g, mg/L, meq/L, ppm by volume,
    /// µmol m⁻² s⁻¹, kPa, % or °Bx.
    pub fn canonical(self) -> f64 {
        let (_, _, _, factor, offset) = self.unit.row();
        self.value * factor + offset
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{} {}", self.value, self.unit.code())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(value: f64, unit: Unit, canonical: f64) {
        let got = Quantity::new(value, unit).canonical();
        // The sources print six digits: half a unit of the sixth is 5e-6 of the smallest such number.
        assert!((got - canonical).abs() <= 5e-6 * canonical.abs().max(1.0), "{value} {}: {got}", unit.code());
    }

    #[test]
    fn units_convert_as_defined() {
        // NIST Handbook 44, Appendix C; NIST SP 811; exact by definition.
        check(1.0, Unit::GallonUs, 3.785_41);
        check(1.0, Unit::GallonImperial, 4.546_09);
        check(1000.0, Unit::FluidOunceUs, 29.573_5);
        check(1000.0, Unit::TeaspoonUs, 4.928_92);
        check(1000.0, Unit::TablespoonUs, 14.786_76);
        check(1000.0, Unit::TeaspoonMetric, 5.0);
        check(1.0, Unit::Ounce, 28.349_5);
        check(1.0, Unit::Pound, 453.592);
        check(1500.0, Unit::MicroSiemensPerCm, 1.5);
        check(1.0, Unit::DeciSiemensPerM, 1.0);
        check(68.0, Unit::Fahrenheit, 20.0);
    }

    #[test]
    fn a_ppm_reading_means_nothing_without_its_scale() {
        // Common practice: conventions of the trade; 640 after USDA Handbook 60 (1954).
        check(900.0, Unit::Ppm500, 1.8);
        check(1152.0, Unit::Ppm640, 1.8);
        check(1260.0, Unit::Ppm700, 1.8);
        check(1260.0, Unit::Ppm500, 2.52);
    }

    #[test]
    fn each_unit_stands_at_its_own_place_in_the_table() {
        for &unit in Unit::all() {
            assert_eq!(Unit::from_code(unit.code()), Some(unit));
        }
    }
}
