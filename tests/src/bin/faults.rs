//! Does harm to servers while people write, and prints what became of what they entered.

use std::fmt::Debug;
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use fillmark_tests::faults::{
    Outcome, exhaust_connections, fill_disk, kill_again_and_again, restart_in_turn, restart_postgres,
    send_slowly, take_over,
};
use fillmark_tests::fresh::Kind;

/// Does harm to servers while people write, and prints what became of what they entered. PostgreSQL is named by
/// `FILLMARK_TEST_POSTGRES`.
#[derive(Parser)]
struct Line {
    #[command(subcommand)]
    harm: Harm,
}

#[derive(Subcommand)]
enum Harm {
    /// Kills the server, on both databases.
    Kill {
        /// How often.
        #[arg(long, default_value_t = 200)]
        times: u32,
        /// Chance begins here.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
    /// Restarts PostgreSQL, every other time as by a crash.
    Postgres {
        /// How often.
        #[arg(long, default_value_t = 10)]
        times: u32,
        /// Chance begins here.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
    /// Kills or pauses one of two servers on one PostgreSQL while plans fall due.
    Pair {
        /// How often; each time some 168 checks fall due.
        #[arg(long, default_value_t = 8)]
        times: u32,
        /// Chance begins here.
        #[arg(long, default_value_t = 1)]
        seed: u64,
    },
    /// Restarts two servers in turn while people write with clients that know both.
    Turn {
        /// How often each.
        #[arg(long, default_value_t = 10)]
        times: u32,
    },
    /// Fills the disk.
    Disk {
        /// How often.
        #[arg(long, default_value_t = 10)]
        times: u32,
    },
    /// Takes all connections to PostgreSQL.
    Pool {
        /// How many people write.
        #[arg(long, default_value_t = 64)]
        people: usize,
        /// How many connections there are.
        #[arg(long, default_value_t = 5)]
        connections: u32,
    },
    /// Sends a byte a second.
    Slow {
        /// Connections with slow headers, and as many with slow bodies.
        #[arg(long, default_value_t = 250)]
        connections: usize,
    },
}

#[tokio::main]
async fn main() -> ExitCode {
    let kept = match Line::parse().harm {
        Harm::Kill { times, seed } => {
            let mut kept = true;
            for kind in [Kind::Sqlite, Kind::Postgres] {
                let run = kill_again_and_again(kind, times, seed).await;
                let ratio = run.longest_start.as_secs_f64() / run.first_start.as_secs_f64();
                println!("{kind:?}: longest start {ratio:.2} times the start on an empty database");
                kept &= told(&run, &run.outcome);
            }
            kept
        }
        Harm::Postgres { times, seed } => {
            let run = restart_postgres(times, seed).await;
            told(&run, &run.outcome)
        }
        Harm::Pair { times, seed } => {
            let run = take_over(times, seed).await;
            println!("{run:#?}");
            (run.lost, run.twice) == (0, 0) && run.longest_takeover.as_secs() < 15 && run.verified.is_ok()
        }
        Harm::Turn { times } => {
            let run = restart_in_turn(times).await;
            told(&run, &run.outcome) && run.outcome.sent_again == 0
        }
        Harm::Disk { times } => {
            let run = fill_disk(times).await;
            told(&run, &run.outcome)
        }
        Harm::Pool { people, connections } => {
            let run = exhaust_connections(people, connections).await;
            println!("{run:#?}");
            run.unexpected.is_empty() && !run.ready_meanwhile && run.ready_afterwards
        }
        Harm::Slow { connections } => {
            println!("{:#?}", send_slowly(connections).await);
            true
        }
    };
    if kept { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn told(run: &impl Debug, outcome: &Outcome) -> bool {
    println!("{run:#?}");
    outcome.is_whole()
}
