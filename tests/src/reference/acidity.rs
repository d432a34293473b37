//! pH, acids and what they do to water and feed.

use fillmark_advice::solution::equilibria::AcidStep;
use fillmark_advice::solution::ions::Ion;
use fillmark_advice::solution::ph::{at_own_ph, balanced_at, buffer_capacity_mmol_l, water_of_alkalinity};
use fillmark_advice::solution::published::PUBLISHED;
use fillmark_advice::solution::reagents::{Chemistry as _, Reagent, dose_mmol_l, neutralising_ml, volume_ml};
use fillmark_advice::solution::{Carbon, Component, Composition};
use fillmark_domain::{Coded as _, Quantity, Unit};

use super::{Answer, Inputs, Unfit};

pub(super) fn compute(quantity: &str, inputs: &Inputs) -> Option<Answer> {
    let answer = match quantity {
        "pKa" => strength(inputs),
        "acid_molarity" => product(inputs).map(|product| product.mol_l),
        "mL_acid_per_1000_L_per_meq" => per_meq(inputs),
        "mL_acid_per_ppm_alkalinity_per_100_US_gal" => per_ppm(inputs),
        "ppm_alkalinity_neutralised_by_1_floz_per_100_US_gal" => per_fluid_ounce(inputs),
        "acid_dose" => dose(inputs),
        "acid_volume" => volume(inputs),
        "ph_after_aeration" => aerated(inputs),
        "total_inorganic_carbon" => carbon(inputs),
        "acid_dose_nutrient" => dose_of_feed(inputs),
        "buffer_capacity" => capacity(inputs),
        _ => return None,
    };
    Some(answer.map(Into::into))
}

/// `H3PO4 pK1`, `citric acid pK2`, `H2O pKw`: an acid, and which of its protons.
fn strength(inputs: &Inputs) -> Result<f64, Unfit> {
    use AcidStep as A;
    let unreadable = || Unfit::Unreadable("acid".to_owned());
    let (acid, proton) = inputs.text("acid")?.split_once(" pK").ok_or_else(unreadable)?;
    let step = match (acid.trim_end_matches(" acid"), proton.trim_start_matches('a')) {
        ("H3PO4" | "phosphoric", "1") => A::Phosphoric1,
        ("H3PO4" | "H2PO4" | "phosphoric", "2") => A::Phosphoric2,
        ("H3PO4" | "HPO4" | "phosphoric", "3") => A::Phosphoric3,
        ("H2CO3*" | "H2CO3" | "CO2" | "carbonic", "1") => A::Carbonic1,
        ("H2CO3*" | "H2CO3" | "HCO3" | "CO2" | "carbonic", "2") => A::Carbonic2,
        ("citric" | "H3Cit" | "H3C6H5O7", "1") => A::Citric1,
        ("citric" | "H3Cit" | "H3C6H5O7", "2") => A::Citric2,
        ("citric" | "H3Cit" | "H3C6H5O7", "3") => A::Citric3,
        ("H2SO4" | "HSO4" | "sulfuric", "" | "2") => A::Bisulfate,
        ("NH4" | "ammonium", "" | "1") => A::Ammonium,
        ("acetic" | "CH3COOH", "" | "1") => A::Acetic,
        ("boric" | "H3BO3" | "B(OH)3", "" | "1") => A::Boric,
        ("silicic" | "H4SiO4", "" | "1") => A::Silicic,
        ("H2O", "w") => A::Water,
        _ => return Err(unreadable()),
    };
    Ok(step.pk(inputs.number_or("temperature_C", 25.0)?))
}

/// A reagent as it is sold.
struct Product {
    reagent: Reagent,
    mol_l: f64,
}

fn reagent(name: &str) -> Result<Reagent, Unfit> {
    if name.starts_with("citric") {
        return Ok(Reagent::Citric);
    }
    let known = Reagent::all().iter().copied().find(|reagent| reagent.formula() == name);
    known.ok_or_else(|| Unfit::Unreadable("acid".to_owned()))
}

/// `HNO3 61 %` with its density, or with that of the product's table.
fn product(inputs: &Inputs) -> Result<Product, Unfit> {
    let unreadable = || Unfit::Unreadable("acid".to_owned());
    let (name, strength) =
        inputs.text("acid")?.trim_end_matches(['%', ' ']).rsplit_once(' ').ok_or_else(unreadable)?;
    let (reagent, percent) = (reagent(name)?, strength.parse().map_err(|_| unreadable())?);
    let density = match reagent.density_kg_l(percent) {
        Some(density) => {
            inputs.number_or("density_kg_per_L", inputs.number_or("specific_gravity", density)?)?
        }
        None => inputs.number_of(&["density_kg_per_L", "specific_gravity"])?,
    };
    Ok(Product { reagent, mol_l: reagent.mol_l(percent, density) })
}

fn per_meq(inputs: &Inputs) -> Result<f64, Unfit> {
    let product = product(inputs)?;
    let equivalents = inputs.number_or("equivalents_per_mol", product.reagent.equivalents_per_mol())?;
    Ok(neutralising_ml(1.0, 1000.0, product.mol_l, equivalents))
}

