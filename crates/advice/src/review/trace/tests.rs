use fillmark_domain::Metric;
use proptest::prelude::*;
use serde_json::Value;

use super::*;
use crate::review::rows::{close, rows};

pub(crate) fn minute(minute: f64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::seconds((minute * 60.0) as i64)
}

pub(crate) fn band(low: f64, high: f64) -> Band {
    Band::new(Metric::Ec, low, f64::midpoint(low, high), high).unwrap()
}

pub(crate) fn points(readings: &[(f64, f64)]) -> Vec<Point> {
    readings.iter().map(|(at, value)| Point { at: minute(*at), value: *value }).collect()
}

/// The trace and the band of a row.
pub(crate) fn of_row(row: &Value) -> (Trace, Band) {
    let inputs = &row["inputs"];
    let readings: Vec<(f64, f64)> = inputs["readings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|reading| (reading["t"].as_f64().unwrap(), reading["v"].as_f64().unwrap()))
        .collect();
    let between = if inputs["mode"] == "hold" { Between::Hold } else { Between::Linear };
    let gap = TimeDelta::minutes(inputs["max_gap_min"].as_i64().unwrap());
    let trace = Trace::new(&points(&readings), &[], gap, between);
    (trace, band(inputs["lo"].as_f64().unwrap(), inputs["hi"].as_f64().unwrap()))
}

/// Minutes in, low, high and unknown from 08:00 to 12:00, with readings and steps at minutes of the day.
#[track_caller]
fn check(readings: &[(f64, f64)], steps: &[f64], expected: [f64; 4]) {
    let steps: Vec<DateTime<Utc>> = steps.iter().map(|step| minute(*step)).collect();
    let trace = Trace::new(&points(readings), &steps, TimeDelta::hours(24), Between::Linear);
    let morning = Span::new(minute(480.0), minute(720.0)).unwrap();
    let time = trace.time_in_band(&band(1.8, 2.2), morning);
    let found = [time.in_min, time.low_min, time.high_min, time.unknown_min];
    let off = found.iter().zip(expected).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    assert!(off < 1e-6, "{found:?} for {expected:?}");
}

#[test]
fn time_in_band_agrees_with_hand_worked_examples() {
    for row in rows("in_band") {
        let (trace, band) = of_row(&row);
        let at = |name: &str| minute(row["inputs"][name].as_f64().unwrap());
        let time = trace.time_in_band(&band, Span::new(at("start"), at("end")).unwrap());
        close(&row, "in_min", Some(time.in_min));
        close(&row, "low_min", Some(time.low_min));
        close(&row, "high_min", Some(time.high_min));
        close(&row, "unknown_min", Some(time.unknown_min));
        close(&row, "fraction", time.share());
    }
}

#[test]
fn a_line_is_drawn_where_nothing_was_added() {
    check(&[(480.0, 1.6), (720.0, 2.0)], &[], [120.0, 120.0, 0.0, 0.0]);
}

#[test]
fn a_value_holds_up_to_the_addition_and_jumps_there() {
    check(&[(480.0, 1.6), (720.0, 2.0)], &[540.0], [180.0, 60.0, 0.0, 0.0]);
}

#[test]
fn between_two_additions_nothing_is_known() {
    check(&[(480.0, 1.6), (720.0, 2.0)], &[540.0, 570.0], [150.0, 60.0, 0.0, 30.0]);
}

#[test]
fn an_addition_in_the_minute_of_a_reading_follows_it() {
    check(&[(480.0, 1.6), (720.0, 2.0)], &[480.0], [240.0, 0.0, 0.0, 0.0]);
    check(&[(480.0, 1.6), (720.0, 2.0)], &[720.0], [120.0, 120.0, 0.0, 0.0]);
}

#[test]
fn readings_outside_the_period_shape_its_edges() {
    check(&[(360.0, 1.6), (840.0, 2.0)], &[], [120.0, 120.0, 0.0, 0.0]);
}

#[test]
fn periods_with_other_bands_add_up() {
    let trace = Trace::new(&points(&[(0.0, 2.0), (60.0, 2.0)]), &[], TimeDelta::hours(2), Between::Linear);
    let half = |from: f64, until: f64, band: Band| {
        trace.time_in_band(&band, Span::new(minute(from), minute(until)).unwrap())
    };
    let both: TimeInBand =
        [half(0.0, 30.0, band(1.8, 2.2)), half(30.0, 60.0, band(1.2, 1.6))].into_iter().sum();
    assert_eq!(both.share(), Some(0.5));
    assert_eq!(both.n, 2);
}

proptest! {
    #[test]
    fn no_minute_is_lost_or_counted_twice(
        readings in prop::collection::vec((0_u32..2000, 1.0_f64..3.0), 0..20),
        steps in prop::collection::vec(0_u32..2000, 0..8),
        gap in 1_i64..600,
        hold in any::<bool>(),
    ) {
        let readings: Vec<(f64, f64)> = readings.into_iter().map(|(at, value)| (at.into(), value)).collect();
        let steps: Vec<DateTime<Utc>> = steps.into_iter().map(|step| minute(step.into())).collect();
        let between = if hold { Between::Hold } else { Between::Linear };
        let trace = Trace::new(&points(&readings), &steps, TimeDelta::minutes(gap), between);
        let time = trace.time_in_band(&band(1.8, 2.2), Span::new(minute(100.0), minute(1900.0)).unwrap());
        prop_assert!(time.unknown_min >= -1e-6);
        prop_assert!(time.in_min >= 0.0 && time.low_min >= 0.0 && time.high_min >= 0.0);
        prop_assert!(time.share().is_none_or(|share| (0.0..=1.0).contains(&share)));
    }
}
