//! Rows of the calendar: expansions of recurrences and lengths of local days, to the instant.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use fillmark_domain::Recurrence;
use fillmark_domain::local::local_day;
use serde_json::Value;

use super::{Row, Unfit, Verdict};

/// Judges a row; its kind is told by its inputs.
pub(super) fn judge(row: &Value) -> Row {
    let inputs = &row["inputs"];
    let (quantity, found) = if inputs["local_day"].is_string() {
        ("local_day", day(row))
    } else if inputs["rrule"].is_string() {
        ("recurrence", expansion(row))
    } else {
        (row["fn"].as_str().unwrap_or_default(), Ok(None))
    };
    let verdict = match found {
        Ok(Some(found)) if found == told(&row["expected"]) => Verdict::Passed,
        Ok(Some(found)) => Verdict::Failed(format!("{found:?} instead of {:?}", told(&row["expected"]))),
        Ok(None) => Verdict::NotCovered,
        Err(unfit) => Verdict::Failed(unfit.to_string()),
    };
    let id = row["id"].as_str().unwrap_or_default().to_owned();
    Row { id, quantity: quantity.to_owned(), is_a_test: true, verdict }
}

/// All instants and wall times that a row expects, in their order.
fn told(expected: &Value) -> Vec<String> {
    match expected {
        Value::Array(all) => all.iter().flat_map(told).collect(),
        Value::Object(one) => ["local", "utc", "start_utc", "end_utc"]
            .iter()
            .filter_map(|key| one.get(*key)?.as_str().map(str::to_owned))
            .collect(),
        _ => Vec::new(),
    }
}

fn text<'a>(inputs: &'a Value, key: &str) -> Result<&'a str, Unfit> {
    match &inputs[key] {
        Value::Null => Err(Unfit::Missing(key.to_owned())),
        value => value.as_str().ok_or_else(|| Unfit::Unreadable(key.to_owned())),
    }
}

fn parsed<T: std::str::FromStr>(inputs: &Value, key: &str) -> Result<T, Unfit> {
    text(inputs, key)?.parse().map_err(|_| Unfit::Unreadable(key.to_owned()))
}

fn times(inputs: &Value, key: &str) -> Result<Vec<NaiveDateTime>, Unfit> {
    let unreadable = || Unfit::Unreadable(key.to_owned());
    let listed = inputs[key].as_array().map_or(&[][..], Vec::as_slice);
    listed
        .iter()
        .map(|time| time.as_str().and_then(|time| time.parse().ok()).ok_or_else(unreadable))
        .collect()
}

fn instant(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%dT%H:%M:%SZ").to_string()
}

fn day(row: &Value) -> Result<Option<Vec<String>>, Unfit> {
    let inputs = &row["inputs"];
    let day = local_day(parsed::<Tz>(inputs, "tzid")?, parsed(inputs, "local_day")?);
    let minutes = (day.end - day.start).num_minutes();
    if row["expected"]["minutes"].as_f64().is_some_and(|expected| expected != minutes as f64) {
        return Err(Unfit::refused(format!("the day has {minutes} minutes")));
    }
    Ok(Some(vec![instant(day.start), instant(day.end)]))
}

fn expansion(row: &Value) -> Result<Option<Vec<String>>, Unfit> {
    let inputs = &row["inputs"];
    let take = inputs["take"].as_u64().ok_or_else(|| Unfit::Missing("take".to_owned()))?;
    let start: NaiveDateTime = parsed(inputs, "dtstart")?;
    // A lifetime ahead: the rows look no further, and rules without end must end somewhere.
    let within = start.and_utc() - TimeDelta::days(2)..start.and_utc() + TimeDelta::days(366 * 70);
    let found = Recurrence::new(text(inputs, "rrule")?, start, parsed(inputs, "tzid")?)
        .map_err(Unfit::refused)?
        .except(times(inputs, "exdate")?)
        .with(times(inputs, "rdate")?)
        .expand(within)
        .map_err(Unfit::refused)?;
    let mut shown = Vec::new();
    for one in found.iter().take(usize::try_from(take).unwrap_or(usize::MAX)) {
        shown.extend([wall(one.date.and_time(one.time)), instant(one.at)]);
        // A shift lasts its minutes whatever the clocks do meanwhile.
        shown.extend(
            inputs["duration_min"].as_i64().map(|minutes| instant(one.at + TimeDelta::minutes(minutes))),
        );
    }
    Ok(Some(shown))
}

fn wall(time: NaiveDateTime) -> String {
    time.format("%Y-%m-%dT%H:%M:%S").to_string()
}
