//! The published and computed rows that the figures are tested with.

use serde_json::Value;

/// The rows of one formula.
pub(crate) fn rows(formula: &str) -> Vec<Value> {
    let all: Vec<Value> = serde_json::from_str(include_str!("../../testdata/review_rows.json")).unwrap();
    let rows: Vec<Value> = all.into_iter().filter(|row| row["fn"] == formula).collect();
    assert!(!rows.is_empty(), "{formula}");
    rows
}

/// Whether a figure is what the row expects, within the row's tolerance; `null` is no figure.
#[track_caller]
pub(crate) fn close(row: &Value, name: &str, found: Option<f64>) {
    close_to(row, name, &row["expected"][name], found);
}

/// The same, for an expected value deeper in the row.
#[track_caller]
pub(crate) fn close_to(row: &Value, name: &str, expected: &Value, found: Option<f64>) {
    let tolerance = row["tol"].as_f64().unwrap();
    match (expected.as_f64(), found) {
        (None, None) => {}
        (Some(expected), Some(found)) => {
            let scale = if row["tol_kind"] == "absolute" { 1.0 } else { expected.abs().max(1.0) };
            let off = (found - expected).abs();
            assert!(off <= tolerance * scale, "{} {name}: {found} for {expected}", row["id"]);
        }
        (expected, found) => panic!("{} {name}: {found:?} for {expected:?}", row["id"]),
    }
}
