//! Shares, comparisons, time in band and yields.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_advice::review::{
    Between, Cropped, Excursion, Figure, Joining, Point, Share, Side, Trace, Yield, compare,
};
use fillmark_domain::work::Span;
use fillmark_domain::{Band, Metric};
use serde_json::{Value, json};

use super::answers::Computed;
use super::{Inputs, Unfit};

/// Days of a year in yearly yields, the mean of the Julian calendar.
const YEAR_DAYS: f64 = 365.25;

pub(super) fn compute(rule: &str, inputs: &Inputs) -> Computed {
    Some(match rule {
        "wilson" => wilson(inputs),
        "welch_t" => welch(inputs),
        "in_band" => in_band(inputs),
        "excursions" => excursions(inputs),
        "yield_rates" => rates(inputs),
        _ => return None,
    })
}

fn wilson(inputs: &Inputs) -> Result<Value, Unfit> {
    let share = Share { hits: inputs.count("x")? as usize, n: inputs.count("n")? as usize };
    let interval = share
        .wilson(inputs.number_or("conf", 0.95)?)
        .ok_or_else(|| Unfit::refused("there is no interval"))?;
    Ok(json!({ "lo": interval.low, "hi": interval.high }))
}

fn welch(inputs: &Inputs) -> Result<Value, Unfit> {
    let found = compare(&inputs.numbers("a")?, &inputs.numbers("b")?).map_err(Unfit::refused)?;
    Ok(json!({ "t": found.t, "df": found.freedom, "p": found.p,
        "ci_lo": found.interval.low, "ci_hi": found.interval.high }))
}

fn minute(minutes: f64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::nanoseconds((minutes * 60e9).round() as i64)
}

fn minutes(at: DateTime<Utc>) -> f64 {
    (at - DateTime::UNIX_EPOCH).as_seconds_f64() / 60.0
}

fn gap(inputs: &Inputs, key: &str) -> Result<TimeDelta, Unfit> {
    Ok(minute(inputs.number_or(key, 0.0)?) - DateTime::UNIX_EPOCH)
}

fn drawn(inputs: &Inputs) -> Result<(Trace, Band), Unfit> {
    let mut points = Vec::new();
    for reading in inputs.rows("readings")? {
        points.push(Point { at: minute(reading.number("t")?), value: reading.number("v")? });
    }
    let between = match inputs.given("mode").map(Value::as_str) {
        None | Some(Some("linear")) => Between::Linear,
        Some(Some("hold")) => Between::Hold,
        Some(_) => return Err(Unfit::Unreadable("mode".to_owned())),
    };
    let (low, high) = (inputs.number("lo")?, inputs.number("hi")?);
    let band = Band::new(Metric::Ec, low, f64::midpoint(low, high), high).map_err(Unfit::refused)?;
    Ok((Trace::new(&points, &[], gap(inputs, "max_gap_min")?, between), band))
}

fn in_band(inputs: &Inputs) -> Result<Value, Unfit> {
    let (trace, band) = drawn(inputs)?;
    let period = Span::new(minute(inputs.number("start")?), minute(inputs.number("end")?));
    let time = trace.time_in_band(&band, period.map_err(Unfit::refused)?);
    Ok(json!({ "in_min": time.in_min, "low_min": time.low_min, "high_min": time.high_min,
        "unknown_min": time.unknown_min, "fraction": time.share() }))
}

fn excursions(inputs: &Inputs) -> Result<Value, Unfit> {
    let (trace, band) = drawn(inputs)?;
    let joining =
        Joining { closer_than: gap(inputs, "merge_min")?, shorter_than: gap(inputs, "min_duration_min")? };
    let tell = |one: &Excursion| {
        let side = match one.side {
            Side::Low => "low",
            Side::High => "high",
        };
        json!({ "side": side, "from": minutes(one.from), "to": minutes(one.until),
            "peak": one.peak, "open": one.open })
    };
    let found: Vec<Value> = trace.excursions(&band, joining, &[]).iter().map(tell).collect();
    Ok(json!({ "excursions": found }))
}

/// Rows tell kilograms and years where the product tells grams of a plant and days, and some figures upside down.
fn rates(inputs: &Inputs) -> Result<Value, Unfit> {
    let given = |key: &str| inputs.given(key).map(|_| inputs.number(key)).transpose();
    let plants =
        |key: &str| inputs.given(key).map(|_| inputs.count(key).map(|plants| plants as u32)).transpose();
    let found = Yield::of(&Cropped {
        saleable_kg: inputs.number("kg")?,
        harvests: 1,
        area_m2: given("m2")?,
        plants_set: plants("plants_set")?,
        plants_harvested: plants("plants_harvested")?,
        days: given("days")?,
        water_l: given("litres")?,
        energy_kwh: given("kwh")?,
        ..Cropped::default()
    });
    let scaled = |figure: Option<Figure>, by: f64| figure.map(|figure| figure.value * by);
    let inverse = |figure: Option<Figure>, by: f64| figure.map(|figure| by / figure.value);
    Ok(json!({
        "kg_per_m2": scaled(found.kg_per_m2, 1.0),
        "kg_per_m2_year": scaled(found.kg_per_m2_day, YEAR_DAYS),
        "kg_per_plant_set": scaled(found.g_per_plant_set, 1e-3),
        "kg_per_plant_harvested": scaled(found.g_per_plant_harvested, 1e-3),
        "kg_per_kwh": inverse(found.energy_kwh_per_kg, 1.0),
        "kwh_per_kg": scaled(found.energy_kwh_per_kg, 1.0),
        "kg_per_m3_water": inverse(found.water_l_per_kg, 1000.0),
        "litres_per_kg": scaled(found.water_l_per_kg, 1.0),
    }))
}
