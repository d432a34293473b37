//! What a person enters: a number with the unit their meter, jug or label shows.

use std::fmt;

use crate::code::Coded;
use crate::metric::Dimension;
use crate::places::CACO3_MG_PER_MEQ;

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
    /// Conductivity factor, tenths of mS/cm.
    ConductivityFactor,
    /// Millisiemens per metre.
    MilliSiemensPerM,
    /// Siemens per metre.
    SiemensPerM,
    /// Kelvin.
    Kelvin,
    /// US quarts.
    QuartUs,
    /// US liquid pints.
    PintUs,
    /// US cups.
    CupUs,
    /// Imperial pints.
    PintImperial,
    /// Imperial fluid ounces.
    FluidOunceImperial,
    /// Metric tablespoons of 15 mL.
    TablespoonMetric,
    /// Cubic feet.
    CubicFoot,
    /// Metric tonnes.
    Tonne,
    /// Grams per litre.
    GramPerLitre,
    /// Micrograms per litre.
    MicrogramPerLitre,
    /// Milligrams per litre of calcium carbonate, by its charge.
    MilligramCaCo3PerLitre,
    /// Milligrams per litre of bicarbonate, by its charge.
    MilligramBicarbonatePerLitre,
    /// German degrees of hardness, 10 mg CaO in a litre.
    GermanDegree,
    /// French degrees of hardness, 10 mg CaCO₃ in a litre.
    FrenchDegree,
    /// English (Clark) degrees, a grain of CaCO₃ in an imperial gallon.
    EnglishDegree,
    /// Grains of CaCO₃ in a US gallon.
    GrainPerGallonUs,
    /// Metres.
    Metre,
    /// Centimetres.
    Centimetre,
    /// Millimetres.
    Millimetre,
    /// Inches.
    Inch,
    /// Feet.
    Foot,
    /// Square metres.
    SquareMetre,
    /// Square feet.
    SquareFoot,
    /// Hectares.
    Hectare,
    /// Acres.
    Acre,
}

