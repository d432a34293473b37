//! Units of the trade, by the names they go by.

use fillmark_advice::solution::ions::Ion;
use fillmark_domain::{Quantity, Unit};

use super::{Answer, Inputs, Unfit};

pub(super) fn compute(quantity: &str, inputs: &Inputs) -> Option<Answer> {
    let answer = match quantity {
        "volume" | "mass" | "length" | "area" | "conductivity" | "temperature" => converted(inputs),
        "hardness" | "alkalinity" => charge(inputs),
        "dose" | "mass_concentration" => compound(inputs),
        "ec_to_tds" => dissolved(inputs, "ec_mS_cm", |ec, scale| {
            Quantity::new(ec, Unit::MilliSiemensPerCm).in_unit(scale)
        }),
        "tds_to_ec" => dissolved(inputs, "tds_ppm", |ppm, scale| {
            Quantity::new(ppm, scale).in_unit(Unit::MilliSiemensPerCm)
        }),
        _ => return None,
    };
    Some(answer.map(Into::into))
}

/// Names that the trade and the standards give to units, in small letters.
const NAMES: &[(&str, Unit)] = &[
    ("l", Unit::Litre),
    ("litre", Unit::Litre),
    ("liter", Unit::Litre),
    ("ml", Unit::MilliLitre),
    ("m3", Unit::CubicMetre),
    ("cubic metre", Unit::CubicMetre),
    ("cubic foot", Unit::CubicFoot),
    ("ft3", Unit::CubicFoot),
    ("us gallon", Unit::GallonUs),
    ("imperial gallon", Unit::GallonImperial),
    ("uk gallon", Unit::GallonImperial),
    ("us quart", Unit::QuartUs),
    ("us liquid quart", Unit::QuartUs),
    ("us pint", Unit::PintUs),
    ("us liquid pint", Unit::PintUs),
    ("us cup", Unit::CupUs),
    ("imperial pint", Unit::PintImperial),
    ("uk pint", Unit::PintImperial),
    ("us fluid ounce", Unit::FluidOunceUs),
    ("us fl oz", Unit::FluidOunceUs),
    ("imperial fluid ounce", Unit::FluidOunceImperial),
    ("uk fluid ounce", Unit::FluidOunceImperial),
    ("us gal", Unit::GallonUs),
    ("fl oz", Unit::FluidOunceUs),
    ("fluid ounce", Unit::FluidOunceUs),
    ("tsp", Unit::TeaspoonUs),
    ("teaspoon", Unit::TeaspoonUs),
    ("tablespoon", Unit::TablespoonUs),
    ("us teaspoon", Unit::TeaspoonUs),
    ("us tablespoon", Unit::TablespoonUs),
    ("metric teaspoon", Unit::TeaspoonMetric),
    ("metric tablespoon", Unit::TablespoonMetric),
    ("g", Unit::Gram),
    ("gram", Unit::Gram),
    ("kg", Unit::Kilogram),
    ("mg", Unit::Milligram),
    ("t", Unit::Tonne),
    ("tonne", Unit::Tonne),
    ("ounce", Unit::Ounce),
    ("oz", Unit::Ounce),
    ("avoirdupois ounce", Unit::Ounce),
    ("pound", Unit::Pound),
    ("lb", Unit::Pound),
    ("avoirdupois pound", Unit::Pound),
    ("ms/cm", Unit::MilliSiemensPerCm),
    ("mmho/cm", Unit::MilliSiemensPerCm),
    ("us/cm", Unit::MicroSiemensPerCm),
    ("umho/cm", Unit::MicroSiemensPerCm),
    ("ds/m", Unit::DeciSiemensPerM),
    ("ms/m", Unit::MilliSiemensPerM),
    ("s/m", Unit::SiemensPerM),
    ("cf", Unit::ConductivityFactor),
    ("c", Unit::Celsius),
    ("celsius", Unit::Celsius),
    ("f", Unit::Fahrenheit),
    ("fahrenheit", Unit::Fahrenheit),
    ("k", Unit::Kelvin),
    ("mg/l", Unit::MilligramPerLitre),
    ("ppm", Unit::MilligramPerLitre),
    ("g/l", Unit::GramPerLitre),
    ("ug/l", Unit::MicrogramPerLitre),
    ("meq/l", Unit::MilliequivalentPerLitre),
    ("mg/l as caco3", Unit::MilligramCaCo3PerLitre),
    ("mg/l caco3", Unit::MilligramCaCo3PerLitre),
    ("ppm caco3", Unit::MilligramCaCo3PerLitre),
    ("mg/l hco3", Unit::MilligramBicarbonatePerLitre),
    ("mg/l as hco3", Unit::MilligramBicarbonatePerLitre),
    ("ppm as caco3", Unit::MilligramCaCo3PerLitre),
    ("ppm hco3", Unit::MilligramBicarbonatePerLitre),
    ("dh", Unit::GermanDegree),
    ("dgh", Unit::GermanDegree),
    ("dkh", Unit::GermanDegree),
    ("german degree", Unit::GermanDegree),
    ("german degree (dh)", Unit::GermanDegree),
    ("german degree dh", Unit::GermanDegree),
    ("fh", Unit::FrenchDegree),
    ("french degree", Unit::FrenchDegree),
    ("french degree (fh)", Unit::FrenchDegree),
    ("french degree fh", Unit::FrenchDegree),
    ("english degree", Unit::EnglishDegree),
    ("clark degree", Unit::EnglishDegree),
    ("gpg", Unit::GrainPerGallonUs),
    ("grain per us gallon", Unit::GrainPerGallonUs),
    ("m", Unit::Metre),
    ("metre", Unit::Metre),
    ("cm", Unit::Centimetre),
    ("mm", Unit::Millimetre),
    ("inch", Unit::Inch),
    ("foot", Unit::Foot),
    ("m2", Unit::SquareMetre),
    ("square metre", Unit::SquareMetre),
    ("square foot", Unit::SquareFoot),
    ("ft2", Unit::SquareFoot),
    ("ha", Unit::Hectare),
    ("hectare", Unit::Hectare),
    ("acre", Unit::Acre),
];