fn hundred_gallons() -> f64 {
    Quantity::new(100.0, Unit::GallonUs).canonical()
}

fn per_ppm(inputs: &Inputs) -> Result<f64, Unfit> {
    let product = product(inputs)?;
    let meq_l = Quantity::new(1.0, Unit::MilligramCaCo3PerLitre).canonical();
    Ok(neutralising_ml(meq_l, hundred_gallons(), product.mol_l, product.reagent.equivalents_per_mol()))
}

fn per_fluid_ounce(inputs: &Inputs) -> Result<f64, Unfit> {
    let ounce_ml = Quantity::new(1.0, Unit::FluidOunceUs).canonical() * 1000.0;
    Ok(ounce_ml / per_ppm(inputs)?)
}

fn water(inputs: &Inputs, ph_key: &str) -> Result<Composition, Unfit> {
    let cation = match inputs.given("cation") {
        None => Component::Calcium,
        Some(_) => Ion::named(inputs.text("cation")?)
            .filter(|ion| ion.charge > 0)
            .and_then(|ion| ion.component)
            .ok_or_else(|| Unfit::Unreadable("cation".to_owned()))?,
    };
    let (alkalinity, ph) = (inputs.number("alkalinity_meq_per_L")?, inputs.number(ph_key)?);
    water_of_alkalinity(alkalinity, cation, ph, temperature(inputs)?).map_err(Unfit::refused)
}

fn temperature(inputs: &Inputs) -> Result<f64, Unfit> {
    inputs.number_or("temperature_C", 25.0)
}

/// Dose of the acid that the row names, its strength left aside, for a water.
fn dosed(inputs: &Inputs, target_key: &str) -> Result<(Composition, Reagent, f64), Unfit> {
    let water = water(inputs, "start_pH")?;
    let name = inputs.text("acid")?;
    let reagent = reagent(name.split(' ').next().unwrap_or(name))?;
    let dose = dose_mmol_l(&water, reagent, inputs.number(target_key)?, temperature(inputs)?);
    Ok((water, reagent, dose.map_err(Unfit::refused)?))
}

fn dose(inputs: &Inputs) -> Result<f64, Unfit> {
    if inputs.given("system").is_some() && !inputs.text("system")?.starts_with("closed") {
        return Err(Unfit::Unreadable("system".to_owned()));
    }
    dosed(inputs, "target_pH").map(|(_, _, dose)| dose)
}

fn volume(inputs: &Inputs) -> Result<f64, Unfit> {
    let (_, _, dose) = dosed(inputs, "target_pH")?;
    Ok(volume_ml(dose, inputs.number("water_L")?, inputs.number("acid_mol_per_L")?))
}

fn aerated(inputs: &Inputs) -> Result<f64, Unfit> {
    let (water, reagent, dose) = dosed(inputs, "closed_target_pH")?;
    let acidified = water.plus(&reagent.per_mol(), dose);
    let air = Carbon::OpenToAir { co2_ppm: inputs.number("co2_ppm")? };
    Ok(at_own_ph(&acidified, air, temperature(inputs)?).map_err(Unfit::refused)?.ph)
}

fn carbon(inputs: &Inputs) -> Result<f64, Unfit> {
    Ok(water(inputs, "pH")?.mmol_l(Component::Carbonate))
}

/// A published solution by its name, `Hoagland No. 1 half strength`.
fn feed(inputs: &Inputs) -> Result<Composition, Unfit> {
    let unreadable = || Unfit::Unreadable("solution".to_owned());
    let named = inputs.text("solution")?;
    let known =
        PUBLISHED.iter().find(|published| named.starts_with(published.name)).ok_or_else(unreadable)?;
    let times = match named[known.name.len()..].split(',').next().map(str::trim) {
        Some("full strength" | "") => 1.0,
        Some("half strength") => 0.5,
        Some("quarter strength") => 0.25,
        Some("double strength") => 2.0,
        _ => return Err(unreadable()),
    };
    let full = known.composition().map_err(Unfit::refused)?;
    Ok(Composition::default().plus(&full, times))
}

fn dose_of_feed(inputs: &Inputs) -> Result<f64, Unfit> {
    let temperature_c = temperature(inputs)?;
    let feed = feed(inputs)?;
    let phosphate = inputs.number_or("phosphate_mmol_per_L", feed.mmol_l(Component::Phosphate))?;
    let feed = feed
        .with(Component::Phosphate, phosphate - feed.mmol_l(Component::Phosphate))
        .with(Component::Carbonate, inputs.number_or("bicarbonate_mmol_per_L", 0.0)?);
    let balanced = balanced_at(&feed, inputs.number("start_pH")?, temperature_c).map_err(Unfit::refused)?;
    let reagent = reagent(inputs.text("acid")?)?;
    dose_mmol_l(&balanced, reagent, inputs.number("target_pH")?, temperature_c).map_err(Unfit::refused)
}

fn capacity(inputs: &Inputs) -> Result<f64, Unfit> {
    buffer_capacity_mmol_l(&feed(inputs)?, inputs.number("pH")?, temperature(inputs)?).map_err(Unfit::refused)
}
