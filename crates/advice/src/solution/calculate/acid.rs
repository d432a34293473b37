//! How much acid, or alkali, takes a water to a pH.

use fillmark_domain::Faults;

use super::elements::{ElementAmount, amounts_of_ions};
use super::{Caution, Reason};
use crate::solution::component::{Component, Composition};
use crate::solution::ph::{alkalinity_meq_l, at_own_ph, water_of_alkalinity};
use crate::solution::reagents::{Chemistry as _, FIRST_PART, Reagent, dose_mmol_l, volume_ml};
use crate::solution::speciation::{Carbon, OutsideModel};

/// A water, a product and a target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AcidQuestion {
    /// pH of the water.
    pub water_ph: f64,
    /// Its alkalinity, meq/L.
    pub alkalinity_meq_l: f64,
    /// How much of it, L.
    pub water_l: f64,
    /// Its temperature, °C.
    pub temperature_c: f64,
    /// What is given.
    pub reagent: Reagent,
    /// How much of the product is it, % by mass.
    pub strength_percent: f64,
    /// Density by the label, kg/L; by table where it is not told.
    pub density_kg_l: Option<f64>,
    /// pH wanted.
    pub target_ph: f64,
}

/// The dose and what it does.
#[derive(Debug, Clone, PartialEq)]
pub struct AcidDose {
    /// Of the acid itself in the water, mmol/L.
    pub dose_mmol_l: f64,
    /// Of the product for all of the water, mL.
    pub volume_ml: f64,
    /// What it adds.
    pub adds: Vec<ElementAmount>,
    /// Alkalinity left, to pH 4.5, meq/L.
    pub alkalinity_left_meq_l: f64,
    /// pH once the air has taken (or given) its carbon dioxide.
    pub ph_after_aeration: f64,
    /// Why.
    pub reasons: Vec<Reason>,
    /// Beware.
    pub cautions: Vec<Caution>,
}

/// Carbon dioxide of the open air, ppm by volume; a closed house with a crop has less by day, one that is enriched twice as
/// much.
const AIR_CO2_PPM: f64 = 420.0;

/// Below so much the pH of a feed moves with every root and drop, meq/L. Common practice, no source.
const LITTLE_MEQ_L: f64 = 0.5;

/// What takes a water to its target.
/// # Errors
/// When there is no such water, the product's density is not known, or it does not reach the target.
pub fn acid(question: &AcidQuestion) -> Result<AcidDose, Faults> {
    let mut faults = Faults::default();
    let density = question.density_kg_l.or(question.reagent.density_kg_l(question.strength_percent));
    faults.unless(
        density.is_some(),
        "/product/density_kg_per_l",
        "needed",
        "expected the density, which the table does not tell for that strength",
    );
    let water = water_of_alkalinity(
        question.alkalinity_meq_l,
        Component::Calcium,
        question.water_ph,
        question.temperature_c,
    );
    let water = faults.take("/water/ph", "no_such_water", water);
    let (Some(density_kg_l), Some(water)) = (density, water) else { return Err(faults) };
    let dose = dose_mmol_l(&water, question.reagent, question.target_ph, question.temperature_c);
    let Some(dose) = faults.take("/target_ph", "not_reached", dose) else { return Err(faults) };
    let made = given(question, &water, dose, density_kg_l);
    faults.take("", "outside_model", made).ok_or(faults)
}

fn given(
    question: &AcidQuestion,
    water: &Composition,
    dose_mmol_l: f64,
    density_kg_l: f64,
) -> Result<AcidDose, OutsideModel> {
    let mol_l = question.reagent.mol_l(question.strength_percent, density_kg_l);
    let added = Composition::default().plus(&question.reagent.per_mol(), dose_mmol_l);
    let after = water.plus(&added, 1.0);
    let air = Carbon::OpenToAir { co2_ppm: AIR_CO2_PPM };
    let mut given = AcidDose {
        dose_mmol_l,
        volume_ml: volume_ml(dose_mmol_l, question.water_l, mol_l),
        adds: amounts_of_ions(&added),
        alkalinity_left_meq_l: alkalinity_left_meq_l(question, water, &after)?,
        ph_after_aeration: at_own_ph(&after, air, question.temperature_c)?.ph,
        reasons: vec![
            Reason::DoseKeepsCarbon,
            Reason::ProductStrength { mol_l, density_kg_l, of_table: question.density_kg_l.is_none() },
            Reason::AirTakesCarbon { co2_ppm: AIR_CO2_PPM },
        ],
        cautions: vec![Caution::Burns, Caution::NoChlorine],
    };
    given.beware(question);
    Ok(given)
}

