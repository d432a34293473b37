//! Computes rows of reference files with the product's functions, and prints those that fail and how many passed.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use fillmark_tests::reference::{Row, Tally, Verdict, judge_file};
use serde_json::json;

/// Computes rows of reference files (CSV or JSON) and prints those that fail, then how many passed.
#[derive(Parser)]
struct Line {
    /// The files.
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// One JSON object a failure and a file on a line, and a summary on the last.
    #[arg(long)]
    json: bool,
    /// Also the rows that are not covered.
    #[arg(long)]
    uncovered: bool,
}

fn main() -> ExitCode {
    let line = Line::parse();
    let mut all: Vec<Row> = Vec::new();
    for file in &line.files {
        let rows = match judge_file(file) {
            Ok(rows) => rows,
            Err(error) => {
                eprintln!("rows: {} {error}", file.display());
                return ExitCode::FAILURE;
            }
        };
        rows.iter().for_each(|row| tell(row, &line));
        let tally = Tally::of(&rows);
        if line.json {
            println!("{}", json!({ "file": file.display().to_string(), "counts": counts(tally) }));
        } else if rows.is_empty() {
            println!("{}: holds no rows", file.display());
        } else {
            println!("{}: {tally}", file.display());
        }
        all.extend(rows);
    }
    let tally = Tally::of(&all);
    if line.json {
        println!("{}", json!({ "summary": counts(tally) }));
    } else {
        println!("all: {tally}");
    }
    if tally.failed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn tell(row: &Row, line: &Line) {
    let why = match &row.verdict {
        Verdict::Passed => return,
        Verdict::NotCovered if !line.uncovered => return,
        Verdict::NotCovered => "not covered",
        Verdict::Failed(why) => why,
    };
    if line.json {
        println!("{}", json!({ "id": row.id, "quantity": row.quantity, "why": why }));
    } else {
        println!("{} {}: {why}", row.id, row.quantity);
    }
}

fn counts(tally: Tally) -> serde_json::Value {
    json!({ "passed": tally.passed, "failed": tally.failed, "not_covered": tally.not_covered })
}
