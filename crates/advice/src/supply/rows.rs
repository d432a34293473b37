//! Rows of textbooks and general-purpose libraries that the figures are tested with, each with its source beside it.

use serde_json::Value;

/// Forecasts of published series with fixed parameters.
pub(super) const GOLDEN: &str = include_str!("../../testdata/supply/forecast_golden.json");
/// Stock levels and order quantities.
pub(super) const INVENTORY: &str = include_str!("../../testdata/supply/inventory_rows.json");

/// One row.
pub(super) struct Case {
    pub(super) id: String,
    pub(super) expected: Value,
    row: Value,
}

/// The rows of one formula.
pub(super) fn cases(file: &str, formula: &str) -> Vec<Case> {
    let all: Vec<Value> = serde_json::from_str(file).unwrap();
    let rows: Vec<Case> = all
        .into_iter()
        .filter(|row| row["fn"] == formula)
        .map(|row| Case {
            id: row["id"].as_str().unwrap().to_owned(),
            expected: row["expected"].clone(),
            row,
        })
        .collect();
    assert!(!rows.is_empty(), "{formula}");
    rows
}

impl Case {
    /// A number given.
    pub(super) fn number(&self, name: &str) -> f64 {
        self.row["inputs"][name].as_f64().unwrap()
    }

    /// Numbers given.
    pub(super) fn numbers(&self, name: &str) -> Vec<f64> {
        self.row["inputs"][name].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
    }

    /// The series that the row is about: its own, or one that it names.
    pub(super) fn uses(&self) -> Vec<f64> {
        if self.row["inputs"]["y"].is_array() {
            return self.numbers("y");
        }
        let all: Value = serde_json::from_str(include_str!("../../testdata/supply/series.json")).unwrap();
        let series = &all[self.row["series"].as_str().unwrap()]["y"];
        serde_json::from_value(series.clone()).unwrap()
    }

    /// Whether it expects something of this name.
    pub(super) fn expects(&self, name: &str) -> bool {
        !self.expected[name].is_null()
    }

    /// Holds a figure to what the row expects, if it does, within the row's tolerance.
    #[track_caller]
    pub(super) fn close(&self, name: &str, found: f64) {
        if self.expects(name) {
            self.close_to(name, &self.expected[name], found);
        }
    }

    /// The same for a list.
    #[track_caller]
    pub(super) fn close_each(&self, name: &str, found: impl Fn(usize) -> f64) {
        for (place, expected) in self.expected[name].as_array().unwrap().iter().enumerate() {
            self.close_to(name, expected, found(place));
        }
    }

    #[track_caller]
    fn close_to(&self, name: &str, expected: &Value, found: f64) {
        let (expected, tolerance) = (expected.as_f64().unwrap(), self.row["tol"].as_f64().unwrap());
        let scale = if self.row["tol_kind"] == "absolute" { 1.0 } else { expected.abs().max(1.0) };
        assert!((found - expected).abs() <= tolerance * scale, "{} {name}: {found} for {expected}", self.id);
    }
}
