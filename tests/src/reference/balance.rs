//! Water and salt of tanks.

use fillmark_advice::solution::tank::{
    Accumulation, Feeding, Volume, added_l, after_partial_changes_ms_cm, concentrate_ml, days_left, depth_l,
    fraction_to_replace, salt_used_above_water, uptake_ms_cm,
};

use super::{Answer, Inputs, Unfit};

pub(super) fn compute(quantity: &str, inputs: &Inputs) -> Option<Answer> {
    let answer = match quantity {
        "depth_to_volume" => depth(inputs),
        "ec_after_topup_with_water" => topped_up(inputs).map(|tank| tank.ec_ms_cm),
        "salt_used_above_water" => used(inputs),
        "uptake_concentration" => uptake(inputs),
        "concentrate_to_restore" => restore(inputs),
        "water_to_dilute" => dilute(inputs),
        "dose_with_volume_effect" => dose(inputs),
        "fraction_to_replace" => fraction(inputs),
        "ec_after_partial_change" => partly_changed(inputs),
        "nutrient_ec_litres_per_cycle" => cycle(inputs),
        "concentrate_per_cycle_each_part" => cycle(inputs).and_then(|salt| each_part(inputs, salt)),
        "sodium_after_days" => {
            sodium(inputs).and_then(|sodium| Ok(sodium.after_days_mmol_l(inputs.number("days")?)))
        }
        "days_to_sodium" => days_to_sodium(inputs),
        "stock_days_left" => lasts(inputs),
        "mean_ec_volume_weighted" => mean(inputs),
        other => concentrate_in_days(other, inputs)?,
    };
    Some(answer.map(Into::into))
}

fn depth(inputs: &Inputs) -> Result<f64, Unfit> {
    Ok(depth_l(inputs.number("et_mm_per_day")?, inputs.number("area_m2")?, inputs.number_or("kc", 1.0)?))
}

fn before(inputs: &Inputs) -> Result<Volume, Unfit> {
    Ok(Volume { litres: inputs.number("tank_L")?, ec_ms_cm: inputs.number("ec_start")? })
}

fn after(inputs: &Inputs) -> Result<Volume, Unfit> {
    Ok(Volume { litres: inputs.number("volume_after_L")?, ec_ms_cm: inputs.number("ec_after")? })
}

fn topped_up(inputs: &Inputs) -> Result<Volume, Unfit> {
    let water = Volume { litres: inputs.number("topup_L")?, ec_ms_cm: inputs.number("water_ec")? };
    Ok(after(inputs)?.with(water))
}

fn used(inputs: &Inputs) -> Result<f64, Unfit> {
    Ok(salt_used_above_water(before(inputs)?, after(inputs)?, inputs.number("water_ec")?))
}

fn uptake(inputs: &Inputs) -> Result<f64, Unfit> {
    uptake_ms_cm(before(inputs)?, after(inputs)?).ok_or_else(|| Unfit::refused("the tank lost no water"))
}

fn restore(inputs: &Inputs) -> Result<f64, Unfit> {
    let strength = inputs.number("concentrate_ec_per_mL_per_L")?;
    Ok(concentrate_ml(topped_up(inputs)?, inputs.number("target_ec")?, strength))
}

fn dilute(inputs: &Inputs) -> Result<f64, Unfit> {
    let there = Volume { litres: inputs.number("volume_L")?, ec_ms_cm: inputs.number("ec")? };
    added_l(there, inputs.number("target_ec")?, inputs.number("water_ec")?).map_err(Unfit::refused)
}

fn dose(inputs: &Inputs) -> Result<f64, Unfit> {
    let there = Volume { litres: inputs.number("tank_L")?, ec_ms_cm: inputs.number("ec_now")? };
    added_l(there, inputs.number("target_ec")?, inputs.number("concentrate_ec")?).map_err(Unfit::refused)
}

