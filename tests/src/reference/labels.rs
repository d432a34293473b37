//! Labels, formulas and the arithmetic of feeding.

use fillmark_advice::solution::label::{Basis, Declared, Dose, Label, element_mg_l, fertiliser_g, stock_g};
use fillmark_advice::solution::substance::Substance;
use fillmark_domain::{Quantity, Unit};

use super::{Answer, Inputs, Unfit};

pub(super) fn compute(quantity: &str, inputs: &Inputs) -> Option<Answer> {
    let answer = match quantity {
        "conversion_factor" => factor(inputs),
        "molar_mass" => formula(inputs).map(|formula| formula.molar_mass_g_mol()),
        "element_mass_percent" => percent(inputs),
        "ppm_from_liquid_concentrate" => concentrate(inputs),
        "oz_per_100_US_gal" => ounces(inputs),
        "ppm_from_oz_per_100_US_gal" => of_ounces(inputs),
        "oz_per_US_gal_stock" => stock_ounces(inputs),
        "stock_mass" => stock(inputs),
        _ => return None,
    };
    Some(answer.map(Into::into))
}

fn read(formula: &str) -> Result<Substance, Unfit> {
    Substance::read(formula).map_err(Unfit::refused)
}

fn formula(inputs: &Inputs) -> Result<Substance, Unfit> {
    read(inputs.text("formula")?)
}

fn percent(inputs: &Inputs) -> Result<f64, Unfit> {
    Ok(100.0 * formula(inputs)?.mass_fraction(inputs.text("element")?))
}

fn factor(inputs: &Inputs) -> Result<f64, Unfit> {
    let unreadable = || Unfit::Unreadable("conversion".to_owned());
    let (from, to) = inputs.text("conversion")?.split_once("->").ok_or_else(unreadable)?;
    read(to.trim())?.per_gram_of(&read(from.trim())?).ok_or_else(unreadable)
}

fn concentrate(inputs: &Inputs) -> Result<f64, Unfit> {
    const ANALYSIS: &str = "label_N_P2O5_K2O_percent";
    let percents = inputs.numbers(ANALYSIS)?;
    let declared = [Declared::Nitrogen, Declared::PhosphorusPentoxide, Declared::PotassiumOxide];
    if percents.len() != declared.len() {
        return Err(Unfit::Unreadable(ANALYSIS.to_owned()));
    }
    let basis = match inputs.text("basis")? {
        "w/w" => Basis::MassByMass { density_kg_l: Some(inputs.number("density_kg_per_L")?) },
        "w/v" => Basis::MassByVolume,
        _ => return Err(Unfit::Unreadable("basis".to_owned())),
    };
    let label = Label { basis, analysis: declared.into_iter().zip(percents).collect() };
    let dose = Dose::MlPerL(inputs.number("dose_mL_per_L")?);
    label.element_mg_l(inputs.text("element")?, dose).map_err(Unfit::refused)
}

const TARGET: &[&str] = &["target_ppm_N", "target_ppm"];
const PERCENT: &[&str] = &["label_N_percent", "percent_element", "label_percent"];

fn gallons(count: f64) -> f64 {
    Quantity::new(count, Unit::GallonUs).canonical()
}

fn in_ounces(grams: f64) -> Result<f64, Unfit> {
    Ok(grams / Quantity::new(1.0, Unit::Ounce).canonical())
}

fn ounces(inputs: &Inputs) -> Result<f64, Unfit> {
    in_ounces(fertiliser_g(inputs.number_of(TARGET)?, inputs.number_of(PERCENT)?, gallons(100.0)))
}

fn of_ounces(inputs: &Inputs) -> Result<f64, Unfit> {
    let grams = Quantity::new(inputs.number("ounces")?, Unit::Ounce).canonical();
    Ok(element_mg_l(grams, inputs.number_of(PERCENT)?, gallons(100.0)))
}

/// Parts of feed that an injector makes of one part of stock, from `1:100`.
fn parts(inputs: &Inputs) -> Result<f64, Unfit> {
    const RATIO: &str = "injector_ratio";
    let read = |text: &str| text.trim().parse::<f64>().ok().filter(|number| *number > 0.0);
    let parts = inputs.text(RATIO)?.split_once(':').and_then(|(one, parts)| Some(read(parts)? / read(one)?));
    parts.ok_or_else(|| Unfit::Unreadable(RATIO.to_owned()))
}

fn stock_ounces(inputs: &Inputs) -> Result<f64, Unfit> {
    in_ounces(stock_g(inputs.number_of(TARGET)?, inputs.number_of(PERCENT)?, parts(inputs)?, gallons(1.0)))
}

fn stock(inputs: &Inputs) -> Result<f64, Unfit> {
    let stock_l = inputs.number("stock_volume_L")?;
    Ok(stock_g(inputs.number_of(TARGET)?, inputs.number_of(PERCENT)?, parts(inputs)?, stock_l))
}
