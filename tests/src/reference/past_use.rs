//! Forecasts from past use alone.

use fillmark_advice::supply::methods::{
    Croston, DampedHolt, Demand, DemandClass, HoltWinters, Smoothed, Trend, croston, pinball, sba,
    scaled_errors, smooth, smooth_from, tsb,
};
use serde_json::{Value, json};

use super::answers::Computed;
use super::{Inputs, Unfit};

pub(super) fn compute(rule: &str, inputs: &Inputs) -> Computed {
    Some(match rule {
        "ses" => series(inputs).and_then(|uses| started(inputs, &uses)),
        "ses_l0" => series(inputs).and_then(|uses| from_level(inputs, &uses)),
        "holt_damped" => series(inputs).and_then(|uses| damped(inputs, &uses)),
        "hw_additive" => series(inputs).and_then(|uses| seasonal(inputs, &uses)),
        "croston" => intermittent(inputs, croston),
        "sba" => intermittent(inputs, sba),
        "tsb" => series(inputs).and_then(|uses| chances(inputs, &uses)),
        "syntetos_class" => series(inputs).and_then(|uses| class(&uses)),
        "mase" => errors(inputs),
        "rmsse" => errors(inputs),
        "pinball" => loss(inputs),
        _ => return None,
    })
}

fn series(inputs: &Inputs) -> Result<Vec<f64>, Unfit> {
    if inputs.given("train").is_some() { inputs.numbers("train") } else { inputs.numbers("y") }
}

/// What is forecast for each period asked about, the next being 1.
fn ahead(inputs: &Inputs, of: impl Fn(usize) -> f64) -> Result<Vec<f64>, Unfit> {
    let periods = if inputs.given("h").is_some() { inputs.count("h")? } else { 1 };
    Ok((1..=periods).map(|period| of(period as usize)).collect())
}

fn level(inputs: &Inputs, smoothed: &Smoothed) -> Result<Value, Unfit> {
    let forecast = ahead(inputs, |_| smoothed.level)?;
    Ok(json!({ "level": smoothed.level, "sse": smoothed.squared_errors, "forecast": forecast }))
}

fn started(inputs: &Inputs, uses: &[f64]) -> Result<Value, Unfit> {
    let smoothed = smooth(uses, inputs.number("alpha")?).ok_or_else(|| Unfit::refused("there is no use"))?;
    level(inputs, &smoothed)
}

fn from_level(inputs: &Inputs, uses: &[f64]) -> Result<Value, Unfit> {
    level(inputs, &smooth_from(inputs.number("l0")?, uses, inputs.number("alpha")?))
}

fn start(inputs: &Inputs) -> Result<Trend, Unfit> {
    Ok(Trend { level: inputs.number("l0")?, slope: inputs.number("b0")? })
}

fn damped(inputs: &Inputs, uses: &[f64]) -> Result<Value, Unfit> {
    let (alpha, beta) = (inputs.number("alpha")?, inputs.number("beta")?);
    let trending = DampedHolt { alpha, beta, phi: inputs.number("phi")? }.follow(start(inputs)?, uses);
    let forecast = ahead(inputs, |period| trending.ahead(period as i32))?;
    let (now, sse) = (trending.now, trending.squared_errors);
    Ok(json!({ "level": now.level, "trend": now.slope, "sse": sse, "forecast": forecast }))
}

fn seasonal(inputs: &Inputs, uses: &[f64]) -> Result<Value, Unfit> {
    let (alpha, beta) = (inputs.number("alpha")?, inputs.number("beta")?);
    let method = HoltWinters { alpha, beta, gamma: inputs.number("gamma")? };
    let seasonal = method.follow(start(inputs)?, &inputs.numbers("s0")?, uses);
    let forecast = ahead(inputs, |period| seasonal.ahead(period))?;
    let (now, sse) = (seasonal.now, seasonal.squared_errors);
    Ok(json!({ "level": now.level, "trend": now.slope, "sse": sse, "forecast": forecast }))
}

fn intermittent(inputs: &Inputs, method: fn(&[f64], f64) -> Croston) -> Result<Value, Unfit> {
    let learnt = method(&series(inputs)?, inputs.number("alpha")?);
    let forecast = ahead(inputs, |_| learnt.per_period())?;
    Ok(json!({ "size": learnt.size, "interval": learnt.interval, "forecast": forecast }))
}

fn chances(inputs: &Inputs, uses: &[f64]) -> Result<Value, Unfit> {
    let learnt = tsb(uses, inputs.number("alpha_d")?, inputs.number("alpha_p")?);
    let forecast = ahead(inputs, |_| learnt.per_period())?;
    Ok(json!({ "size": learnt.size, "prob": learnt.chance, "forecast": forecast }))
}

fn class(uses: &[f64]) -> Result<Value, Unfit> {
    let demand = Demand::of(uses).ok_or_else(|| Unfit::refused("nothing is used"))?;
    let class = match demand.class() {
        DemandClass::Smooth => "smooth",
        DemandClass::Erratic => "erratic",
        DemandClass::Intermittent => "intermittent",
        DemandClass::Lumpy => "lumpy",
    };
    Ok(json!({ "adi": demand.interval, "cv2": demand.squared_variation, "class": class }))
}

fn errors(inputs: &Inputs) -> Result<Value, Unfit> {
    let (past, used) = (series(inputs)?, inputs.numbers("actual")?);
    let season = if inputs.given("m").is_some() { inputs.count("m")? } else { 1 };
    let errors = scaled_errors(&past, &used, &inputs.numbers("forecast")?, season as usize)
        .ok_or_else(|| Unfit::refused("there is no scale"))?;
    Ok(json!({ "scale": errors.scale, "mase": errors.absolute, "rmsse": errors.root_squared }))
}

fn loss(inputs: &Inputs) -> Result<Value, Unfit> {
    let used = if inputs.given("actual").is_some() { inputs.numbers("actual")? } else { series(inputs)? };
    let found = pinball(&used, &inputs.numbers("q_forecast")?, inputs.number("q")?);
    Ok(json!({ "pinball": found }))
}
