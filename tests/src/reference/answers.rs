//! Rows whose answer is JSON: a function's name, its inputs, what is expected of it and how near that must be.

use serde_json::Value;

use super::{Inputs, Row, Unfit, Verdict, inventory, past_use, review, stock};

/// What the product makes of a rule: none when it does not know it.
pub(super) type Computed = Option<Result<Value, Unfit>>;

/// Judges a row. A row that names a series instead of giving one finds it among those beside the file.
pub(super) fn judge(row: &Value, series: &Value) -> Row {
    let text = |key: &str| row[key].as_str().unwrap_or_default().to_owned();
    let rule = text("fn");
    Row { id: text("id"), verdict: verdict(&rule, row, series), quantity: rule, is_a_test: true }
}

fn verdict(rule: &str, row: &Value, series: &Value) -> Verdict {
    let judged = inputs_of(row, series).and_then(|inputs| {
        let Some(computed) = compute(rule, &inputs) else { return Ok(Verdict::NotCovered) };
        let (nearness, computed) = (Nearness::of(row)?, computed?);
        Ok(match nearness.difference("", &computed, &row["expected"]) {
            None => Verdict::Passed,
            Some(difference) => Verdict::Failed(difference),
        })
    });
    judged.unwrap_or_else(|unfit| Verdict::Failed(unfit.to_string()))
}

fn inputs_of(row: &Value, series: &Value) -> Result<Inputs, Unfit> {
    let mut inputs = row["inputs"].as_object().cloned().ok_or_else(|| Unfit::Missing("inputs".to_owned()))?;
    if let (Some(name), None) = (row["series"].as_str(), inputs.get("y")) {
        let named = series[name]["y"].as_array().ok_or_else(|| Unfit::Missing(format!("series {name}")))?;
        inputs.insert("y".to_owned(), Value::Array(named.clone()));
    }
    Ok(Inputs::of(inputs))
}

fn compute(rule: &str, inputs: &Inputs) -> Computed {
    past_use::compute(rule, inputs)
        .or_else(|| inventory::compute(rule, inputs))
        .or_else(|| stock::compute(rule, inputs))
        .or_else(|| review::compute(rule, inputs))
}

/// How near a number must be to the one expected.
enum Nearness {
    Absolute(f64),
    Relative(f64),
    RelativeFromOne(f64),
}

impl Nearness {
    fn of(row: &Value) -> Result<Nearness, Unfit> {
        let tolerance = row["tol"].as_f64().ok_or_else(|| Unfit::Missing("tol".to_owned()))?;
        match row["tol_kind"].as_str() {
            Some("absolute") => Ok(Nearness::Absolute(tolerance)),
            Some("relative") => Ok(Nearness::Relative(tolerance)),
            Some("relative to max(1,|x|)") => Ok(Nearness::RelativeFromOne(tolerance)),
            _ => Err(Unfit::Unreadable("tol_kind".to_owned())),
        }
    }

    /// With room for the last digit of a double, which even an exact figure may miss.
    fn around(&self, expected: f64) -> f64 {
        let near = match self {
            Nearness::Absolute(tolerance) => *tolerance,
            Nearness::Relative(tolerance) => tolerance * expected.abs(),
            Nearness::RelativeFromOne(tolerance) => tolerance * expected.abs().max(1.0),
        };
        near + 1e-15
    }

    /// The first place in which an answer is not what was expected; it may tell more than was asked.
    fn difference(&self, place: &str, computed: &Value, expected: &Value) -> Option<String> {
        match (computed, expected) {
            (Value::Number(found), Value::Number(wanted)) => {
                let (found, wanted) = (found.as_f64()?, wanted.as_f64()?);
                let near = self.around(wanted);
                let off = (found - wanted).abs() > near;
                off.then(|| format!("{place} {found} instead of {wanted} ± {near:.2e}"))
            }
            (Value::Array(found), Value::Array(wanted)) if found.len() == wanted.len() => {
                let each = found.iter().zip(wanted).enumerate();
                each.map(|(at, (found, wanted))| self.difference(&format!("{place}[{at}]"), found, wanted))
                    .find_map(|difference| difference)
            }
            (Value::Object(found), Value::Object(wanted)) => wanted.iter().find_map(|(name, wanted)| {
                let found = found.get(name).unwrap_or(&Value::Null);
                self.difference(&format!("{place}.{name}"), found, wanted)
            }),
            (found, wanted) if found == wanted => None,
            (found, wanted) => Some(format!("{place} {found} instead of {wanted}")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[track_caller]
    fn check(rule: &str, expected: Value, tol: f64, kind: &str, verdict: &Verdict) {
        let inputs = json!({ "alpha": 0.5, "h": 2 });
        let row = json!({ "id": "row", "fn": rule, "series": "two", "inputs": inputs, "expected": expected,
            "tol": tol, "tol_kind": kind });
        let series = json!({ "two": { "y": [100.0, 300.0] } });
        assert_eq!(judge(&row, &series).verdict, *verdict);
    }

    fn failed(why: &str) -> Verdict {
        Verdict::Failed(why.to_owned())
    }

    #[test]
    fn an_answer_is_judged_by_the_tolerance_of_its_row() {
        check("ses", json!({ "level": 201.0 }), 1.0, "absolute", &Verdict::Passed);
        check("ses", json!({ "level": 201.0 }), 0.01, "relative", &Verdict::Passed);
        check("ses", json!({ "level": 201.0 }), 0.01, "relative to max(1,|x|)", &Verdict::Passed);
        let off = failed(".level 200 instead of 201 ± 1.00e-1");
        check("ses", json!({ "level": 201.0 }), 0.1, "absolute", &off);
        let second = failed(".forecast[1] 200 instead of 300 ± 1.00e-1");
        check("ses", json!({ "forecast": [200.0, 300.0] }), 0.1, "absolute", &second);
        check("ses", json!({ "level": 200.0 }), 0.0, "about", &failed("tol_kind cannot be read"));
    }

    #[test]
    fn what_is_expected_and_not_told_is_a_failure() {
        check("ses", json!({ "trend": 1.0 }), 1.0, "absolute", &failed(".trend null instead of 1.0"));
        let longer = failed(".forecast [200.0,200.0] instead of [200.0]");
        check("ses", json!({ "forecast": [200.0] }), 1.0, "absolute", &longer);
    }

    #[test]
    fn an_unknown_rule_is_not_covered() {
        check("phase_of_moon", json!({}), 0.0, "absolute", &Verdict::NotCovered);
    }
}
