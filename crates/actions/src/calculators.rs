//! Calculators: chemistry for whoever has a role. Nothing is loaded and nothing kept.

use fillmark_advice::solution::calculate::acid::{AcidDose, AcidQuestion, acid};
use fillmark_advice::solution::calculate::air::{Air, AirQuestion, air};
use fillmark_advice::solution::calculate::meter::{MeterQuestion, Meters, meter};
use fillmark_advice::solution::calculate::solution::{Recipe, Solution, solution};
use fillmark_advice::solution::calculate::unit::{Converted, unit};
use fillmark_domain::people::Act;
use fillmark_domain::{Quantity, Unit};

use crate::{Caller, Refusal};

/// What a recipe comes to.
/// # Errors
/// When the caller has no role, or the recipe cannot be answered.
pub fn calculate_solution(caller: &Caller, recipe: &Recipe) -> Result<Solution, Refusal> {
    caller.may_in_business(Act::Read)?;
    Ok(solution(recipe)?)
}

/// What takes a water to a pH.
/// # Errors
/// When the caller has no role, or there is no such dose.
pub fn calculate_acid(caller: &Caller, question: &AcidQuestion) -> Result<AcidDose, Refusal> {
    caller.may_in_business(Act::Read)?;
    Ok(acid(question)?)
}

/// A quantity in another unit.
/// # Errors
/// When the caller has no role, or the unit measures something else.
pub fn convert_unit(caller: &Caller, quantity: Quantity, to: Unit) -> Result<Converted, Refusal> {
    caller.may_in_business(Act::Read)?;
    Ok(unit(quantity, to)?)
}

/// Moisture of the air, and light of a day.
/// # Errors
/// When the caller has no role, or half of the question is missing.
pub fn calculate_air(caller: &Caller, question: &AirQuestion) -> Result<Air, Refusal> {
    caller.may_in_business(Act::Read)?;
    Ok(air(question)?)
}

/// Whether meters may be used.
/// # Errors
/// When the caller has no role, or buffers or standard are not known.
pub fn check_meter(caller: &Caller, question: &MeterQuestion) -> Result<Meters, Refusal> {
    caller.may_in_business(Act::Read)?;
    Ok(meter(question)?)
}
