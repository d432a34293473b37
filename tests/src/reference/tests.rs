use std::path::PathBuf;

use super::*;

#[track_caller]
fn check(quantity: &str, inputs: &str, expected: &str, expected_hi: &str, tol_abs: &str, verdict: &Verdict) {
    let line = Line {
        id: "row".to_owned(),
        quantity: quantity.to_owned(),
        inputs_json: inputs.to_owned(),
        expected: expected.to_owned(),
        expected_hi: expected_hi.to_owned(),
        unit: String::new(),
        tol_abs: tol_abs.to_owned(),
        tol_rel: "0".to_owned(),
    };
    assert_eq!(judge(line).unwrap().verdict, *verdict);
}

fn failed(why: &str) -> Verdict {
    Verdict::Failed(why.to_owned())
}

#[test]
fn a_row_is_judged_by_its_tolerance_alone() {
    let inputs = r#"{"ppfd_umol_m2_s": 250, "hours": 16}"#;
    check("dli", inputs, "14.4", "", "0", &Verdict::Passed);
    check("dli", inputs, "14.5", "", "0.11", &Verdict::Passed);
    check("dli", inputs, "14.5", "", "0.05", &failed("14.400000 instead of 14.5 ± 5.00e-2 (-0.69 %)"));
    check("dli", inputs, "14", "15", "0.5", &failed("one value, 14.4, instead of 14..15"));
    check("phase_of_moon", "{}", "1", "", "0.5", &Verdict::NotCovered);
}

#[test]
fn both_ends_of_a_range_are_compared() {
    let inputs = r#"{"stage": "general"}"#;
    check("electrode_slope_accept", inputs, "95", "105", "0", &Verdict::Passed);
    check("electrode_slope_accept", inputs, "95", "102", "0", &failed("95..105 instead of 95..102"));
    check("electrode_slope_accept", inputs, "92", "105", "0", &failed("95..105 instead of 92..105"));
    check("electrode_slope_accept", inputs, "95", "", "0", &failed("95..105 instead of one value, 95"));
}

#[test]
fn a_missing_or_unreadable_input_is_named() {
    check("dli", r#"{"hours": 16}"#, "1", "", "1", &failed("ppfd_umol_m2_s is missing"));
    check("dli", r#"{"ppfd_umol_m2_s": "much"}"#, "1", "", "1", &failed("ppfd_umol_m2_s cannot be read"));
    check("volume", r#"{"value": 1, "from": "bucket"}"#, "1", "", "1", &failed("from cannot be read"));
}

fn files() -> Vec<PathBuf> {
    let root = PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../crates"));
    let mut files: Vec<PathBuf> = std::fs::read_dir(root.join("advice/testdata/agronomy"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "csv"))
        .collect();
    for further in [
        "domain/testdata/calendar_rows.json",
        "domain/testdata/stock_cases.json",
        "advice/testdata/review_rows.json",
        "advice/testdata/supply/forecast_golden.json",
        "advice/testdata/supply/inventory_rows.json",
        "advice/testdata/supply/unit_normal_loss.csv",
    ] {
        files.push(root.join(further));
    }
    files
}

#[test]
fn every_row_that_states_a_tolerance_passes() {
    let files = files();
    assert_eq!(files.len(), 16);
    for file in files {
        let rows = judge_file(&file).unwrap();
        assert!(!rows.is_empty());
        let missed: Vec<&Row> = rows
            .iter()
            .filter(|row| match row.verdict {
                Verdict::Passed => false,
                Verdict::Failed(_) => true,
                Verdict::NotCovered => row.is_a_test,
            })
            .collect();
        assert!(missed.is_empty(), "{}: {missed:#?}", file.display());
    }
}

#[test]
fn recipes_conduct_within_two_per_cent_of_the_libraries_mean() {
    let file = files().into_iter().find(|path| path.ends_with("05_solutions.csv")).unwrap();
    let mut recipes = 0;
    for line in csv::Reader::from_path(file).unwrap().deserialize::<Line>() {
        let line = line.unwrap();
        let inputs = Inputs::read(&line.inputs_json, &line.unit).unwrap();
        if line.quantity != "ec25" || inputs.given("solution").is_none() {
            continue;
        }
        let Some(Ok(Computed::Value(ec))) = compute(&line.quantity, &inputs) else { panic!("{}", line.id) };
        let off = ec / line.expected.parse::<f64>().unwrap() - 1.0;
        assert!(off.abs() < 0.02, "{}: {off}", line.id);
        recipes += 1;
    }
    assert_eq!(recipes, 5);
}