fn unit(name: &str, key: &str) -> Result<Unit, Unfit> {
    let small = name
        .trim()
        .trim_start_matches("deg ")
        .trim_start_matches("degree ")
        .trim_start_matches('°')
        .to_lowercase();
    let found = NAMES.iter().find(|(known, _)| *known == small || format!("{known}s") == small);
    found.map(|(_, unit)| *unit).ok_or_else(|| Unfit::Unreadable(key.to_owned()))
}

fn told(entered: Quantity, inputs: &Inputs) -> Result<f64, Unfit> {
    let wanted = unit(inputs.unit(), "unit")?;
    entered.in_unit(wanted).map(|there| there.value).ok_or_else(|| Unfit::Unreadable("from".to_owned()))
}

fn converted(inputs: &Inputs) -> Result<f64, Unfit> {
    told(Quantity::new(inputs.number("value")?, unit(inputs.text("from")?, "from")?), inputs)
}

/// Hardness or alkalinity; also of an ion by its mass, `mg/L Ca`, or by its amount, `mmol/L Ca`.
fn charge(inputs: &Inputs) -> Result<f64, Unfit> {
    let (value, from) = (inputs.number("value")?, inputs.text("from")?);
    let Some((of, ion)) = from.split_once(' ').and_then(|(of, name)| Some((of, Ion::named(name)?))) else {
        return converted(inputs);
    };
    let mmol_l = match of {
        "mg/L" | "ppm" => value / ion.molar_mass_g_mol(),
        "mmol/L" => value,
        _ => return Err(Unfit::Unreadable("from".to_owned())),
    };
    let meq_l = mmol_l * f64::from(ion.charge.unsigned_abs());
    told(Quantity::new(meq_l, Unit::MilliequivalentPerLitre), inputs)
}

/// `mL per US gallon`, `avoirdupois ounce per 100 US gallon`: so much in each, or in so many, of another unit.
fn compound(inputs: &Inputs) -> Result<f64, Unfit> {
    let from = inputs.text("from")?;
    if !from.contains(" per ") && !from.contains('/') {
        return converted(inputs);
    }
    let split = |text: &str, key| {
        let halves = text.split_once(" per ").or_else(|| text.split_once('/'));
        let (much, each) = halves.ok_or_else(|| Unfit::Unreadable(String::from(key)))?;
        Ok((unit(much, key)?, counted(each, key)?))
    };
    let ((much, each), (above, below)) = (split(from, "from")?, split(inputs.unit(), "unit")?);
    let there = Quantity::new(inputs.number("value")?, much).per(each);
    Ok(there / Quantity::new(1.0, above).per(below))
}

/// `US gallon`, or `100 US gallon`.
fn counted(text: &str, key: &str) -> Result<Quantity, Unfit> {
    let (count, name) = match text.split_once(' ') {
        Some((count, name)) => count.parse().map_or((1.0, text), |count| (count, name)),
        None => (1.0, text),
    };
    Ok(Quantity::new(count, unit(name, key)?))
}

fn dissolved(
    inputs: &Inputs,
    key: &str,
    convert: impl Fn(f64, Unit) -> Option<Quantity>,
) -> Result<f64, Unfit> {
    const SCALE: &str = "scale_ppm_per_mS_cm";
    let unreadable = || Unfit::Unreadable(SCALE.to_owned());
    let stated = inputs.number(SCALE)?;
    let of_scale = |unit: &Unit| Quantity::new(stated, *unit).canonical() == 1.0;
    let scale =
        [Unit::Ppm500, Unit::Ppm640, Unit::Ppm700].into_iter().find(of_scale).ok_or_else(unreadable)?;
    convert(inputs.number(key)?, scale).map(|told| told.value).ok_or_else(unreadable)
}
