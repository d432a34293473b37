//! Air and light.

use fillmark_advice::solution::air::{
    DailyHumidity, absolute_humidity_g_m3, air_pressure_kpa, daily_light_integral_mol_m2,
    daily_saturation_vapour_pressure_kpa, daily_vapour_pressure_kpa, dew_point_c,
    saturation_vapour_pressure_kpa, vapour_pressure_by_wet_bulb_kpa, vapour_pressure_deficit_kpa,
    vapour_pressure_kpa,
};

use super::{Answer, Inputs, Unfit};

pub(super) fn compute(quantity: &str, inputs: &Inputs) -> Option<Answer> {
    let number = |key| inputs.number(key);
    let answer = match quantity {
        "saturation_vapour_pressure" => number("temperature_C").map(saturation_vapour_pressure_kpa),
        "mean_saturation_vapour_pressure" => {
            day(inputs).map(|(max, min)| daily_saturation_vapour_pressure_kpa(max, min))
        }
        "actual_vapour_pressure" => actual(inputs),
        "atmospheric_pressure" => inputs.number_of(ALTITUDE).map(air_pressure_kpa),
        "vpd_daily" => deficit_of_day(inputs),
        "vpd_air" | "vpd_leaf" => deficit(inputs),
        "dew_point" => dew_point(inputs),
        "absolute_humidity" => now(inputs).map(|(air_c, percent)| absolute_humidity_g_m3(air_c, percent)),
        "dli" => number("ppfd_umol_m2_s")
            .and_then(|ppfd| Ok(daily_light_integral_mol_m2(ppfd, inputs.number("hours")?))),
        _ => return None,
    };
    Some(answer.map(Into::into))
}

fn day(inputs: &Inputs) -> Result<(f64, f64), Unfit> {
    Ok((inputs.number("tmax_C")?, inputs.number("tmin_C")?))
}

fn now(inputs: &Inputs) -> Result<(f64, f64), Unfit> {
    Ok((inputs.number("air_C")?, inputs.number("rh_percent")?))
}

const ALTITUDE: &[&str] = &["altitude_m", "elevation_m", "z_m"];
const PRESSURE: &[&str] = &["pressure_kPa", "atmospheric_pressure_kPa"];
const DRY: &[&str] = &["tdry_C", "t_dry_C", "dry_C", "dry_bulb_C"];
const WET: &[&str] = &["twet_C", "t_wet_C", "wet_C", "wet_bulb_C"];

fn humidity(inputs: &Inputs) -> Result<DailyHumidity, Unfit> {
    if inputs.given("tdew_C").is_some() {
        return Ok(DailyHumidity::DewPoint { dew_c: inputs.number("tdew_C")? });
    }
    if inputs.given("rhmean").is_some() {
        return Ok(DailyHumidity::Mean { percent: inputs.number("rhmean")? });
    }
    let highest_percent = inputs.number("rhmax")?;
    if inputs.given("rhmin").is_none() {
        return Ok(DailyHumidity::Highest { percent: highest_percent });
    }
    Ok(DailyHumidity::Ends { highest_percent, lowest_percent: inputs.number("rhmin")? })
}

fn actual(inputs: &Inputs) -> Result<f64, Unfit> {
    if WET.iter().any(|key| inputs.given(key).is_some()) {
        let pressure = match inputs.number_of(PRESSURE) {
            Ok(pressure) => pressure,
            Err(_) => air_pressure_kpa(inputs.number_of(ALTITUDE)?),
        };
        return Ok(vapour_pressure_by_wet_bulb_kpa(inputs.number_of(DRY)?, inputs.number_of(WET)?, pressure));
    }
    let (max, min) = day(inputs)?;
    Ok(daily_vapour_pressure_kpa(max, min, humidity(inputs)?))
}

fn deficit_of_day(inputs: &Inputs) -> Result<f64, Unfit> {
    let (max, min) = day(inputs)?;
    Ok(daily_saturation_vapour_pressure_kpa(max, min)
        - daily_vapour_pressure_kpa(max, min, humidity(inputs)?))
}

fn deficit(inputs: &Inputs) -> Result<f64, Unfit> {
    let (air_c, percent) = now(inputs)?;
    Ok(vapour_pressure_deficit_kpa(air_c, percent, air_c + inputs.number_or("leaf_minus_air_C", 0.0)?))
}

fn dew_point(inputs: &Inputs) -> Result<f64, Unfit> {
    let (air_c, percent) = now(inputs)?;
    dew_point_c(vapour_pressure_kpa(air_c, percent)).ok_or_else(|| Unfit::Unreadable("rh_percent".to_owned()))
}
