//! Reference rows: values of the literature and of hand-worked cases, each computed anew with the product's functions.
//!
//! A row of a CSV names a quantity, its inputs (their keys carry the units) and what was expected of it. A quantity is known in
//! one of the modules here, which only hands the inputs to a function of `advice` or `domain`; what is not known is not
//! covered. A row of a JSON file names a function, and its answer may have many figures. No expected value is known to anything here but the file. To add a quantity: an arm in the module it belongs to.

mod acidity;
mod air;
mod answers;
mod balance;
mod calendar;
mod conductivity;
mod inputs;
mod inventory;
mod labels;
mod meters;
mod past_use;
mod recipes;
mod review;
mod stock;
mod units;

use std::path::Path;

use serde_json::Value;

pub use inputs::{Inputs, Unfit};

/// What the product makes of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Computed {
    /// One value.
    Value(f64),
    /// From the first to the last.
    Range(f64, f64),
}

impl From<f64> for Computed {
    fn from(value: f64) -> Self {
        Computed::Value(value)
    }
}

type Answer = Result<Computed, Unfit>;

/// What a row came to.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// Within its tolerance.
    Passed,
    /// Outside it, or not computed though the quantity is known: says why.
    Failed(String),
    /// The product does not compute that quantity.
    NotCovered,
}

/// A row and its verdict.
#[derive(Debug, Clone)]
pub struct Row {
    /// Its id.
    pub id: String,
    /// What it is a value of.
    pub quantity: String,
    /// Whether it states a tolerance: a row without one is a figure to know, not a test.
    pub is_a_test: bool,
    /// What it came to.
    pub verdict: Verdict,
}

