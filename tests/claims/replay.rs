//! The forecast on ten recorded sites, entered through the API day by day.

use std::path::{Path, PathBuf};
use std::sync::Mutex;

use fillmark_tests::replay::{self, HORIZONS, Outcome};

/// What the ten are forecast within, as a share, at 28 days.
const GOAL: f64 = 0.13;

/// Plays what waits, one after the other.
fn play(waiting: &Mutex<Vec<PathBuf>>) -> Vec<Outcome> {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    let next = || waiting.lock().unwrap().pop();
    std::iter::from_fn(next).map(|file| runtime.block_on(replay::play(&file)).expect("a scenario")).collect()
}

#[test]
fn ten_recorded_sites_are_forecast_within_the_goal() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let waiting = Mutex::new(replay::files(&folder).expect("the scenarios"));
    let mut outcomes: Vec<Outcome> = std::thread::scope(|scope| {
        let players = [(); 2].map(|()| scope.spawn(|| play(&waiting)));
        players.into_iter().flat_map(|player| player.join().unwrap()).collect()
    });
    outcomes.sort_by(|one, other| one.scenario.cmp(&other.scenario));
    for outcome in &outcomes {
        let errors = HORIZONS.iter().zip(&outcome.mean_abs_error);
        let errors: Vec<String> =
            errors.map(|(days, error)| format!("{days} days {:5.1} %", error * 100.0)).collect();
        println!("{:<24} {}", outcome.scenario, errors.join("  "));
    }
    let mean = replay::mean_error(&outcomes, 28);
    println!("mean absolute error at 28 days: {:.2} %", mean * 100.0);
    assert_eq!(outcomes.len(), 10);
    assert!(mean <= GOAL, "{mean}");
}
