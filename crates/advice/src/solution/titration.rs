//! What a pH takes from one value to another, tabulated: whoever learns asks it again and again.

use super::component::{Component, Composition};
use super::fill::{Acidity, SourceWater};
use super::ph::water_of_alkalinity;
use super::reagents::{Chemistry as _, Reagent};
use super::speciation::{Carbon, OutsideModel, speciate};

/// mmol/L of a reagent that a solution takes to come to each pH, from some pH of its own that does not matter.
#[derive(Debug, Clone, PartialEq)]
pub struct Titration {
    /// By pH, the lowest first.
    taken: Vec<(f64, f64)>,
}

/// Whoever mends a tank that was poured into by mistake starts within (our own judgement).
const LOWEST_PH: f64 = 3.5;
/// So many steps of [`STEP_PH`] above.
const STEPS: u32 = 24;
/// Between them the curve bends little.
const STEP_PH: f64 = 0.25;
/// Solutions in tanks are about so warm (common practice, no source).
const SOLUTION_C: f64 = 20.0;

impl Titration {
    /// Of a solution made of a water, with phosphate as it stands in feeds, by a reagent. At each pH the reagent makes good what
    /// the charges lack.
    /// # Errors
    /// [`OutsideModel`], as for the water itself.
    pub fn of_feed(
        water: Acidity,
        phosphate_mmol_l: f64,
        reagent: Reagent,
    ) -> Result<Titration, OutsideModel> {
        let ions = water_of_alkalinity(water.alkalinity_meq_l, Component::Calcium, water.ph, SOLUTION_C)?;
        let ions =
            ions.with(Component::Phosphate, phosphate_mmol_l).with(Component::Potassium, phosphate_mmol_l);
        let with = ions.plus(&reagent.per_mol(), 1.0);
        let charge = |ions: &Composition, ph| {
            speciate(ions, Carbon::Closed, ph, SOLUTION_C).map(|found| found.charge_meq_l())
        };
        let at = |step: u32| {
            let ph = LOWEST_PH + f64::from(step) * STEP_PH;
            let lacking = charge(&ions, ph)?;
            Ok((ph, lacking / (lacking - charge(&with, ph)?)))
        };
        Ok(Titration { taken: (0..=STEPS).map(at).collect::<Result<_, OutsideModel>>()? })
    }

    /// mmol/L that take it from one pH to another; none where the reagent moves it the other way, or beyond the table.
    pub fn mmol_l(&self, from: f64, to: f64) -> Option<f64> {
        let taken = self.at(to)? - self.at(from)?;
        (taken >= 0.0).then_some(taken)
    }

    fn at(&self, ph: f64) -> Option<f64> {
        let above = self.taken.iter().position(|(at, _)| *at >= ph)?.max(1);
        let ((low, of_low), (high, of_high)) = (*self.taken.get(above - 1)?, *self.taken.get(above)?);
        (ph >= low).then(|| of_low + (of_high - of_low) * (ph - low) / (high - low))
    }
}

impl SourceWater {
    /// The titration of a feed made with it; none where its pH or alkalinity is not known, or it is beyond the model.
    pub fn titration(self, phosphate_mmol_l: f64, reagent: Reagent) -> Option<Titration> {
        Titration::of_feed(self.acidity?, phosphate_mmol_l, reagent).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::reagents::dose_mmol_l;

    const WATER: Acidity = Acidity { ph: 7.8, alkalinity_meq_l: 3.0 };

    /// Against the dose as it is found by itself, to a twentieth: the curve is straight between its points.
    #[test]
    fn the_table_takes_what_the_dose_takes() {
        let ions = water_of_alkalinity(3.0, Component::Calcium, 7.8, 20.0).unwrap();
        for reagent in [Reagent::Nitric, Reagent::Phosphoric, Reagent::Sulfuric, Reagent::Citric] {
            let table = Titration::of_feed(WATER, 0.0, reagent).unwrap();
            for to in [7.0, 6.3, 5.8] {
                let dose = dose_mmol_l(&ions, reagent, to, 20.0).unwrap();
                let got = table.mmol_l(7.8, to).unwrap();
                assert!((got / dose - 1.0).abs() < 0.05, "{reagent:?} to {to}: {got} instead of {dose}");
            }
        }
    }

    #[test]
    fn a_reagent_goes_one_way_only_and_phosphate_resists() {
        let acid = Titration::of_feed(WATER, 0.0, Reagent::Nitric).unwrap();
        assert_eq!((acid.mmol_l(5.8, 6.5), acid.mmol_l(10.0, 6.0)), (None, None));
        let base = Titration::of_feed(WATER, 0.0, Reagent::PotassiumHydroxide).unwrap();
        assert!(base.mmol_l(5.8, 6.5).unwrap() > 0.0 && base.mmol_l(6.5, 5.8).is_none());
        let fed = Titration::of_feed(WATER, 2.0, Reagent::Nitric).unwrap();
        assert!(fed.mmol_l(7.0, 6.0).unwrap() > acid.mmol_l(7.0, 6.0).unwrap() + 0.3);
    }
}
