//! Plays recorded sites back and prints how the forecast came out: through the HTTP API, or straight from the records
//! where a file has many days of asking.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use fillmark_tests::replay::policy::{self, JUDGED, Level, PUBLISHED};
use fillmark_tests::replay::{self, HORIZONS, Outcome, ReplayError, Summary, rolling::CHANCES};
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
    /// Takes also files with one day of asking straight from their records, without a server.
    #[arg(long)]
    direct: bool,
    /// Orders once a week what the forecast proposes, day by day, in place of holding forecasts against the truth; of files with
    /// many days of asking.
    #[arg(long)]
    policy: bool,
    /// Lets the supplier of a policy run take twice as long from its middle on.
    #[arg(long, requires = "policy")]
    lead_doubles: bool,
}

#[tokio::main]
async fn main() -> ExitCode {
    match run(&Line::parse()).await {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => {
            eprintln!("replay: there is no scenario in what was named");
            ExitCode::FAILURE
        }
        Err(error) => {
            eprintln!("replay: {error}");
            ExitCode::FAILURE
        }
    }
}

/// Whether there was anything to play.
async fn run(line: &Line) -> Result<bool, ReplayError> {
    let mut files = Vec::new();
    for named in &line.named {
        files.extend(replay::files(named)?);
    }
    if line.policy {
        return play_policy(&files, line);
    }
    let (mut direct, mut through_the_api) = (Vec::new(), Vec::new());
    for file in files {
        let rolling = line.direct || !replay::recorded(&file)?.origins.is_empty();
        if rolling { &mut direct } else { &mut through_the_api }.push(file);
    }
    if !through_the_api.is_empty() {
        play_through_the_api(&through_the_api, line.json).await?;
    }
    if !direct.is_empty() {
        play_direct(&direct, line.json)?;
    }
    Ok(!direct.is_empty() || !through_the_api.is_empty())
}

async fn play_through_the_api(files: &[PathBuf], as_json: bool) -> Result<(), ReplayError> {
    let mut outcomes = Vec::new();
    for file in files {
        let outcome = replay::play(file).await?;
        if as_json {
            println!("{}", json!(outcome))
        } else {
            print_table(&outcome)
        }
        outcomes.push(outcome);
    }
    let mean = replay::mean_error(&outcomes, 28);
    if as_json {
        println!(
            "{}",
            json!({ "summary": { "scenarios": outcomes.len(), "mean_abs_error_28d": (mean * 1e6).round() / 1e6 } })
        );
        return Ok(());
    }
    for days in HORIZONS {
        let mean = replay::mean_error(&outcomes, days) * 100.0;
        println!("{days:2} days: mean absolute error over {} scenarios {mean:5.1} %", outcomes.len());
    }
    Ok(())
}

fn play_direct(files: &[PathBuf], as_json: bool) -> Result<(), ReplayError> {
    let sites = replay::play_direct(files)?;
    for scores in &sites {
        let Some(first) = scores.first() else { continue };
        let summary = Summary::of(1, scores);
        if as_json {
            println!("{}", json!({ "site": first.site, "summary_of_site": summary }));
        } else {
            println!(
                "{:<24} 28 days {:5.1} %  MASE {:.3}  weekly smoothing {:5.1} %  {:.3}",
                first.site,
                summary.error_28d * 100.0,
                summary.mase,
                summary.ses_error_28d * 100.0,
                summary.ses_mase
            );
        }
    }
    let summary = Summary::of(sites.len(), &sites.concat());
    if as_json {
        println!("{}", json!({ "summary": summary }))
    } else {
        print_summary(&summary)
    }
    Ok(())
}

fn print_summary(summary: &Summary) {
    println!("\n{} sites, errors as shares of the mean use", summary.sites);
    for (at, days) in HORIZONS.iter().enumerate() {
        let (told, smoothed) = (summary.errors[at] * 100.0, summary.ses_errors[at] * 100.0);
        println!("{days:2} days: {told:5.1} %, weekly smoothing {smoothed:5.1} %");
    }
    println!("MASE {:.3}, weekly smoothing {:.3}", summary.mase, summary.ses_mase);
    println!("bias of 28 days {:+.1} %", summary.bias_28d * 100.0);
    println!(
        "coverage of 28 days: 90 % {:.1} %, 95 % {:.1} %",
        summary.coverage_90 * 100.0,
        summary.coverage_95 * 100.0
    );
    for (chance, loss) in CHANCES.iter().zip(summary.pinball) {
        println!("pinball loss of 28 days at {:2.0} %: {loss:.4}", chance * 100.0);
    }
    println!("mean |forecast − truth| / truth of 28 days: {:.1} %", summary.of_truth_28d * 100.0);
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

/// How an order is counted, and which of the published figures it is held against.
const SOLD: [&str; 2] = ["any quantity", "whole packs"];

/// Share of weeks with a stock-out at which the stock of methods is compared.
const COMPARED_AT: f64 = 0.02;

fn play_policy(files: &[PathBuf], line: &Line) -> Result<bool, ReplayError> {
    let sites = replay::play_policy(files, line.lead_doubles)?;
    if sites.is_empty() {
        return Ok(false);
    }
    let each: [Vec<Level>; 2] = std::array::from_fn(|sold| {
        policy::means(&sites.iter().map(|site| site[sold].clone()).collect::<Vec<_>>())
    });
    if line.json {
        let days = |sold: usize| policy::days_at(COMPARED_AT, &each[sold]);
        println!(
            "{}",
            json!({ "summary": { "sites": sites.len(), "lead_doubles": line.lead_doubles, "policy": {
                "any_quantity": each[0], "whole_packs": each[1],
                "stock_days_at_2_percent": { "any_quantity": days(0), "whole_packs": days(1) } } } })
        );
        return Ok(true);
    }
    println!("{} sites, orders once a week, each product's own\n", sites.len());
    for (sold, levels) in each.iter().enumerate() {
        print_policy(sold, levels);
    }
    Ok(true)
}

fn print_policy(sold: usize, levels: &[Level]) {
    println!(
        "{}: weeks with a stock-out / of what the promise allows / days of stock / orders a week",
        SOLD[sold]
    );
    for level in levels {
        println!(
            "  {:5.1} %  {:20} {:5.2} %  {:4.2}  {:5.1}  {:4.2}",
            level.service_level * 100.0,
            "this forecast",
            level.weeks_with_stock_out * 100.0,
            level.of_what_is_allowed,
            level.mean_stock_days,
            level.orders_per_week
        );
        let Some(at) = JUDGED.iter().position(|judged| *judged == level.service_level) else { continue };
        for one in &PUBLISHED {
            let (out, days, orders) = [one.any_quantity, one.whole_packs][sold][at];
            let allowed = out / (1.0 - level.service_level);
            println!(
                "           {:20} {:5.2} %  {allowed:4.2}  {days:5.1}  {orders:4.2}",
                one.method,
                out * 100.0
            );
        }
    }
    match policy::days_at(COMPARED_AT, levels) {
        Some(days) => print!("  days of stock where 2 % of weeks run out: {days:.1}"),
        None => print!("  no level runs out in 2 % of weeks"),
    }
    for one in &PUBLISHED {
        print!(", {} {:.1}", one.method, one.days_at_2_percent[sold]);
    }
    println!("\n");
}
