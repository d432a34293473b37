//! Recipes: what salts give, and how the solution conducts.

use fillmark_advice::solution::Composition;
use fillmark_advice::solution::conductivity::ec25_ms_cm;
use fillmark_advice::solution::ions::{Ion, ionic_strength_unpaired};
use fillmark_advice::solution::salts::{Salt, of_trade_at_g_l};
use fillmark_advice::solution::substance::Substance;

use super::{Answer, Inputs, Unfit};

pub(super) fn compute(quantity: &str, inputs: &Inputs) -> Option<Answer> {
    let answer = match quantity {
        "element_ppm" => element(inputs),
        "ec25" => composition(inputs).and_then(|recipe| ec25_ms_cm(&recipe).map_err(Unfit::refused)),
        "ionic_strength_no_pairing" => strength(inputs),
        "ec_of_2_g_per_L" => by_mass(inputs),
        _ => return None,
    };
    Some(answer.map(Into::into))
}

const SALTS: &str = "salts_mmol_per_L";
const IONS: &str = "ions_mmol_per_L";

/// What a recipe weighs out, mmol/L by formula: given so, or as grams in so many litres (`grams_per_378.54_L`).
fn salts(inputs: &Inputs) -> Result<Vec<(&str, f64)>, Unfit> {
    let litres = |key: &str| match key.strip_prefix("grams_per_")?.strip_suffix("L")?.trim_end_matches('_') {
        "" => Some(1.0),
        litres => litres.parse::<f64>().ok(),
    };
    let Some((key, litres)) = inputs.all().find_map(|(key, _)| Some((key, litres(key)?))) else {
        return inputs.amounts(SALTS);
    };
    let weighed = inputs.amounts(key)?;
    weighed
        .into_iter()
        .map(|(formula, grams)| {
            let substance = Substance::read(formula).map_err(Unfit::refused)?;
            Ok((formula, 1000.0 * grams / litres / substance.molar_mass_g_mol()))
        })
        .collect()
}

/// What all of a recipe's salts, or its ions, give of an element, mg/L.
fn element(inputs: &Inputs) -> Result<f64, Unfit> {
    let element = inputs.text("element")?;
    let formulas = if inputs.given(IONS).is_some() { inputs.amounts(IONS)? } else { salts(inputs)? };
    formulas.into_iter().try_fold(0.0, |sum, (formula, mmol_l)| {
        let substance = Substance::read(formula).map_err(Unfit::refused)?;
        Ok(sum + mmol_l * substance.molar_mass_g_mol() * substance.mass_fraction(element))
    })
}

fn ions(inputs: &Inputs) -> Result<Vec<(&'static Ion, f64)>, Unfit> {
    let named = |(name, mmol_l)| Ion::named(name).map(|ion| (ion, mmol_l));
    let found = inputs
        .amounts(IONS)?
        .into_iter()
        .map(|one| named(one).ok_or_else(|| Unfit::Unreadable(IONS.to_owned())));
    found.collect()
}

fn composition(inputs: &Inputs) -> Result<Composition, Unfit> {
    if inputs.given(IONS).is_some() {
        let with = |sum: Composition, (ion, mmol_l): (&Ion, f64)| match ion.component {
            Some(component) => sum.with(component, mmol_l),
            None => sum,
        };
        return Ok(ions(inputs)?.into_iter().fold(Composition::default(), with));
    }
    salts(inputs)?.into_iter().try_fold(Composition::default(), |sum, (formula, mmol_l)| {
        Ok(sum.plus(&Salt::read(formula).map_err(Unfit::refused)?.per_mol, mmol_l))
    })
}

fn strength(inputs: &Inputs) -> Result<f64, Unfit> {
    Ok(1000.0 * ionic_strength_unpaired(ions(inputs)?))
}

/// Two grams in a litre of a salt as it is sold, `Ca(NO3)2 (fertiliser grade)`.
fn by_mass(inputs: &Inputs) -> Result<f64, Unfit> {
    let named = inputs.text("salt")?;
    let formula = named.strip_suffix("(fertiliser grade)").unwrap_or(named).trim();
    let dissolved = of_trade_at_g_l(formula, inputs.number_or("g_per_L", 2.0)?).map_err(Unfit::refused)?;
    ec25_ms_cm(&dissolved).map_err(Unfit::refused)
}