/// A file that is no file of rows.
#[derive(Debug, thiserror::Error)]
pub enum NotRows {
    /// It cannot be read.
    #[error("cannot be read: {0}")]
    Unreadable(#[from] std::io::Error),
    /// It is no CSV.
    #[error("is no CSV: {0}")]
    NoCsv(#[from] csv::Error),
    /// It is no JSON.
    #[error("is no list of rows: {0}")]
    NoJson(#[from] serde_json::Error),
    /// A column is missing, or its text cannot be read.
    #[error("row {id}: {column} is missing or cannot be read")]
    Column {
        /// The row.
        id: String,
        /// The column.
        column: &'static str,
    },
}

/// A row of a CSV file.
#[derive(serde::Deserialize)]
struct Line {
    id: String,
    quantity: String,
    inputs_json: String,
    expected: String,
    #[serde(default)]
    expected_hi: String,
    #[serde(default)]
    unit: String,
    tol_abs: String,
    tol_rel: String,
}

/// All rows of a file, judged: a CSV, or a JSON list. A JSON file without anything expected holds data and no rows; series that
/// rows name stand in `series.json` beside their file.
/// # Errors
/// [`NotRows`] when the file is none; a row whose inputs do not fit is a failure of the row, not of the file.
pub fn judge_file(path: &Path) -> Result<Vec<Row>, NotRows> {
    let text = std::fs::read_to_string(path)?;
    if path.extension().is_some_and(|extension| extension == "json") {
        return judge_list(&text, &path.with_file_name("series.json"));
    }
    let mut lines = csv::Reader::from_reader(text.as_bytes());
    if inventory::is_loss_table(lines.headers()?) {
        return lines.records().map(|line| Ok(inventory::judge_loss(&line?))).collect();
    }
    lines.deserialize().map(|line| judge(line?)).collect()
}

fn judge_list(text: &str, series: &Path) -> Result<Vec<Row>, NotRows> {
    let file: Value = serde_json::from_str(text)?;
    let listed = file.as_array().map(Vec::as_slice).unwrap_or_default();
    let rows: Vec<&Value> = listed.iter().filter(|row| !row["expected"].is_null()).collect();
    let series: Value = if rows.iter().any(|row| row["series"].is_string()) {
        serde_json::from_str(&std::fs::read_to_string(series)?)?
    } else {
        Value::Null
    };
    let judge = |row: &&Value| {
        if row["fn"].is_string() { answers::judge(row, &series) } else { calendar::judge(row) }
    };
    Ok(rows.iter().map(judge).collect())
}

fn judge(line: Line) -> Result<Row, NotRows> {
    let number =
        |text: &str, column| text.trim().parse().map_err(|_| NotRows::Column { id: line.id.clone(), column });
    let expected: f64 = number(&line.expected, "expected")?;
    let expected_hi = if line.expected_hi.trim().is_empty() {
        None
    } else {
        Some(number(&line.expected_hi, "expected_hi")?)
    };
    let tolerance =
        Tolerance { abs: number(&line.tol_abs, "tol_abs")?, rel: number(&line.tol_rel, "tol_rel")? };
    let inputs = Inputs::read(&line.inputs_json, &line.unit)
        .ok_or_else(|| NotRows::Column { id: line.id.clone(), column: "inputs_json" })?;
    let verdict = match compute(&line.quantity, &inputs) {
        None => Verdict::NotCovered,
        Some(Err(unfit)) => Verdict::Failed(unfit.to_string()),
        Some(Ok(computed)) => tolerance.verdict(computed, expected, expected_hi),
    };
    Ok(Row {
        is_a_test: tolerance.abs > 0.0 || tolerance.rel > 0.0,
        id: line.id,
        quantity: line.quantity,
        verdict,
    })
}

/// The quantity of the row as the product computes it; none when it does not.
fn compute(quantity: &str, inputs: &Inputs) -> Option<Answer> {
    conductivity::compute(quantity, inputs)
        .or_else(|| units::compute(quantity, inputs))
        .or_else(|| labels::compute(quantity, inputs))
        .or_else(|| recipes::compute(quantity, inputs))
        .or_else(|| acidity::compute(quantity, inputs))
        .or_else(|| air::compute(quantity, inputs))
        .or_else(|| balance::compute(quantity, inputs))
        .or_else(|| meters::compute(quantity, inputs))
}

/// How far off a value may be.
#[derive(Debug, Clone, Copy)]
struct Tolerance {
    abs: f64,
    rel: f64,
}

impl Tolerance {
    /// The larger of both, and never less than half a unit of the sixth digit: the files print no more, so that an exact value
    /// is off by that much.
    fn around(self, expected: f64) -> f64 {
        let sixth =
            if expected == 0.0 { 0.0 } else { 0.5 * 10f64.powf(expected.abs().log10().floor() - 5.0) };
        self.abs.max(self.rel * expected.abs()).max(sixth * (1.0 + 1e-9))
    }

    fn holds(self, value: f64, expected: f64) -> bool {
        (value - expected).abs() <= self.around(expected)
    }

    fn verdict(self, computed: Computed, expected: f64, expected_hi: Option<f64>) -> Verdict {
        let told = match (computed, expected_hi) {
            (Computed::Value(value), None) if self.holds(value, expected) => return Verdict::Passed,
            (Computed::Range(low, high), Some(hi)) if self.holds(low, expected) && self.holds(high, hi) => {
                return Verdict::Passed;
            }
            (Computed::Value(value), None) => {
                let off = 100.0 * (value / expected - 1.0);
                format!("{value:.6} instead of {expected} ± {:.2e} ({off:+.2} %)", self.around(expected))
            }
            (Computed::Range(low, high), Some(hi)) => format!("{low}..{high} instead of {expected}..{hi}"),
            (Computed::Value(value), Some(hi)) => format!("one value, {value}, instead of {expected}..{hi}"),
            (Computed::Range(low, high), None) => format!("{low}..{high} instead of one value, {expected}"),
        };
        Verdict::Failed(told)
    }
}

/// How many rows passed, failed and were not covered.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    /// Within tolerance.
    pub passed: usize,
    /// Outside it.
    pub failed: usize,
    /// Not computed.
    pub not_covered: usize,
}

impl Tally {
    /// Counts rows.
    pub fn of<'a>(rows: impl IntoIterator<Item = &'a Row>) -> Self {
        let mut tally = Tally::default();
        for row in rows {
            match row.verdict {
                Verdict::Passed => tally.passed += 1,
                Verdict::Failed(_) => tally.failed += 1,
                Verdict::NotCovered => tally.not_covered += 1,
            }
        }
        tally
    }
}

impl std::fmt::Display for Tally {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "{} passed, {} failed, {} not covered", self.passed, self.failed, self.not_covered)
    }
}

#[cfg(test)]
mod tests;
