//! Conductivity of standards and salts, and how it moves with temperature.

use fillmark_advice::solution::conductivity::conductivity_ms_cm;
use fillmark_advice::solution::ions::Ion;
use fillmark_advice::solution::kcl;
use fillmark_advice::solution::ph::at_own_ph;
use fillmark_advice::solution::salts::Salt;
use fillmark_advice::solution::temperature::{Compensation, coefficient_percent_per_c, natural_water_f25};
use fillmark_advice::solution::{Carbon, Composition};

use super::{Answer, Inputs, Unfit};

pub(super) fn compute(quantity: &str, inputs: &Inputs) -> Option<Answer> {
    let answer = match quantity {
        "kappa_KCl" => standard(inputs),
        "limiting_equivalent_conductivity" => ion(inputs, Ion::limiting_equivalent_conductivity),
        "limiting_molar_conductivity" => ion(inputs, Ion::limiting_molar_conductivity),
        "kappa_salt" => salt(inputs),
        "f25_natural_water" => {
            inputs.number("temperature_C").and_then(|t| natural_water_f25(t).map_err(Unfit::refused))
        }
        "ec25_linear" => linear(inputs),
        "ec25_nonlinear" => nonlinear(inputs),
        "alpha25_KCl" => coefficient(inputs),
        "ratio_kT_k25_nutrient" => inputs
            .number("temperature_C")
            .and_then(|t| Compensation::Feed.ratio_to_25(t).map_err(Unfit::refused)),
        _ => return None,
    };
    Some(answer.map(Into::into))
}

fn standard(inputs: &Inputs) -> Result<f64, Unfit> {
    let temperature_c = inputs.number("temperature_C")?;
    let found = if inputs.given("molality_mol_per_kg").is_some() {
        kcl::by_molality_us_cm(inputs.number("molality_mol_per_kg")?, temperature_c)
    } else {
        kcl::by_concentration_us_cm(inputs.number("concentration_mol_per_L")?, temperature_c)
    };
    in_unit(found.map_err(Unfit::refused)? / 1000.0, inputs)
}

/// A conductivity in the unit of the row.
fn in_unit(ms_cm: f64, inputs: &Inputs) -> Result<f64, Unfit> {
    match inputs.unit() {
        "uS/cm" => Ok(ms_cm * 1000.0),
        "mS/cm" | "" => Ok(ms_cm),
        _ => Err(Unfit::Unreadable("unit".to_owned())),
    }
}

fn ion(inputs: &Inputs, conductivity: fn(&Ion, f64) -> f64) -> Result<f64, Unfit> {
    let ion = Ion::named(inputs.text("ion")?).ok_or_else(|| Unfit::Unreadable("ion".to_owned()))?;
    Ok(conductivity(ion, inputs.number_or("temperature_C", 25.0)?))
}

fn salt(inputs: &Inputs) -> Result<f64, Unfit> {
    let salt = Salt::read(inputs.text("salt")?).map_err(Unfit::refused)?;
    let temperature_c = inputs.number_or("temperature_C", 25.0)?;
    let composition = if inputs.given("mass_percent_anhydrous").is_some() {
        salt.at_mass_percent(inputs.number("mass_percent_anhydrous")?, temperature_c)
    } else {
        salt.at_mmol_l(inputs.number("mmol_per_L")?)
    };
    in_unit(at_its_ph(&composition, temperature_c)?, inputs)
}

pub(super) fn at_its_ph(composition: &Composition, temperature_c: f64) -> Result<f64, Unfit> {
    let solution = at_own_ph(composition, Carbon::Closed, temperature_c).map_err(Unfit::refused)?;
    Ok(conductivity_ms_cm(&solution))
}

fn linear(inputs: &Inputs) -> Result<f64, Unfit> {
    compensated(inputs, Compensation::Linear { per_c: inputs.number("alpha_per_C")? })
}

fn nonlinear(inputs: &Inputs) -> Result<f64, Unfit> {
    match inputs.text("method")? {
        "ISO 7888" => compensated(inputs, Compensation::NaturalWater),
        "KCl" => compensated(inputs, Compensation::PotassiumChloride),
        _ => Err(Unfit::Unreadable("method".to_owned())),
    }
}

fn compensated(inputs: &Inputs, compensation: Compensation) -> Result<f64, Unfit> {
    let (read, temperature_c) = (inputs.number("ec_at_T_mS_cm")?, inputs.number("temperature_C")?);
    compensation.to_25(read, temperature_c).map_err(Unfit::refused)
}

fn coefficient(inputs: &Inputs) -> Result<f64, Unfit> {
    let at = |key: &str| {
        let temperature_c = inputs.number(key)?;
        let found = kcl::by_molality_us_cm(inputs.number("molality_mol_per_kg")?, temperature_c);
        Ok((temperature_c, found.map_err(Unfit::refused)?))
    };
    Ok(coefficient_percent_per_c(at("T1_C")?, at("T2_C")?))
}
