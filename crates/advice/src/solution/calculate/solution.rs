//! What salts, products and a water make together.

use fillmark_domain::Faults;

use super::elements::{ElementAmount, amounts};
use super::water::Reckoned;
pub use super::water::Water;
use super::{Caution, Reason};
use crate::solution::component::{Component, Composition};
use crate::solution::conductivity::conductivity_ms_cm;
use crate::solution::label::{Declared, Dose, Label};
use crate::solution::ph::{at_own_ph, balanced_at};
use crate::solution::salts::{Salt, of_trade_at_g_l};
use crate::solution::speciation::{Carbon, OutsideModel, Speciation, speciate};

/// A salt by its formula.
#[derive(Debug, Clone, PartialEq)]
pub struct SaltDose {
    /// Such as `KNO3`.
    pub formula: String,
    /// Whether it is the salt as it is sold for feeds, not the pure one.
    pub as_sold: bool,
    /// How much, g/L.
    pub g_l: f64,
}

/// A product by its label.
#[derive(Debug, Clone, PartialEq)]
pub struct ProductDose {
    /// What its label declares.
    pub label: Label,
    /// How much.
    pub dose: Dose,
}

/// What is put together.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recipe {
    /// Salts.
    pub salts: Vec<SaltDose>,
    /// Products.
    pub products: Vec<ProductDose>,
    /// What they go into; pure water where nothing is known.
    pub water: Option<Water>,
}

/// What it comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Conductivity, mS/cm at 25 °C.
    pub ec_ms_cm: f64,
    /// The least it may be.
    pub ec_from_ms_cm: f64,
    /// The most it may be.
    pub ec_to_ms_cm: f64,
    /// pH, where the charges are known to balance.
    pub ph: Option<f64>,
    /// Ionic strength of what is left unpaired, mol/kg.
    pub ionic_strength_mol_kg: f64,
    /// What is declared of each element.
    pub elements: Vec<ElementAmount>,
    /// Why.
    pub reasons: Vec<Reason>,
    /// Beware.
    pub cautions: Vec<Caution>,
}

/// How far conductivities of measured salts and feeds are from the model, %: the rows of `testdata/agronomy` come out within
/// 2.6 where feeds are; copper and zinc sulfate, of which feeds hold traces, are further off.
const WITHIN_PERCENT: f64 = 3.0;

/// Forms are looked for at this pH where labels leave the own pH open: what feeds are kept at.
const FEED_PH: f64 = 6.0;

/// Conductivity, pH, ionic strength and elements of a recipe.
/// # Errors
/// What of it is no salt, no label for its dose, no water, or all together more than the model is good for.
pub fn solution(recipe: &Recipe) -> Result<Solution, Faults> {
    let mut faults = Faults::default();
    let salts = of_salts(&recipe.salts, &mut faults);
    let products = of_products(&recipe.products, &mut faults);
    let water = recipe.water.as_ref().map_or_else(|| Ok(Reckoned::default()), Water::reckoned);
    let Some(water) = faults.part("", water).filter(|_| faults.is_empty()) else { return Err(faults) };
    let known = water.whole.plus(&salts, 1.0);
    let found = match recipe.products.is_empty() {
        true => by_balance(&known, water.tells_ph || recipe.water.is_none()),
        false => by_labels(&known, &products),
    };
    let mut solution = match found {
        Ok(solution) => solution,
        Err(outside) => {
            faults.add("", "outside_model", outside.to_string());
            return Err(faults);
        }
    };
    let labels: Vec<(&Label, Dose)> =
        recipe.products.iter().map(|product| (&product.label, product.dose)).collect();
    // The doses fit their labels, or they would be among the faults.
    solution.elements = amounts(&water.declared.plus(&salts, 1.0), &labels).unwrap_or_default();
    solution.reasons.extend(water.reasons);
    solution.cautions.extend(water.cautions);
    solution.beware(recipe, &salts.plus(&products, 1.0));
    Ok(solution)
}

const CHARGED: &str =
    "expected a salt whose charges balance, such as Ca(NO3)2: a bracket or a number is missing in this one";

