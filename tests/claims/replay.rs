//! The forecast on recorded sites: on ten entered through the API day by day, and on twelve straight from their records.

use std::path::{Path, PathBuf};
use std::sync::{LazyLock, Mutex};

use fillmark_advice::supply::{DEFAULT_HORIZON_DAYS, Question, forecast};
use fillmark_tests::replay::direct::Records;
use fillmark_tests::replay::{self, HORIZONS, Outcome, Summary};

/// What the ten are forecast within, as a share, at 28 days.
const GOAL: f64 = 0.13;

/// Both ways may differ by so much of the planned use: what was lost weighs in how far past use is believed.
const ALIKE: f64 = 2.5e-3;

/// The ten as they came out through the API: it takes a minute, and two claims rest on it.
static TEN: LazyLock<Vec<Outcome>> = LazyLock::new(|| {
    let waiting = Mutex::new(recorded(""));
    let mut outcomes: Vec<Outcome> = std::thread::scope(|scope| {
        let players = [(); 2].map(|()| scope.spawn(|| play(&waiting)));
        players.into_iter().flat_map(|player| player.join().unwrap()).collect()
    });
    outcomes.sort_by(|one, other| one.scenario.cmp(&other.scenario));
    outcomes
});

/// The files of a folder below the scenarios.
fn recorded(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios").join(folder);
    replay::files(&folder).expect("the scenarios")
}

/// Plays what waits, one after the other.
fn play(waiting: &Mutex<Vec<PathBuf>>) -> Vec<Outcome> {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    let next = || waiting.lock().unwrap().pop();
    std::iter::from_fn(next).map(|file| runtime.block_on(replay::play(&file)).expect("a scenario")).collect()
}

#[test]
fn ten_recorded_sites_are_forecast_within_the_goal() {
    for outcome in TEN.iter() {
        let errors = HORIZONS.iter().zip(&outcome.mean_abs_error);
        let errors: Vec<String> =
            errors.map(|(days, error)| format!("{days} days {:5.1} %", error * 100.0)).collect();
        println!("{:<24} {}", outcome.scenario, errors.join("  "));
    }
    let mean = replay::mean_error(&TEN, 28);
    println!("mean absolute error at 28 days: {:.2} %", mean * 100.0);
    assert_eq!(TEN.len(), 10);
    assert!(mean <= GOAL, "{mean}");
}

/// But for losses: in the API each lot has a ledger of its own, so that a pour on a lot which holds too little leaves what
/// the next count misses, where records alone have one ledger a product.
#[test]
fn the_api_forecasts_of_the_plan_what_the_records_say_straight() {
    let mut furthest: f64 = 0.0;
    for (file, outcome) in recorded("").iter().zip(TEN.iter()) {
        let site = replay::recorded(file).expect("a scenario");
        assert_eq!(site.name, outcome.scenario);
        let asked = Records::new(&site).question(&site.days_of_asking()[0]);
        // The API looks as far ahead for everybody and tells the first days.
        let straight = forecast(&Question { horizon_days: DEFAULT_HORIZON_DAYS, ..asked });
        for (known, product) in site.plan.products.iter().zip(&straight.products) {
            let told = outcome.products.iter().find(|told| told.product == known.name).expect("the product");
            for at in &told.at {
                let days = product.days.iter().take(at.days);
                let planned: f64 = days.map(|day| day.by_cause.total() - day.by_cause.unplanned).sum();
                furthest = furthest.max((planned - at.planned_ml).abs() / planned.max(1.0));
            }
        }
    }
    println!("furthest apart: {furthest:.1e} of the use");
    assert!(furthest <= ALIKE, "{furthest}");
}

/// By half a year of records at most, and six weeks ahead; measured when they were laid down: 9.2 %, 0.346, and 37 % of
/// the error of weekly smoothing.
#[test]
fn twelve_sites_are_forecast_week_after_week_within_their_bounds() {
    let sites = replay::play_direct(&recorded("rolling")).expect("the sites");
    let summary = Summary::of(sites.len(), &sites.concat());
    println!("{summary:?}");
    assert_eq!(summary.sites, 12);
    assert!(summary.error_28d <= 0.10 && summary.mase <= 0.37, "{summary:?}");
    assert!(summary.error_28d <= 0.45 * summary.ses_error_28d, "{summary:?}");
    assert!(summary.coverage_95 >= 0.85, "{summary:?}");
}

/// Sites of lettuce and herbs under glass, made by another model of crop and staff than the twelve: light drives what plants take, and
/// falls in the scored months; tanks are changed on turnover or drift, in part in between, or stand unused for weeks; two people dose
/// differently, a stand-in forgets, and the recipe changes without the plan. Measured when they were laid down: 66 % of the error
/// of weekly smoothing, and 71 % before the forecast went with the sun.
#[test]
fn sites_of_another_kind_are_forecast_better_than_by_their_past_as_days_grow_shorter() {
    let sites = replay::play_direct(&recorded("another_kind")).expect("the sites");
    let summary = Summary::of(sites.len(), &sites.concat());
    println!("{summary:?}");
    assert_eq!(summary.sites, 4);
    assert!(summary.error_28d <= 0.70 * summary.ses_error_28d, "{summary:?}");
    assert!(summary.mase <= 0.82 * summary.ses_mase, "{summary:?}");
    assert!(summary.coverage_90 >= 0.85, "{summary:?}");
}
