//! Acid that goes into a tank with its water, in parts.

use fillmark_domain::Base;
use fillmark_domain::stock::ProductId;

use super::Acidity;
use crate::solution::component::Component;
use crate::solution::ph::{NoDose, water_of_alkalinity};
use crate::solution::reagents::{Chemistry as _, FIRST_MEQ_L, FIRST_PART, Reagent, dose_mmol_l};
use crate::solution::step::short_of_passing;

/// Acid that goes in before anything else goes to this pH, between 6 and 6.5 (common practice, no source).
pub(in crate::solution) const ACID_FIRST_PH: f64 = 6.25;

/// Less than a drop cannot be poured, nor less weighed, mL or g (common practice, no source).
pub(in crate::solution) const DROP: f64 = 0.05;

/// An acid at hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Acid {
    /// Which product.
    pub product: ProductId,
    /// What it is.
    pub reagent: Reagent,
    /// How strong, mmol in a mL (or g).
    pub mmol_per_unit: f64,
    /// What it is counted in.
    pub base: Base,
    /// How much of it was needed for each mL (or g) that chemistry expected; 1 before there are records.
    pub response: f64,
    /// Standard deviation of the response's logarithm from one fill to the next; none before there are records.
    pub spread: Option<f64>,
    /// EC that one mL (or g) of it in a litre adds, mS/cm.
    pub ec_rise: f64,
}

/// Water on its way into a tank that acid goes into.
pub(in crate::solution) struct IntoTank {
    /// L of the water.
    pub(in crate::solution) water_l: f64,
    /// Its temperature, °C.
    pub(in crate::solution) temperature_c: f64,
    /// L in the tank with it.
    pub(in crate::solution) tank_l: f64,
    /// Acid that what stands in the tank takes besides, mmol.
    pub(in crate::solution) tank_takes_mmol: f64,
    /// The pH it is for.
    pub(in crate::solution) to_ph: f64,
}

impl Acid {
    /// The acid that water takes on its way into a tank to a pH, with what the tank itself takes besides.
    pub(in crate::solution) fn with_water(
        &self,
        acidity: Acidity,
        into: &IntoTank,
    ) -> Result<AcidDose, NoDose> {
        let of_water = water_of_alkalinity(
            acidity.alkalinity_meq_l,
            Component::Calcium,
            acidity.ph,
            into.temperature_c,
        )?;
        let mmol_l = match dose_mmol_l(&of_water, self.reagent, into.to_ph, into.temperature_c) {
            Err(NoDose::NotReached { start, .. }) if start <= into.to_ph => 0.0,
            found => found?,
        };
        Ok(self.in_parts(mmol_l * into.water_l + into.tank_takes_mmol, into.tank_l, into.to_ph))
    }

    /// EC that a dose of it adds to so many litres, mS/cm.
    pub(in crate::solution) fn ec_ms_cm(&self, dose: AcidDose, litres: f64) -> f64 {
        self.ec_rise * dose.expected / litres
    }

    /// So many mmol in all, in parts: the first is as much as passes the pH by a small chance only, and before there are records
    /// small for the whole tank.
    pub(super) fn in_parts(&self, mmol: f64, tank_l: f64, to_ph: f64) -> AcidDose {
        let expected = mmol / self.mmol_per_unit * self.response;
        let first = match self.spread {
            Some(spread) => expected * short_of_passing(spread),
            None => {
                let bound = FIRST_MEQ_L * tank_l / (self.mmol_per_unit * self.reagent.equivalents_per_mol());
                (FIRST_PART * expected).min(bound)
            }
        };
        AcidDose { product: self.product, base: self.base, expected, first, to_ph }
    }
}

/// Acid, poured in parts and measured after each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AcidDose {
    /// Which product.
    pub product: ProductId,
    /// What it is counted in.
    pub base: Base,
    /// mL (or g) that are expected in all.
    pub expected: f64,
    /// mL (or g) to begin with, before the pH is measured again.
    pub first: f64,
    /// The pH it is for.
    pub to_ph: f64,
}

impl AcidDose {
    /// Nothing of less than can be measured out.
    pub(in crate::solution) fn pourable(self) -> Option<AcidDose> {
        (self.expected >= DROP).then_some(self)
    }
}
