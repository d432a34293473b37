//! CSV after RFC 4180: a header, CRLF, and text that no spreadsheet takes for a formula.

mod items;

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse};
use fillmark_api::{Instant, ProblemCode, ReportShare, RoomReport};
use fillmark_domain::Coded;
use serde::{Deserialize, Serialize};
use utoipa::IntoParams;

use super::Refused;
pub use items::of_items;

/// What CSV is served as.
pub const CONTENT_TYPE: &str = "text/csv; charset=utf-8; header=present";

/// As what it is answered.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct FormatQuery {
    /// `csv` where no Accept header can be sent.
    #[param(max_length = 10)]
    pub format: Option<String>,
}

const HEADER: [&str; 12] = [
    "part",
    "place",
    "metric",
    "name",
    "from_at",
    "until_at",
    "value",
    "unit",
    "case_count",
    "low_percent",
    "high_percent",
    "note",
];

/// One row of a report: a figure, or an entry of one of its lists.
#[derive(Default)]
struct Row {
    part: &'static str,
    place: String,
    metric: String,
    name: String,
    from_at: Option<Instant>,
    until_at: Option<Instant>,
    value: Option<f64>,
    unit: &'static str,
    case_count: Option<u64>,
    interval: Option<(f64, f64)>,
    note: String,
}

/// An answer as its rows where a table is wanted, and as it is otherwise.
pub fn answer<R: Serialize>(
    wants_csv: bool,
    rows: impl FnOnce() -> Vec<R>,
    body: &impl Serialize,
) -> HttpResponse {
    match wants_csv {
        true => HttpResponse::Ok().content_type(CONTENT_TYPE).body(of_items(&rows())),
        false => HttpResponse::Ok().json(body),
    }
}

/// A room's report, one row a figure or list entry.
pub fn of_report(report: &RoomReport) -> String {
    let mut rows = vec![
        share("checks_in_time", &report.checks.in_time),
        share("readings_in_band", &report.in_band),
        share("changes_on_time", &report.changes_on_time),
        share("meters_in_calibration", &report.calibrated),
        share("records_complete", &report.complete),
        share("days_reviewed", &report.reviewed),
        Row {
            part: "figure",
            name: "time_in_band".into(),
            value: report.time.in_band_percent,
            unit: "%",
            case_count: Some(report.time.reading_count),
            ..Row::default()
        },
    ];
    rows.extend(report.series.iter().flat_map(series));
    rows.extend(report.late_or_missed.iter().map(|check| Row {
        part: "check",
        name: check.name.clone(),
        from_at: Some(check.due_at),
        note: if check.state == "done" { "late".into() } else { check.state.clone() },
        ..Row::default()
    }));
    rows.extend(report.unreviewed_on.iter().map(|day| Row {
        part: "day",
        name: "unreviewed".into(),
        note: day.to_string(),
        ..Row::default()
    }));
    rows.extend(events(report));
    rows.extend(report.yields.iter().flat_map(yields));
    written(&rows)
}

fn share(name: &str, share: &ReportShare) -> Row {
    Row {
        part: "figure",
        name: name.into(),
        value: share.percent,
        unit: "%",
        case_count: Some(share.case_count),
        interval: share.low_percent.zip(share.high_percent),
        ..Row::default()
    }
}

fn series(series: &fillmark_api::ReportSeries) -> Vec<Row> {
    let here = |row: Row| Row { place: series.place.clone(), metric: series.metric.0.code().into(), ..row };
    let mut rows = vec![
        here(share("readings_in_band", &series.in_band)),
        here(Row {
            part: "figure",
            name: "time_in_band".into(),
            value: series.time.in_band_percent,
            unit: "%",
            case_count: Some(series.time.reading_count),
            ..Row::default()
        }),
    ];
    rows.extend(series.excursions.iter().map(|out| {
        let corrected =
            out.corrected_after_h.map(|h| format!("corrected after {h} h")).unwrap_or("not corrected".into());
        here(Row {
            part: "excursion",
            name: out.side.code().into(),
            from_at: Some(out.from_at),
            until_at: Some(out.until_at),
            value: Some(out.peak),
            unit: series.metric.0.unit().code(),
            case_count: Some(out.reading_count),
            note: corrected,
            ..Row::default()
        })
    }));
    rows
}

