//! Calculators: what is asked in the units of the trade, and the figures, reasons and cautions that are answered.
//!
//! A question becomes a word of `advice` in its canonical units, an answer a body with its digits cut to what the chemistry
//! can tell. The example of each answer is what its question's example is answered; a claim asks and compares.

mod acid;
mod air;
mod meter;
mod solution;
mod told;
mod unit;

use fillmark_advice::solution::calculate;
use fillmark_domain::{Coded, Dimension, Faults};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::Quantity;

pub use acid::*;
pub use air::*;
pub use meter::*;
pub use solution::*;
pub use unit::*;

/// So much of an element in a litre.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"element": "N", "mg_l": 150.1}))]
pub struct ElementAmount {
    /// Its symbol.
    #[schema(max_length = 2)]
    pub element: String,
    /// mg/L, which growers call ppm.
    #[schema(minimum = 0, maximum = 1e9)]
    pub mg_l: f64,
}

impl From<&calculate::ElementAmount> for ElementAmount {
    fn from(amount: &calculate::ElementAmount) -> Self {
        Self { element: amount.element.to_owned(), mg_l: figure(amount.mg_l) }
    }
}

/// A value as chemistry can tell it: in four digits.
fn figure(value: f64) -> f64 {
    digits(value, 4)
}

/// A value in so many digits, as a decimal number.
fn digits(value: f64, count: usize) -> f64 {
    // Nought without a sign, which JSON would show.
    let value = if value == 0.0 { 0.0 } else { value };
    format!("{value:.*e}", count - 1).parse().unwrap_or(value)
}

/// The canonical value of a quantity that must measure this and lie in this range.
pub(crate) fn measured(
    quantity: Quantity,
    dimension: Dimension,
    (low, high): (f64, f64),
    pointer: &str,
    faults: &mut Faults,
) -> Option<f64> {
    let quantity = quantity.word();
    if quantity.unit.dimension() != dimension {
        let fit = fillmark_domain::Unit::all().iter().filter(|unit| unit.dimension() == dimension);
        let codes: Vec<&str> = fit.map(|unit| unit.code()).collect();
        let (name, found) = (dimension.name(), quantity.unit.code());
        let detail = format!("expected {name}, in one of {}; found {found}", codes.join(", "));
        faults.add(pointer, "not_a_value", detail);
        return None;
    }
    let value = quantity.canonical();
    faults.range(pointer, value, low, high);
    Some(value)
}

/// A number that may be left out and must else lie in a range.
fn ranged(value: Option<f64>, (low, high): (f64, f64), pointer: &str, faults: &mut Faults) {
    if let Some(value) = value {
        faults.range(pointer, value, low, high);
    }
}

/// At most so many of something.
fn at_most(count: usize, most: usize, pointer: &str, faults: &mut Faults) {
    faults.unless(count <= most, pointer, "too_many", format!("expected at most {most}, found {count}"));
}

/// Litres that anybody fills.
const LITRES: (f64, f64) = (1e-3, 1e7);
/// Waters and feeds for which the chemistry is known, °C.
const SOLUTION_C: (f64, f64) = (0.0, 50.0);
/// pH of a solution.
const PH: (f64, f64) = (0.0, 14.0);

#[cfg(test)]
mod tests {
    use super::*;
    use fillmark_domain::Unit;

    #[test]
    fn a_figure_has_four_digits() {
        assert_eq!([1413.24, 0.029_046_3, -0.0, 99_999.0].map(figure), [1413.0, 0.029_05, 0.0, 100_000.0]);
        assert!(figure(-0.0).is_sign_positive());
    }

    #[test]
    fn a_unit_of_something_else_is_refused_with_those_that_fit() {
        let mut faults = Faults::default();
        let grams = Quantity::new(1.0, Unit::Gram);
        assert_eq!(measured(grams, Dimension::Pressure, (0.0, 1.0), "/x", &mut faults), None);
        let fault = faults.iter().next().unwrap();
        assert_eq!(fault.detail, "expected pressure, in one of kPa; found g");
    }
}
