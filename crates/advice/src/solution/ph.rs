//! The pH of a solution from its totals, and what takes it to another.

use super::component::{Component, Composition};
use super::speciation::{Carbon, OutsideModel, Speciation, beyond_limits, speciate};
use crate::root;

/// The forms of a solution at its own pH, which is where charges balance.
/// # Errors
/// [`OutsideModel`], also when strong ions are so far out of balance that no pH makes up for them.
pub fn at_own_ph(
    composition: &Composition,
    carbon: Carbon,
    temperature_c: f64,
) -> Result<Speciation, OutsideModel> {
    let charge = |ph| match beyond_limits(composition, carbon, ph, temperature_c) {
        // So alkaline that hydroxide, or the air's carbon dioxide, is more than anything balances.
        Err(OutsideModel::TooConcentrated { .. }) if ph > 7.0 => Ok(f64::NEG_INFINITY),
        found => found.map(|found| found.charge_meq_l()),
    };
    let ph = root::falling(charge, 0.0, 14.0)?.ok_or(OutsideModel::Unbalanced)?;
    speciate(composition, carbon, ph, temperature_c)
}

/// Water with this alkalinity and pH: the bicarbonate of one cation, whose carbon follows from both. Where the cation is not
/// known calcium is the likeliest.
/// # Errors
/// [`OutsideModel`] when no carbon gives both, as where hydroxide alone is more than the alkalinity.
pub fn water_of_alkalinity(
    alkalinity_meq_l: f64,
    cation: Component,
    ph: f64,
    temperature_c: f64,
) -> Result<Composition, OutsideModel> {
    let charge = f64::from(cation.reference_charge());
    with_carbon_for(&Composition::default().with(cation, alkalinity_meq_l / charge), ph, temperature_c)
}

/// The same solution with as much inorganic carbon as balances its charges at this pH.
/// # Errors
/// [`OutsideModel`] when no carbon does: negative charges are more already.
pub fn with_carbon_for(
    composition: &Composition,
    ph: f64,
    temperature_c: f64,
) -> Result<Composition, OutsideModel> {
    let with = |carbon| composition.with(Component::Carbonate, carbon);
    let charge =
        |carbon| speciate(&with(carbon), Carbon::Closed, ph, temperature_c).map(|found| found.charge_meq_l());
    root::falling_from_nought(charge, MOST_MMOL_L)?.map(with).ok_or(OutsideModel::Unbalanced)
}

/// The same solution with as much sodium or chloride as balances its charges at this pH: what a pH reading tells of
/// the strong ions that an analysis left out.
/// # Errors
/// [`OutsideModel`], as for the solution itself.
pub fn balanced_at(
    composition: &Composition,
    ph: f64,
    temperature_c: f64,
) -> Result<Composition, OutsideModel> {
    let lacking = |composition: &Composition| {
        speciate(composition, Carbon::Closed, ph, temperature_c).map(|found| found.charge_meq_l())
    };
    let positive = lacking(composition)? > 0.0;
    let with = |more| composition.with(if positive { Component::Chloride } else { Component::Sodium }, more);
    let charge = |more| lacking(&with(more)).map(|charge| if positive { charge } else { -charge });
    root::falling_from_nought(charge, MOST_MMOL_L)?.map(with).ok_or(OutsideModel::Unbalanced)
}

/// More of anything than this is no dose in a feed.
const MOST_MMOL_L: f64 = 400.0;

/// Why no dose was found.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoDose {
    /// The reagent moves the pH away from the target, or is too weak to get there.
    #[error("pH {target} is not reached from {start:.2} with this reagent")]
    NotReached {
        /// pH before.
        start: f64,
        /// pH asked for.
        target: f64,
    },
    /// The solution is beyond the model.
    #[error(transparent)]
    Outside(#[from] OutsideModel),
}

/// How much of a reagent takes a solution to a pH, mmol/L, nothing going to or coming from the air. The solution is
/// taken as it balances, so its own pH is the start.
/// # Errors
/// [`NoDose`] when the reagent works the other way or is too weak.
pub fn dose_to_ph(
    composition: &Composition,
    reagent: &Composition,
    target_ph: f64,
    temperature_c: f64,
) -> Result<f64, NoDose> {
    let charge_with = |dose: f64| {
        speciate(&composition.plus(reagent, dose), Carbon::Closed, target_ph, temperature_c)
            .map(|found| found.charge_meq_l())
    };
    let before = charge_with(0.0)?;
    if before.abs() < 1e-9 {
        return Ok(0.0);
    }
    // At a target below the own pH the solution has too many positive charges, which acid must take away.
    let signed = |dose| charge_with(dose).map(|charge| charge * before.signum());
    match root::falling_from_nought(signed, MOST_MMOL_L)? {
        Some(dose) => Ok(dose),
        None => {
            let start = at_own_ph(composition, Carbon::Closed, temperature_c)?.ph;
            Err(NoDose::NotReached { start, target: target_ph })
        }
    }
}

/// Alkalinity, meq/L: the strong acid that takes a solution to pH 4.5 (Standard Methods 2320). Phosphate counts with it, as it
/// does in the bottle. None is left where the solution is as acid already.
/// # Errors
/// [`OutsideModel`], as for the solution itself.
pub fn alkalinity_meq_l(composition: &Composition, temperature_c: f64) -> Result<f64, OutsideModel> {
    const END_POINT: f64 = 4.5;
    let acid = Composition::default().with(Component::Chloride, 1.0);
    match dose_to_ph(composition, &acid, END_POINT, temperature_c) {
        Ok(meq_l) => Ok(meq_l),
        Err(NoDose::NotReached { .. }) => Ok(0.0),
        Err(NoDose::Outside(outside)) => Err(outside),
    }
}

/// Strong base that moves the pH by one, mmol/L, at the pH of the solution as it is measured.
/// # Errors
/// [`OutsideModel`], as for the solution itself.
pub fn buffer_capacity_mmol_l(
    composition: &Composition,
    ph: f64,
    temperature_c: f64,
) -> Result<f64, OutsideModel> {
    // The derivative over a tenth of pH, as a person would measure it.
    const STEP: f64 = 0.05;
    let at = |ph| speciate(composition, Carbon::Closed, ph, temperature_c).map(|found| found.charge_meq_l());
    Ok((at(ph - STEP)? - at(ph + STEP)?) / (2.0 * STEP))
}