fn events(report: &RoomReport) -> Vec<Row> {
    let changes = report.changes.iter().map(|change| Row {
        part: "tank_change",
        from_at: Some(change.recorded_at),
        value: Some(change.drained_l),
        unit: "L",
        note: change.due_on.map(|due| format!("due {due}")).unwrap_or_default(),
        ..Row::default()
    });
    let calibrations = report.calibrations.iter().map(|kept| Row {
        part: "calibration",
        from_at: Some(kept.body.calibrated_at),
        value: kept.body.slope_percent,
        unit: "%",
        note: if kept.body.passed { "passed".into() } else { "failed".into() },
        ..Row::default()
    });
    let corrections = report.corrections.iter().map(|reading| Row {
        part: "correction",
        metric: reading.metric.0.code().into(),
        from_at: Some(reading.recorded_at),
        value: Some(reading.value.value),
        unit: reading.metric.0.unit().code(),
        note: reading.correction_reason.clone().unwrap_or_default(),
        ..Row::default()
    });
    let harvests = report.harvests.iter().map(|harvest| Row {
        part: "harvest",
        from_at: Some(harvest.harvested_at),
        value: Some(harvest.saleable_kg),
        unit: "kg",
        note: format!("rejected {} kg", harvest.rejected_kg),
        ..Row::default()
    });
    changes.chain(calibrations).chain(corrections).chain(harvests).collect()
}

fn yields(cycle: &fillmark_api::ReportYield) -> Vec<Row> {
    let figures = [
        ("saleable", Some(cycle.saleable_kg), "kg"),
        ("saleable_per_area", cycle.kg_per_m2, "kg/m2"),
        ("saleable_per_area_and_day", cycle.kg_per_m2_day, "kg/m2/d"),
        ("saleable_per_plant", cycle.g_per_plant, "g"),
        ("rejected", cycle.rejected_percent, "%"),
        ("concentrate", cycle.concentrate_l_per_kg, "L/kg"),
        ("concentrate_cost", cycle.concentrate_cost_minor_per_kg, "minor/kg"),
    ];
    let row = |(name, figure, unit): (&str, Option<fillmark_api::ReportFigure>, &'static str)| {
        let figure = figure?;
        Some(Row {
            part: "yield",
            place: cycle.name.clone(),
            name: name.into(),
            value: Some(figure.value),
            unit,
            case_count: Some(figure.harvest_count),
            ..Row::default()
        })
    };
    figures.into_iter().filter_map(row).collect()
}

fn written(rows: &[Row]) -> String {
    let mut out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
    // Writing to memory never fails, so there is nothing to tell.
    let _ = out.write_record(HEADER);
    for row in rows {
        let _ = out.write_record([
            row.part.to_owned(),
            text(&row.place),
            row.metric.clone(),
            text(&row.name),
            row.from_at.map(Instant::text).unwrap_or_default(),
            row.until_at.map(Instant::text).unwrap_or_default(),
            number(row.value),
            row.unit.to_owned(),
            row.case_count.map(|count| count.to_string()).unwrap_or_default(),
            number(row.interval.map(|(low, _)| low)),
            number(row.interval.map(|(_, high)| high)),
            text(&row.note),
        ]);
    }
    String::from_utf8(out.into_inner().unwrap_or_default()).unwrap_or_default()
}

/// Whether a request asks for CSV, by `format` where no Accept header can be sent.
/// # Errors
/// When it asks for something else than CSV or JSON.
pub fn is_wanted(request: &HttpRequest, format: Option<&str>) -> Result<bool, Refused> {
    is_wanted_of(request, format, Otherwise::Json)
}

/// The same where it is text otherwise.
/// # Errors
/// When nothing that can be served is asked for.
pub fn is_wanted_of_text(request: &HttpRequest, format: Option<&str>) -> Result<bool, Refused> {
    is_wanted_of(request, format, Otherwise::Text)
}

/// As what it is answered where no table is wanted.
#[derive(Clone, Copy)]
enum Otherwise {
    Json,
    Text,
}

fn is_wanted_of(request: &HttpRequest, format: Option<&str>, otherwise: Otherwise) -> Result<bool, Refused> {
    let (name, kind, all) = match otherwise {
        Otherwise::Json => ("json", "application/json", "application/*"),
        Otherwise::Text => ("text", "text/plain", "text/*"),
    };
    let accept =
        request.headers().get(header::ACCEPT).and_then(|accept| accept.to_str().ok()).unwrap_or("*/*");
    let accepts =
        |kind: &str| accept.split(',').any(|one| one.split(';').next().unwrap_or_default().trim() == kind);
    match format {
        Some("csv") => Ok(true),
        Some(format) if format == name => Ok(false),
        Some(_) => Err(Refused::parameter("format", format!("expected csv or {name}"))),
        None if accepts("text/csv") => Ok(true),
        None if [kind, all, "*/*"].into_iter().any(accepts) => Ok(false),
        None => Err(Refused::new(ProblemCode::NotAcceptable, format!("expected {kind} or text/csv"))),
    }
}

/// Text that a spreadsheet would take for a formula gets a leading quote (OWASP, CSV injection).
fn text(cell: &str) -> String {
    match cell.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\0') => format!("'{cell}"),
        _ => cell.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_cell_is_a_formula() {
        assert_eq!(text("=1+1"), "'=1+1");
        assert_eq!(text("North tank"), "North tank");
    }
}