fn fraction(inputs: &Inputs) -> Result<f64, Unfit> {
    let new = inputs.number("new_solution_ec")?;
    fraction_to_replace(inputs.number("ec")?, inputs.number("target_ec")?, new).map_err(Unfit::refused)
}

fn partly_changed(inputs: &Inputs) -> Result<f64, Unfit> {
    let (fraction, new) = (inputs.number("fraction_replaced")?, inputs.number("new_solution_ec")?);
    let times = whole("repeats", inputs.number_or("repeats", 1.0)?)?;
    Ok(after_partial_changes_ms_cm(inputs.number("ec")?, new, fraction, times))
}

fn whole(key: &str, number: f64) -> Result<i32, Unfit> {
    format!("{number}").parse().map_err(|_| Unfit::Unreadable(key.to_owned()))
}

fn feeding(inputs: &Inputs) -> Result<Feeding, Unfit> {
    const EVERY: &str = "change_every_days";
    Ok(Feeding {
        tank_l: inputs.number("tank_L")?,
        target_ms_cm: inputs.number("target_ec")?,
        water_ms_cm: inputs.number("water_ec")?,
        uptake_l_day: inputs.number("daily_uptake_L")?,
        top_up_ms_cm: inputs.number("topup_ec")?,
        change_every_days: whole(EVERY, inputs.number(EVERY)?)?.unsigned_abs(),
    })
}

fn cycle(inputs: &Inputs) -> Result<f64, Unfit> {
    Ok(feeding(inputs)?.salt_in_cycle(inputs.number("topup_days_per_cycle")?))
}

/// Salt as mL of each part of a concentrate.
fn each_part(inputs: &Inputs, salt: f64) -> Result<f64, Unfit> {
    Ok(salt / inputs.number("concentrate_ec_per_mL_per_L_each_part")?)
}

/// `concentrate_28_days_each_part`, for any number of days.
fn concentrate_in_days(quantity: &str, inputs: &Inputs) -> Option<Result<f64, Unfit>> {
    let days = quantity.strip_prefix("concentrate_")?.strip_suffix("_days_each_part")?.parse().ok()?;
    Some(feeding(inputs).and_then(|feeding| each_part(inputs, feeding.salt_in_days(days))))
}

fn sodium(inputs: &Inputs) -> Result<Accumulation, Unfit> {
    Ok(Accumulation {
        tank_l: inputs.number("volume_L")?,
        uptake_l_day: inputs.number("et_L_per_day")?,
        source_mmol_l: inputs.number("source_na_mmol_L")?,
        taken_mmol_l: inputs.number("uptake_na_mmol_L")?,
        start_mmol_l: inputs.number("start_na_mmol_L")?,
    })
}

fn days_to_sodium(inputs: &Inputs) -> Result<f64, Unfit> {
    let limit = inputs.number("limit_mmol_L")?;
    sodium(inputs)?.days_to(limit).ok_or_else(|| Unfit::refused("the limit is never reached"))
}

fn lasts(inputs: &Inputs) -> Result<f64, Unfit> {
    let (stock, use_per_day) = (inputs.number("stock_mL")?, inputs.number("use_mL_per_day")?);
    days_left(stock, use_per_day).ok_or_else(|| Unfit::refused("nothing is used"))
}

/// `parts` lists pairs of litres and conductivity.
fn mean(inputs: &Inputs) -> Result<f64, Unfit> {
    const PARTS: &str = "parts";
    let unreadable = || Unfit::Unreadable(PARTS.to_owned());
    let parts = inputs.given(PARTS).ok_or_else(|| Unfit::Missing(PARTS.to_owned()))?;
    let parts: Vec<(f64, f64)> = serde_json::from_value(parts.clone()).map_err(|_| unreadable())?;
    let volumes = parts.into_iter().map(|(litres, ec_ms_cm)| Volume { litres, ec_ms_cm });
    volumes.reduce(Volume::with).map(|all| all.ec_ms_cm).ok_or_else(unreadable)
}