fn of_salts(salts: &[SaltDose], faults: &mut Faults) -> Composition {
    let mut sum = Composition::default();
    for (at, dose) in salts.iter().enumerate() {
        let made = match dose.as_sold {
            true => of_trade_at_g_l(&dose.formula, dose.g_l),
            false => Salt::read(&dose.formula).map(|salt| salt.at_g_l(dose.g_l)),
        };
        let pointer = format!("/salts/{at}/formula");
        if let Some(made) = faults.take(&pointer, "not_a_salt", made) {
            sum = sum.plus(&made, 1.0);
            let is_neutral = Salt::read(&dose.formula).is_ok_and(|salt| salt.charge == 0.0);
            faults.unless(is_neutral, &pointer, "charged", CHARGED);
        }
    }
    sum
}

fn of_products(products: &[ProductDose], faults: &mut Faults) -> Composition {
    let mut sum = Composition::default();
    for (at, product) in products.iter().enumerate() {
        let made = product.label.composition(product.dose);
        if let Some(made) = faults.take(format!("/products/{at}/amount"), "not_on_label", made) {
            sum = sum.plus(&made, 1.0);
        }
    }
    sum
}

/// Of salts all charges are known, so the solution has a pH of its own; whether it can be told hangs on the water.
fn by_balance(all: &Composition, tells_ph: bool) -> Result<Solution, OutsideModel> {
    let found = at_own_ph(all, Carbon::Closed, 25.0)?;
    let ec_ms_cm = conductivity_ms_cm(&found);
    let mut solution = between(&found, ec_ms_cm, ec_ms_cm, ec_ms_cm);
    if tells_ph {
        solution.ph = Some(found.ph);
        solution.reasons.push(Reason::PhOfBalance);
    } else {
        solution.cautions.push(Caution::NoPhOfWater);
    }
    Ok(solution)
}

/// Labels leave out counter-ions. Sodium or chloride in their place conduct as others do within a fifth, so the truth lies
/// between the declared ions alone and those filled up. The charges of what else is there are known.
fn by_labels(known: &Composition, products: &Composition) -> Result<Solution, OutsideModel> {
    let filled = known.plus(&balanced_at(products, FEED_PH, 25.0)?, 1.0);
    let found = at_own_ph(&filled, Carbon::Closed, 25.0)?;
    let declared = known.plus(products, 1.0);
    let declared_ms_cm = conductivity_ms_cm(&speciate(&declared, Carbon::Closed, found.ph, 25.0)?);
    let ec_ms_cm = conductivity_ms_cm(&found);
    let mut solution = between(&found, ec_ms_cm, declared_ms_cm.min(ec_ms_cm), declared_ms_cm.max(ec_ms_cm));
    solution.reasons.push(Reason::LabelFilledUp { declared_ms_cm, ph: FEED_PH });
    solution.cautions.push(Caution::NoPhOfLabels);
    Ok(solution)
}

fn between(found: &Speciation, ec_ms_cm: f64, least: f64, most: f64) -> Solution {
    Solution {
        ec_ms_cm,
        ec_from_ms_cm: least * (1.0 - WITHIN_PERCENT / 100.0),
        ec_to_ms_cm: most * (1.0 + WITHIN_PERCENT / 100.0),
        ph: None,
        ionic_strength_mol_kg: found.ionic_strength_mol_kg,
        elements: Vec::new(),
        reasons: vec![Reason::EcOfFreeIons { within_percent: WITHIN_PERCENT }],
        cautions: Vec::new(),
    }
}

