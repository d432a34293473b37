//! Shares out the days of a file with the product's functions, and prints what the plans cost by the file's rules.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use fillmark_tests::staffing::{Outcome, play, read};
use serde_json::json;

/// Plans each instance of a file and prints cost, rules broken, moves and time.
#[derive(Parser)]
struct Line {
    /// The file: a list of instances with their best known cost.
    file: PathBuf,
    /// One JSON object an instance and sick call on a line, and a summary on the last.
    #[arg(long)]
    json: bool,
}

fn main() -> ExitCode {
    let line = Line::parse();
    let cases = match read(&line.file) {
        Ok(cases) => cases,
        Err(error) => {
            eprintln!("staffing: {} {error}", line.file.display());
            return ExitCode::FAILURE;
        }
    };
    let mut all: Vec<Outcome> = Vec::new();
    for case in &cases {
        let outcomes = play(case, 1);
        outcomes.iter().for_each(|outcome| tell(outcome, line.json));
        all.extend(outcomes);
    }
    let broken: usize = all.iter().map(|outcome| outcome.judged.broken.len()).sum();
    let excess = all.iter().map(Outcome::excess).max().unwrap_or_default();
    let seconds = all.iter().map(|outcome| outcome.seconds).fold(0.0, f64::max);
    let summary = json!({ "instances": cases.len(), "rules_broken": broken, "worst_excess": excess,
        "worst_seconds": rounded(seconds) });
    println!("{}", json!({ "summary": summary }));
    if broken == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn tell(outcome: &Outcome, as_json: bool) {
    let Outcome { name, sick, judged, best, best_moves, seconds } = outcome;
    if as_json {
        println!(
            "{}",
            json!({ "name": name, "sick": sick, "cost": judged.cost, "best": best, "excess": outcome.excess(),
                "left": judged.left, "splits": judged.splits, "unfair_min": judged.unfair_min,
                "moves": judged.moves, "best_moves": best_moves, "rules_broken": judged.broken.len(),
                "broken": judged.broken, "seconds": rounded(*seconds) })
        );
        return;
    }
    let what = sick.as_ref().map_or(name.clone(), |who| format!("{name} without {who}"));
    let best = best.map_or("-".to_owned(), |best| best.to_string());
    println!(
        "{what}: cost {} (best {best}), {} rules broken, {} moves, {seconds:.3} s",
        judged.cost,
        judged.broken.len(),
        judged.moves
    );
    judged.broken.iter().for_each(|why| println!("  {why}"));
}

fn rounded(seconds: f64) -> f64 {
    (seconds * 1e3).round() / 1e3
}
