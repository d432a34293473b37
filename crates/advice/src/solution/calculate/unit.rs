//! A quantity told in another unit.

use fillmark_domain::{Coded, Dimension, Faults, Quantity, Unit};

/// The same, told in two units.
#[derive(Debug, Clone, PartialEq)]
pub struct Converted {
    /// As it was given.
    pub from: Quantity,
    /// In the unit asked for.
    pub to: Quantity,
    /// Why.
    pub reasons: Vec<Reason>,
    /// Beware.
    pub cautions: Vec<Caution>,
}

/// Why a figure is what it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// Both units measure the same; one of the first is so much of the canonical unit.
    SameDimension,
    /// Conductivity scales of ppm are conventions, not masses.
    PpmIsAScale,
    /// Water hardness and alkalinity are compared by charge.
    ByCharge,
}

/// What to beware of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Caution {
    /// A ppm figure means nothing without its scale.
    NameTheScale,
    /// Conductivities compare at one temperature only.
    At25Degrees,
}

/// Nothing is colder, °C.
const ABSOLUTE_ZERO_C: f64 = -273.15;

/// A quantity in another unit.
/// # Errors
/// When the units measure different things, and says which would do; when it is a temperature that nothing has.
pub fn unit(from: Quantity, to: Unit) -> Result<Converted, Faults> {
    let dimension = from.unit.dimension();
    let colder = dimension == Dimension::Temperature && from.canonical() < ABSOLUTE_ZERO_C;
    if colder {
        let mut faults = Faults::default();
        let detail = format!("expected at least {ABSOLUTE_ZERO_C} °C: nothing is colder");
        faults.add("/quantity/value", "out_of_range", detail);
        return Err(faults);
    }
    let Some(told) = from.in_unit(to) else {
        let same = Unit::all().iter().filter(|unit| unit.dimension() == dimension);
        let codes: Vec<&str> = same.map(|unit| unit.code()).collect();
        let mut faults = Faults::default();
        let (measured, other) = (dimension.name(), to.dimension().name());
        let detail = format!(
            "{} measures {measured} and {} {other}: expected one of {}",
            from.unit.code(),
            to.code(),
            codes.join(", ")
        );
        faults.add("/to", "other_dimension", detail);
        return Err(faults);
    };
    let is_scale = |unit| [Unit::Ppm500, Unit::Ppm640, Unit::Ppm700].contains(&unit);
    let mut converted =
        Converted { from, to: told, reasons: vec![Reason::SameDimension], cautions: Vec::new() };
    if is_scale(from.unit) || is_scale(to) {
        converted.reasons.push(Reason::PpmIsAScale);
        converted.cautions.push(Caution::NameTheScale);
    }
    if dimension == Dimension::Conductivity {
        converted.cautions.push(Caution::At25Degrees);
    }
    if dimension == Dimension::ChargeConcentration {
        converted.reasons.push(Reason::ByCharge);
    }
    Ok(converted)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(value: f64, from: Unit, to: Unit, expected: f64) {
        let got = unit(Quantity::new(value, from), to).unwrap().to.value;
        assert!((got / expected - 1.0).abs() < 5e-6, "{got} instead of {expected}");
    }

    #[test]
    fn units_are_told_as_in_the_handbooks() {
        // NIST Handbook 44, Appendix C; ppm by 640 after USDA Handbook 60 (1954); 50.04 mg CaCO3 a meq.
        check(1.0, Unit::GallonUs, Unit::Litre, 3.785_412);
        check(1.0, Unit::FluidOunceUs, Unit::MilliLitre, 29.573_53);
        check(1152.0, Unit::Ppm640, Unit::MilliSiemensPerCm, 1.8);
        check(1260.0, Unit::Ppm700, Unit::Ppm500, 900.0);
        check(2.0, Unit::MilliequivalentPerLitre, Unit::MilligramCaCo3PerLitre, 100.086);
    }

    #[test]
    fn a_ppm_is_told_with_its_scale() {
        let converted = unit(Quantity::new(900.0, Unit::Ppm500), Unit::MilliSiemensPerCm).unwrap();
        assert_eq!(converted.cautions, [Caution::NameTheScale, Caution::At25Degrees]);
    }

    #[test]
    fn nothing_is_colder_than_absolute_zero() {
        let faults = unit(Quantity::new(-300.0, Unit::Celsius), Unit::Fahrenheit).unwrap_err();
        assert_eq!(faults.iter().next().unwrap().pointer, "/quantity/value");
        check(0.0, Unit::Kelvin, Unit::Celsius, -273.15);
    }

    #[test]
    fn units_of_different_things_are_refused_with_those_that_would_do() {
        let faults = unit(Quantity::new(1.0, Unit::Litre), Unit::Gram).unwrap_err();
        let fault = faults.iter().next().unwrap();
        assert_eq!((fault.pointer.as_str(), fault.code), ("/to", "other_dimension"));
        assert!(
            fault.detail.starts_with("L measures volume and g mass: expected one of L, mL"),
            "{}",
            fault.detail
        );
    }
}