/// What the water held as it was stated, less what titrates away of it: a bottle and a sum of charges differ by the protons at
/// the end point.
fn alkalinity_left_meq_l(
    question: &AcidQuestion,
    before: &Composition,
    after: &Composition,
) -> Result<f64, OutsideModel> {
    let of = |water| alkalinity_meq_l(water, question.temperature_c);
    Ok((question.alkalinity_meq_l - of(before)? + of(after)?).max(0.0))
}

impl AcidDose {
    fn beware(&mut self, question: &AcidQuestion) {
        let left_meq_l = self.alkalinity_left_meq_l;
        let ph = self.ph_after_aeration;
        let first_ml = FIRST_PART * self.volume_ml;
        let mut caution = |holds: bool, caution| self.cautions.extend(holds.then_some(caution));
        caution(question.reagent == Reagent::Nitric, Caution::Oxidiser);
        caution(true, Caution::LabelFirst);
        caution(true, Caution::InParts { first_ml });
        caution(ph > question.target_ph + 0.1, Caution::ClimbsWithAir { ph });
        caution(left_meq_l < LITTLE_MEQ_L, Caution::LittleBuffer { left_meq_l });
        caution(question.reagent == Reagent::Citric, Caution::Eaten);
        caution(!self.adds.is_empty(), Caution::CountsInRecipe);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use fillmark_domain::{Quantity, Unit};

    fn question(reagent: Reagent, strength_percent: f64) -> AcidQuestion {
        AcidQuestion {
            water_ph: 7.8,
            alkalinity_meq_l: 3.0,
            water_l: 1000.0,
            temperature_c: 25.0,
            reagent,
            strength_percent,
            density_kg_l: None,
            target_ph: 6.0,
        }
    }

    #[test]
    fn a_fluid_ounce_neutralises_what_the_extension_service_says() {
        // Adjusting Alkalinity with Acids, fact sheet, Univ. of Massachusetts Amherst Extension, Table 1 (06_ph_acid-023 and
        // -026): one US fluid ounce in 100 US gallons takes away 136 mg/L as CaCO3 (sulfuric, 93 %) or 45 (phosphoric, 75 %).
        for (reagent, percent, density, caco3_mg_l) in
            [(Reagent::Sulfuric, 93.0, 1.835, 136.0), (Reagent::Phosphoric, 75.0, 1.58, 45.0)]
        {
            let water = AcidQuestion {
                alkalinity_meq_l: Quantity::new(caco3_mg_l, Unit::MilligramCaCo3PerLitre).canonical(),
                water_l: Quantity::new(100.0, Unit::GallonUs).canonical(),
                density_kg_l: Some(density),
                target_ph: 4.5,
                ..question(reagent, percent)
            };
            let ounce_ml = 1000.0 * Quantity::new(1.0, Unit::FluidOunceUs).canonical();
            let got = acid(&water).unwrap().volume_ml / ounce_ml;
            assert!((got - 1.0).abs() < 0.06, "{reagent:?}: {got} fluid ounces");
        }
    }

    #[test]
    fn acidified_water_climbs_back_under_air() {
        // 06_ph_acid-108, computed with PHREEQC: 8.14.
        let dose = acid(&question(Reagent::Nitric, 60.0)).unwrap();
        assert!((dose.ph_after_aeration - 8.14).abs() < 0.15, "{}", dose.ph_after_aeration);
        assert!(dose.cautions.iter().any(|caution| matches!(caution, Caution::ClimbsWithAir { .. })));
        assert!(dose.cautions.contains(&Caution::Oxidiser));
        // 14.007 mg of nitrogen a mmol.
        assert_eq!(dose.adds[0].element, "N");
        assert!((dose.adds[0].mg_l - 14.007 * dose.dose_mmol_l).abs() < 1e-9);
    }

    /// A strong acid takes as much alkalinity as it has equivalents.
    #[test]
    fn what_is_left_is_what_was_stated_less_the_dose() {
        let dose = acid(&question(Reagent::Nitric, 60.0)).unwrap();
        assert!((dose.alkalinity_left_meq_l + dose.dose_mmol_l - 3.0).abs() < 1e-3, "{dose:?}");
    }

    #[track_caller]
    fn refused(question: &AcidQuestion, pointer: &str) {
        let faults = acid(question).unwrap_err();
        let found: Vec<_> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
        assert_eq!(found, [pointer]);
    }

    #[test]
    fn what_cannot_be_answered_is_told_by_field() {
        refused(&question(Reagent::PotassiumHydroxide, 45.0), "/target_ph");
        refused(&question(Reagent::Nitric, 99.0), "/product/density_kg_per_l");
        refused(
            &AcidQuestion { alkalinity_meq_l: 0.0, water_ph: 9.0, ..question(Reagent::Nitric, 60.0) },
            "/water/ph",
        );
    }
}
