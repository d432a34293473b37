//! Amounts of product: integers in the ledger, so that sums are exact.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, Neg, Sub};

use crate::code::{Coded, coded};
use crate::metric::Dimension;
use crate::quantity::{Quantity, Unit};

/// The largest amount: integers up to 2^53 − 1 survive every JSON reader.
pub const LARGEST: i64 = (1 << 53) - 1;

coded! {
    /// The base unit of a product.
    Base {
        /// A liquid, counted in mL.
        Volume = "mL",
        /// A solid, counted in g.
        Mass = "g",
    }
}

impl Base {
    /// mL or g.
    pub fn unit(self) -> Unit {
        match self {
            Base::Volume => Unit::MilliLitre,
            Base::Mass => Unit::Gram,
        }
    }

    fn dimension(self) -> Dimension {
        self.unit().dimension()
    }
}

/// An amount in thousandths of the product's base unit: microlitres or milligrams.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Amount(i64);

impl Amount {
    /// Nothing.
    pub const ZERO: Amount = Amount(0);

    /// So many microlitres or milligrams.
    pub const fn from_thousandths(thousandths: i64) -> Self {
        Amount(thousandths)
    }

    /// So many millilitres or grams, rounded to the thousandth: for figures that are estimates anyway.
    pub fn rounded(base_units: f64) -> Self {
        Amount((base_units * 1000.0).round() as i64)
    }

    /// What was entered, exactly.
    /// # Errors
    /// [`NotAnAmount`] when the unit is of another base, the amount is finer than a thousandth of the base
    /// unit (refused, never rounded silently), or too large. Units that are no decimal multiple of the base
    /// (gallons, ounces, spoons) are taken to the nearest thousandth, since nobody pours finer.
    pub fn entered(entered: Quantity, base: Base) -> Result<Amount, NotAnAmount> {
        if entered.unit.dimension() != base.dimension() {
            return Err(NotAnAmount::WrongUnit { unit: entered.unit, base });
        }
        let thousandths = match base {
            Base::Volume => entered.canonical() * 1e6,
            Base::Mass => entered.canonical() * 1e3,
        };
        let whole = thousandths.round();
        if whole.is_nan() || whole.abs() > LARGEST as f64 {
            return Err(NotAnAmount::TooLarge { entered });
        }
        let decimal = !matches!(
            entered.unit,
            Unit::GallonUs
                | Unit::GallonImperial
                | Unit::QuartUs
                | Unit::PintUs
                | Unit::CupUs
                | Unit::PintImperial
                | Unit::FluidOunceUs
                | Unit::FluidOunceImperial
                | Unit::CubicFoot
                | Unit::TablespoonUs
                | Unit::TeaspoonUs
                | Unit::Ounce
                | Unit::Pound
        );
        if decimal && (thousandths - whole).abs() > 1e-6 * whole.abs().max(1.0) {
            return Err(NotAnAmount::TooFine { entered, base });
        }
        Ok(Amount(whole as i64))
    }

    /// Microlitres or milligrams.
    pub const fn thousandths(self) -> i64 {
        self.0
    }

    /// Millilitres or grams, for arithmetic of estimates.
    pub fn base_units(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// As a quantity in the base unit.
    pub fn quantity(self, base: Base) -> Quantity {
        Quantity::new(self.base_units(), base.unit())
    }

    /// Whether there is any.
    pub const fn is_positive(self) -> bool {
        self.0 > 0
    }
}

impl Add for Amount {
    type Output = Amount;
    fn add(self, other: Amount) -> Amount {
        Amount(self.0 + other.0)
    }
}

impl Sub for Amount {
    type Output = Amount;
    fn sub(self, other: Amount) -> Amount {
        Amount(self.0 - other.0)
    }
}

impl Neg for Amount {
    type Output = Amount;
    fn neg(self) -> Amount {
        Amount(-self.0)
    }
}

impl Sum for Amount {
    fn sum<I: Iterator<Item = Amount>>(amounts: I) -> Amount {
        amounts.fold(Amount::ZERO, Add::add)
    }
}

impl Amount {
    /// As precise as one reads it: in whole mL (or g) from a hundred on.
    pub fn to_read(self) -> Amount {
        if self.base_units().abs() < 100.0 { self } else { Amount::rounded(self.base_units().round()) }
    }
}

/// mL or g, without the unit, which the product knows.
impl fmt::Display for Amount {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}", self.base_units())
    }
}

/// What was entered is no amount of the product.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotAnAmount {
    /// A mass where a volume is kept, or the other way round.
    #[error("{} does not fit a product counted in {}", unit.code(), base.unit().code())]
    WrongUnit {
        /// The unit given.
        unit: Unit,
        /// What the product is counted in.
        base: Base,
    },
    /// More than three decimals of the base unit.
    #[error("{entered} is finer than 0.001 {}", base.unit().code())]
    TooFine {
        /// What was entered.
        entered: Quantity,
        /// What the product is counted in.
        base: Base,
    },
    /// Beyond what the ledger holds.
    #[error("{entered} is more than the ledger holds")]
    TooLarge {
        /// What was entered.
        entered: Quantity,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(value: f64, unit: Unit, base: Base, thousandths: Option<i64>) {
        let got = Amount::entered(Quantity::new(value, unit), base).ok().map(Amount::thousandths);
        assert_eq!(got, thousandths, "{value} {}", unit.code());
    }

    #[test]
    fn amounts_are_exact_to_the_thousandth_and_no_finer() {
        check(0.3, Unit::MilliLitre, Base::Volume, Some(300));
        check(12.345, Unit::MilliLitre, Base::Volume, Some(12_345));
        check(12.3456, Unit::MilliLitre, Base::Volume, None);
        check(5.0, Unit::Litre, Base::Volume, Some(5_000_000));
        check(1.0, Unit::TeaspoonUs, Base::Volume, Some(4_929));
        check(1.0, Unit::FluidOunceImperial, Base::Volume, Some(28_413));
        check(1.0, Unit::QuartUs, Base::Volume, Some(946_353));
        check(1.0, Unit::PintImperial, Base::Volume, Some(568_261));
        check(1.5, Unit::Kilogram, Base::Mass, Some(1_500_000));
        check(1.5, Unit::Kilogram, Base::Volume, None);
        check(1e13, Unit::Litre, Base::Volume, None);
        check(f64::NAN, Unit::Litre, Base::Volume, None);
    }
}
