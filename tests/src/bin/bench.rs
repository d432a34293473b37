//! Measures the server against what it stands on, and prints how it came out.

use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};
use fillmark_tests::bench::figures::summary;
use fillmark_tests::bench::{
    Measured, advice, bare, batch, chemistry, entry, forecasts, memory, plan, report, round, start, verify,
};
use fillmark_tests::fresh::Kind;

/// Measures the server against what it stands on, on both databases; PostgreSQL is started for it. Its chemistry and
/// its forecast are measured in this process.
#[derive(Parser)]
struct Line {
    #[command(subcommand)]
    name: Name,
    /// One JSON object a measurement on a line, and a summary on the last.
    #[arg(long, global = true)]
    json: bool,
    /// How often each side is measured, in turn.
    #[arg(long, global = true, default_value_t = 5)]
    rounds: usize,
    /// On this database only.
    #[arg(long, global = true)]
    only: Option<Only>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Only {
    Sqlite,
    Postgres,
}

#[derive(Debug, Clone, PartialEq, Eq, Subcommand)]
enum Name {
    /// Single readings of 64 people at once, each durable, against a bare handler that inserts.
    Entry,
    /// Readings by the batch, against COPY and a prepared insert.
    Batch,
    /// A day of nine people and 120 checks shared out and published, against a hello; a round of it is a day.
    Plan,
    /// A person's round among a million checks, against a hello and its SQL.
    Round,
    /// A room's report over a month, against a hello and the SQL that fetches its rows.
    Report,
    /// From start to ready, against a bare server.
    Start,
    /// Memory at rest and after 10,000 requests.
    Memory,
    /// The look at all records, against a scan of the same rows.
    Verify,
    /// Advice about a tank among a million readings, against a hello.
    Advice,
    /// EC, acid, fills and learning in one process, against a chemistry library that pip fetches.
    Chemistry,
    /// The forecast of one site and of twenty large ones, against paths sampled with numpy, which pip fetches.
    Forecast,
    /// Serves as the bare server.
    #[command(hide = true)]
    Bare {
        #[arg(long)]
        database: String,
        #[arg(long)]
        listen: String,
    },
}

fn main() -> ExitCode {
    let line = Line::parse();
    if let Name::Bare { database, listen } = &line.name {
        let served = actix_web::rt::System::new().block_on(bare::serve(database, listen));
        return if served.is_ok() { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    }
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build();
    runtime.expect("a runtime").block_on(measure(&line))
}

async fn measure(line: &Line) -> ExitCode {
    let mut all = Vec::new();
    let kinds: &[Kind] = match line.only {
        Some(Only::Sqlite) => &[Kind::Sqlite],
        Some(Only::Postgres) => &[Kind::Postgres],
        None => &[Kind::Sqlite, Kind::Postgres],
    };
    match line.name {
        Name::Chemistry => chemistry(line.rounds).into_iter().for_each(|one| told(line, one, &mut all)),
        Name::Forecast => forecasts(line.rounds).into_iter().for_each(|one| told(line, one, &mut all)),
        _ => {
            for kind in kinds.iter().copied() {
                told(line, one(&line.name, kind, line.rounds).await, &mut all);
            }
        }
    }
    if line.json {
        println!("{}", summary(&all));
    }
    let missed = all.iter().any(|one| one.passed == Some(false));
    if missed { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}

fn told(line: &Line, one: Measured, all: &mut Vec<Measured>) {
    match line.json {
        true => println!("{}", serde_json::json!(one)),
        false => print!("{one}"),
    }
    all.push(one);
}

async fn one(name: &Name, kind: Kind, rounds: usize) -> Measured {
    match name {
        Name::Entry => entry(kind, rounds).await,
        Name::Batch => batch(kind, rounds).await,
        Name::Plan => plan(kind).await,
        Name::Round => round(kind, rounds).await,
        Name::Report => report(kind, rounds).await,
        Name::Start => start(kind, rounds).await,
        Name::Memory => memory(kind, rounds).await,
        Name::Verify => verify(kind, rounds).await,
        Name::Advice => advice(kind, rounds).await,
        Name::Chemistry | Name::Forecast => unreachable!("it asks no database"),
        Name::Bare { .. } => unreachable!("it serves and measures nothing"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_measurement_is_named_and_may_be_told_as_json() {
        let line = Line::try_parse_from(["bench", "entry", "--json"]).unwrap();
        assert_eq!((line.name, line.json, line.rounds), (Name::Entry, true, 5));
        let line = Line::try_parse_from(["bench", "verify", "--only", "postgres"]).unwrap();
        assert_eq!((line.name, line.only), (Name::Verify, Some(Only::Postgres)));
        assert!(Line::try_parse_from(["bench", "speed"]).is_err());
        assert!(Line::try_parse_from(["bench"]).is_err());
    }
}