impl Solution {
    /// What is to be said of the things that were put in.
    fn beware(&mut self, recipe: &Recipe, added: &Composition) {
        let of = |component| added.mmol_l(component);
        let declares = |wanted: &[Declared]| {
            let labels = recipe.products.iter().flat_map(|product| &product.label.analysis);
            labels.into_iter().any(|(declared, percent)| wanted.contains(declared) && *percent > 0.0)
        };
        let mut caution = |holds: bool, caution| self.cautions.extend(holds.then_some(caution));
        caution(recipe.water.is_none(), Caution::PureWater);
        caution(declares(&[Declared::Nitrogen]), Caution::NitrogenUntold);
        let falls_out =
            of(Component::Calcium) > 0.0 && of(Component::Sulfate) + of(Component::Phosphate) > 0.0;
        caution(falls_out, Caution::CalciumApart);
        caution(recipe.salts.iter().any(|dose| dose.formula.contains("NO3")), Caution::NitratesFeedFire);
        caution(!(recipe.salts.is_empty() && recipe.products.is_empty()), Caution::LabelFirst);
        if declares(&[Declared::UreaNitrogen, Declared::Iron]) {
            self.reasons.push(Reason::DoesNotConduct);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solution::label::Basis;

    fn salt(formula: &str, g_l: f64) -> SaltDose {
        SaltDose { formula: formula.into(), as_sold: false, g_l }
    }

    fn of_salts(salts: &[(&str, f64)]) -> Recipe {
        Recipe {
            salts: salts.iter().map(|(formula, g_l)| salt(formula, *g_l)).collect(),
            ..Recipe::default()
        }
    }

    /// Modified Sonneveld lettuce, g in 100 US gallons (378.54 L).
    fn lettuce() -> Recipe {
        of_salts(&[
            ("5Ca(NO3)2.NH4NO3.10H2O", 184.0 / 378.54),
            ("NH4NO3", 14.4 / 378.54),
            ("KNO3", 167.3 / 378.54),
            ("KH2PO4", 51.5 / 378.54),
            ("MgSO4.7H2O", 93.1 / 378.54),
        ])
    }

    #[track_caller]
    fn check(recipe: &Recipe, expected_mg_l: &[(&str, f64)]) {
        let found = solution(recipe).unwrap();
        for (element, mg_l) in expected_mg_l {
            let got = found.elements.iter().find(|amount| amount.element == *element).unwrap().mg_l;
            assert!((got - mg_l).abs() <= 0.6f64.max(0.03 * mg_l), "{element}: {got} instead of {mg_l}");
        }
    }

    #[track_caller]
    fn refused(recipe: &Recipe, pointer: &str, code: &str) {
        let faults = solution(recipe).unwrap_err();
        let found: Vec<_> = faults.iter().map(|fault| (fault.pointer.as_str(), fault.code)).collect();
        assert_eq!(found, [(pointer, code)]);
    }

    #[test]
    fn a_published_recipe_holds_what_its_authors_say() {
        // Mattson, N. and Peters, C., A recipe for hydroponic success (05_solutions-029 to -033).
        check(&lettuce(), &[("N", 150.0), ("P", 31.0), ("K", 210.0), ("Ca", 90.0), ("Mg", 24.0)]);
        let found = solution(&lettuce()).unwrap();
        assert!((1.5..1.75).contains(&found.ec_ms_cm), "{}", found.ec_ms_cm);
        assert!(found.ec_from_ms_cm < found.ec_ms_cm && found.ec_ms_cm < found.ec_to_ms_cm);
        assert!((4.0..5.5).contains(&found.ph.unwrap()), "{:?}", found.ph);
        for caution in
            [Caution::PureWater, Caution::CalciumApart, Caution::NitratesFeedFire, Caution::LabelFirst]
        {
            assert!(found.cautions.contains(&caution), "{caution:?}");
        }
    }

    #[test]
    fn a_label_tells_elements_and_a_range_but_no_ph() {
        let label = Label {
            basis: Basis::MassByVolume,
            analysis: vec![
                (Declared::Nitrogen, 3.0),
                (Declared::PhosphorusPentoxide, 1.0),
                (Declared::PotassiumOxide, 4.0),
                (Declared::Iron, 0.1),
            ],
        };
        let products = vec![ProductDose { label, dose: Dose::MlPerL(2.0) }];
        let recipe = Recipe { products, ..Recipe::default() };
        // 04_labels-011 to -013.
        check(&recipe, &[("N", 60.0), ("P", 8.73), ("K", 66.4), ("Fe", 2.0)]);
        let found = solution(&recipe).unwrap();
        assert_eq!(found.ph, None);
        assert!(found.ec_from_ms_cm < 0.9 * found.ec_ms_cm, "{found:?}");
        assert!(found.cautions.contains(&Caution::NitrogenUntold));
        assert!(found.reasons.contains(&Reason::DoesNotConduct));
    }

    #[test]
    fn a_formula_that_lacks_a_bracket_is_refused_and_not_made_up() {
        refused(&of_salts(&[("KNO3", 1.0), ("CaNO3", 1.0)]), "/salts/1/formula", "charged");
    }

    /// A drop of a product leaves the EC of a water that holds bicarbonate where it is.
    #[test]
    fn a_label_takes_nothing_of_the_water_for_its_own() {
        let hard =
            Water { ec_ms_cm: Some(0.35), ph: Some(7.4), alkalinity_meq_l: Some(2.4), ions_mg_l: Vec::new() };
        let label = Label {
            basis: Basis::MassByVolume,
            analysis: vec![(Declared::NitrateNitrogen, 5.0), (Declared::Calcium, 6.0)],
        };
        let products = vec![ProductDose { label, dose: Dose::MlPerL(0.0001) }];
        let found = solution(&Recipe { products, water: Some(hard), ..Recipe::default() }).unwrap();
        assert!((found.ec_ms_cm - 0.35).abs() < 0.002, "{found:?}");
    }

    #[test]
    fn a_water_conducts_what_it_is_said_to() {
        let hard =
            Water { ec_ms_cm: Some(0.6), ph: Some(7.6), alkalinity_meq_l: Some(3.0), ions_mg_l: Vec::new() };
        let salty = Water { ec_ms_cm: Some(0.6), ..Water::default() };
        let analysed = Water {
            ions_mg_l: vec![("Ca".into(), 80.0), ("Mg".into(), 10.0), ("SO4".into(), 40.0)],
            ..hard.clone()
        };
        for (water, ph) in [(hard, Some(7.6)), (salty, None), (analysed, Some(7.6))] {
            let found = solution(&Recipe { water: Some(water), ..Recipe::default() }).unwrap();
            assert!((found.ec_ms_cm - 0.6).abs() < 0.01, "{found:?}");
            assert_eq!(found.ph.map(|ph| (ph * 10.0).round() / 10.0), ph, "{found:?}");
        }
    }

    #[test]
    fn an_analysis_balances_or_is_doubted() {
        // Calcium 3.49 and sodium 0.87 meq/L.
        let doubted = |hco3_mg_l: f64| {
            let ions = [("Ca", 70.0), ("Na", 20.0), ("HCO3", hco3_mg_l)];
            let water = Water {
                ph: Some(7.6),
                ions_mg_l: ions.map(|(ion, mg_l)| (ion.to_owned(), mg_l)).to_vec(),
                ..Water::default()
            };
            let found = solution(&Recipe { water: Some(water), ..Recipe::default() }).unwrap();
            assert!((found.ph.unwrap() - 7.6).abs() < 0.01, "{found:?}");
            found.cautions.contains(&Caution::AnalysisOutOfBalance)
        };
        assert!(!doubted(4.36 * 61.017));
        assert!(!doubted(3.7 * 61.017));
        assert!(doubted(3.0 * 61.017));
    }

    #[test]
    fn a_water_that_is_said_to_conduct_less_than_its_ions_is_doubted() {
        let water =
            Water { ec_ms_cm: Some(0.2), ph: Some(7.6), alkalinity_meq_l: Some(4.0), ions_mg_l: Vec::new() };
        let found = solution(&Recipe { water: Some(water), ..Recipe::default() }).unwrap();
        assert!(found.cautions.iter().any(|caution| matches!(caution, Caution::WaterConductsLess { .. })));
    }

    #[test]
    fn what_cannot_be_answered_is_told_by_field() {
        refused(&of_salts(&[("KNO3", 1.0), ("Xx", 1.0)]), "/salts/1/formula", "not_a_salt");
        refused(&of_salts(&[("KNO3", 150.0)]), "", "outside_model");
        let by_mass = Label { basis: Basis::MassByMass { density_kg_l: None }, analysis: Vec::new() };
        let products = vec![ProductDose { label: by_mass, dose: Dose::MlPerL(1.0) }];
        refused(&Recipe { products, ..Recipe::default() }, "/products/0/amount", "not_on_label");
        let water = Water { alkalinity_meq_l: Some(2.0), ..Water::default() };
        refused(&Recipe { water: Some(water), ..Recipe::default() }, "/water/ph", "needed");
        let water = Water { ph: Some(7.0), ions_mg_l: vec![("Unobtainium".into(), 1.0)], ..Water::default() };
        refused(&Recipe { water: Some(water), ..Recipe::default() }, "/water/ions/0/ion", "not_known");
    }
}