/// Unit, code, dimension, factor and offset: canonical = value × factor + offset.
/// Sources: BIPM SI Brochure; NIST Handbook 44, Appendix C (gallons, ounces, spoons; exact by definition);
/// ppm scales are trade conventions (640: USDA Handbook 60, 1954); hardness by equivalent masses of 50.043 (CaCO₃), 61.017
/// (HCO₃) and 28.039 (CaO), and a grain of 64.798 91 mg.
const UNITS: [(Unit, &str, Dimension, f64, f64); 59] = {
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
        (U::ConductivityFactor, "CF", D::Conductivity, 0.1, 0.0),
        (U::MilliSiemensPerM, "mS/m", D::Conductivity, 1e-2, 0.0),
        (U::SiemensPerM, "S/m", D::Conductivity, 10.0, 0.0),
        (U::Kelvin, "K", D::Temperature, 1.0, -273.15),
        (U::QuartUs, "[qt_us]", D::Volume, 0.946_352_946, 0.0),
        (U::PintUs, "[pt_us]", D::Volume, 0.473_176_473, 0.0),
        (U::CupUs, "[cup_us]", D::Volume, 0.236_588_236_5, 0.0),
        (U::PintImperial, "[pt_br]", D::Volume, 0.568_261_25, 0.0),
        (U::FluidOunceImperial, "[foz_br]", D::Volume, 0.028_413_062_5, 0.0),
        (U::TablespoonMetric, "[tbs_m]", D::Volume, 0.015, 0.0),
        (U::CubicFoot, "[cft_i]", D::Volume, 28.316_846_592, 0.0),
        (U::Tonne, "t", D::Mass, 1e6, 0.0),
        (U::GramPerLitre, "g/L", D::MassConcentration, 1e3, 0.0),
        (U::MicrogramPerLitre, "ug/L", D::MassConcentration, 1e-3, 0.0),
        (U::MilligramCaCo3PerLitre, "mg{CaCO3}/L", D::ChargeConcentration, 1.0 / CACO3_MG_PER_MEQ, 0.0),
        (U::MilligramBicarbonatePerLitre, "mg{HCO3}/L", D::ChargeConcentration, 1.0 / 61.017, 0.0),
        (U::GermanDegree, "dH", D::ChargeConcentration, 10.0 / 28.039, 0.0),
        (U::FrenchDegree, "fH", D::ChargeConcentration, 10.0 / CACO3_MG_PER_MEQ, 0.0),
        (U::EnglishDegree, "eH", D::ChargeConcentration, 64.798_91 / 4.546_09 / CACO3_MG_PER_MEQ, 0.0),
        (
            U::GrainPerGallonUs,
            "gpg",
            D::ChargeConcentration,
            64.798_91 / 3.785_411_784 / CACO3_MG_PER_MEQ,
            0.0,
        ),
        (U::Metre, "m", D::Length, 1.0, 0.0),
        (U::Centimetre, "cm", D::Length, 1e-2, 0.0),
        (U::Millimetre, "mm", D::Length, 1e-3, 0.0),
        (U::Inch, "[in_i]", D::Length, 0.0254, 0.0),
        (U::Foot, "[ft_i]", D::Length, 0.3048, 0.0),
        (U::SquareMetre, "m2", D::Area, 1.0, 0.0),
        (U::SquareFoot, "[sft_i]", D::Area, 0.092_903_04, 0.0),
        (U::Hectare, "har", D::Area, 1e4, 0.0),
        (U::Acre, "[acr_br]", D::Area, 4_046.856_422_4, 0.0),
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
    /// µmol m⁻² s⁻¹, kPa, %, °Bx, m or m².
    pub fn canonical(self) -> f64 {
        let (_, _, _, factor, offset) = self.unit.row();
        self.value * factor + offset
    }

    /// The same in another unit; none where that measures something else.
    pub fn in_unit(self, unit: Unit) -> Option<Quantity> {
        let (_, _, dimension, factor, offset) = *unit.row();
        let same = dimension == self.unit.dimension();
        same.then(|| Quantity::new((self.canonical() - offset) / factor, unit))
    }

    /// So much of this in each of another, in canonical units: mL a US gallon is L a L.
    pub fn per(self, other: Quantity) -> f64 {
        self.canonical() / other.canonical()
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
    use proptest::prelude::*;

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
    fn water_is_as_hard_in_every_countrys_degrees() {
        // 1 meq/L is 50.04 mg/L as CaCO3, 2.804 German, 5.004 French, 3.511 English degrees, 2.923 grains a US gallon.
        check(50.043, Unit::MilligramCaCo3PerLitre, 1.0);
        check(61.017, Unit::MilligramBicarbonatePerLitre, 1.0);
        check(2.803_9, Unit::GermanDegree, 1.0);
        check(5.004_3, Unit::FrenchDegree, 1.0);
        check(3.510_86, Unit::EnglishDegree, 1.0);
        check(2.923_4, Unit::GrainPerGallonUs, 1.0);
    }

    #[test]
    fn a_quantity_is_never_told_in_a_unit_of_something_else() {
        assert_eq!(Quantity::new(1.0, Unit::Litre).in_unit(Unit::Gram), None);
        let dose = Quantity::new(5.0, Unit::MilliLitre).per(Quantity::new(1.0, Unit::GallonUs));
        assert!((dose - 1.320_86e-3).abs() < 1e-8, "{dose}");
    }

    proptest! {
        #[test]
        fn units_go_there_and_back(
            value in -1e6..1e6,
            from in proptest::sample::select(Unit::all()),
            to in proptest::sample::select(Unit::all()),
        ) {
            let entered = Quantity::new(value, from);
            if let Some(there) = entered.in_unit(to) {
                let back = there.in_unit(from).unwrap();
                prop_assert!((back.value - value).abs() <= 1e-9 * value.abs().max(1e6), "{entered} {there} {back}");
            } else {
                prop_assert_ne!(from.dimension(), to.dimension());
            }
        }
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
