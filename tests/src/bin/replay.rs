//! Plays recorded sites back through the HTTP API and prints how the forecast came out.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use fillmark_tests::replay::{self, HORIZONS, Outcome};
use serde_json::json;

/// Plays recorded sites back and holds their forecasts against what was used.
#[derive(Parser)]
struct Line {
    /// Scenario files, or folders of them.
    #[arg(required = true)]
    named: Vec<PathBuf>,
    /// One JSON object a scenario on a line, and a summary on the last.
    #[arg(long)]
    json: bool,
}

#[tokio::main]
async fn main() -> ExitCode {
    let line = Line::parse();
    let mut outcomes = Vec::new();
    for named in &line.named {
        let files = match replay::files(named) {
            Ok(files) => files,
            Err(error) => return failed(&error),
        };
        for file in files {
            match replay::play(&file).await {
                Ok(outcome) if line.json => {
                    println!("{}", json!(outcome));
                    outcomes.push(outcome);
                }
                Ok(outcome) => {
                    print_table(&outcome);
                    outcomes.push(outcome);
                }
                Err(error) => return failed(&error),
            }
        }
    }
    if outcomes.is_empty() {
        eprintln!("replay: there is no scenario in what was named");
        return ExitCode::FAILURE;
    }
    let mean = replay::mean_error(&outcomes, 28);
    if line.json {
        println!(
            "{}",
            json!({ "summary": { "scenarios": outcomes.len(), "mean_abs_error_28d": (mean * 1e6).round() / 1e6 } })
        );
    } else {
        for days in HORIZONS {
            let mean = replay::mean_error(&outcomes, days);
            println!(
                "{:2} days: mean absolute error over {} scenarios {:5.1} %",
                days,
                outcomes.len(),
                mean * 100.0
            );
        }
    }
    ExitCode::SUCCESS
}

fn failed(error: &replay::ReplayError) -> ExitCode {
    eprintln!("replay: {error}");
    ExitCode::FAILURE
}

fn print_table(outcome: &Outcome) {
    println!("{}", outcome.scenario);
    print!("  {:<22}", "forecast / truth, mL");
    HORIZONS.iter().for_each(|days| print!("{:>28}", format!("{days} days")));
    println!();
    for product in &outcome.products {
        let cell = |at: usize| {
            let at = product.at[at];
            format!("{:.0} / {:.0} ({:.1} %)", at.forecast_ml, at.truth_ml, at.abs_error * 100.0)
        };
        print!("  {:<22}", product.product);
        (0..HORIZONS.len()).for_each(|at| print!("{:>28}", cell(at)));
        println!();
    }
    let means: Vec<String> = HORIZONS
        .iter()
        .zip(&outcome.mean_abs_error)
        .map(|(days, error)| format!("{days} days {:.1} %", error * 100.0))
        .collect();
    println!("  mean absolute error: {}\n", means.join(", "));
}
