//! Recorded sites played back: set up and entered through the HTTP API, then forecast, then held against what was used.

pub mod direct;
pub mod past_use;
mod play;
pub mod policy;
pub mod recorded;
pub mod rolling;
mod scenario;
mod setting;
pub mod summary;

use std::path::{Path, PathBuf};

use fillmark_client::ClientError;
use serde::Serialize;

pub use policy::Figures;
pub use recorded::Recorded;
pub use rolling::Score;
pub use scenario::Scenario;
pub use summary::Summary;

/// Days ahead at which a forecast is held against the truth.
pub const HORIZONS: [usize; 4] = [7, 14, 28, 42];

/// How a scenario came out.
#[derive(Debug, Clone, Serialize)]
pub struct Outcome {
    /// Its name.
    pub scenario: String,
    /// Product by product.
    pub products: Vec<ProductOutcome>,
    /// Mean over products of |forecast − truth| / truth at each horizon.
    pub mean_abs_error: Vec<f64>,
}

/// How a product came out.
#[derive(Debug, Clone, Serialize)]
pub struct ProductOutcome {
    /// Its name.
    pub product: String,
    /// At each horizon.
    pub at: Vec<HorizonOutcome>,
}

/// Forecast and truth of the use up to a day.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct HorizonOutcome {
    /// Days ahead.
    pub days: usize,
    /// Forecast use, mL.
    pub forecast_ml: f64,
    /// Of it all but losses, mL.
    #[serde(skip)]
    pub planned_ml: f64,
    /// True use, mL.
    pub truth_ml: f64,
    /// |forecast − truth| / truth.
    pub abs_error: f64,
}

/// Why a scenario could not be played back.
#[derive(Debug, thiserror::Error)]
pub enum ReplayError {
    /// The file cannot be read.
    #[error("{path}: {source}")]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// The file is no scenario.
    #[error("{path}: {source}")]
    NoScenario {
        /// The file.
        path: PathBuf,
        /// Why.
        source: serde_json::Error,
    },
    /// The server refused something.
    #[error("while {what}: {source}")]
    Refused {
        /// What was being done.
        what: String,
        /// Why.
        source: ClientError,
    },
}

/// The scenario files that a file or folder names: a folder means its `*.json`.
/// # Errors
/// When a folder cannot be read.
pub fn files(named: &Path) -> Result<Vec<PathBuf>, ReplayError> {
    if !named.is_dir() {
        return Ok(vec![named.to_owned()]);
    }
    let unreadable = |source| ReplayError::Unreadable { path: named.to_owned(), source };
    let mut files = Vec::new();
    for entry in std::fs::read_dir(named).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if path.extension().is_some_and(|extension| extension == "json") {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

/// The site that a file records, with one or many days of asking.
/// # Errors
/// When it cannot be read.
pub fn recorded(path: &Path) -> Result<Recorded, ReplayError> {
    let text = std::fs::read_to_string(path)
        .map_err(|source| ReplayError::Unreadable { path: path.to_owned(), source })?;
    serde_json::from_str(&text).map_err(|source| ReplayError::NoScenario { path: path.to_owned(), source })
}

/// Scores of sites taken straight from their records, on two threads; the sites in the order given.
/// # Errors
/// When one of them cannot be read.
pub fn play_direct(paths: &[PathBuf]) -> Result<Vec<Vec<Score>>, ReplayError> {
    on_two_threads(paths, rolling::scores)
}

/// What comes of ordering by the forecast at each site that has many days of asking, any quantity and whole packs.
/// # Errors
/// When one of them cannot be read.
pub fn play_policy(paths: &[PathBuf], lead_doubles: bool) -> Result<Vec<[Vec<Figures>; 2]>, ReplayError> {
    let sites = on_two_threads(paths, |site| policy::played(site, lead_doubles))?;
    Ok(sites.into_iter().flatten().collect())
}

fn on_two_threads<T: Send>(
    paths: &[PathBuf],
    play: impl Fn(&Recorded) -> T + Sync,
) -> Result<Vec<T>, ReplayError> {
    let one = |path: &PathBuf| recorded(path).map(|site| play(&site));
    let of_every_other = |from: usize| paths.iter().skip(from).step_by(2).map(one).collect::<Vec<_>>();
    let (even, odd) = std::thread::scope(|scope| {
        let odd = scope.spawn(|| of_every_other(1));
        (of_every_other(0), odd.join().expect("playing does not panic"))
    });
    let mut odd = odd.into_iter();
    even.into_iter().flat_map(|one| [Some(one), odd.next()]).flatten().collect()
}

/// Plays a scenario back on a fresh server and holds its forecast against the truth.
/// # Errors
/// [`ReplayError`].
pub async fn play(path: &Path) -> Result<Outcome, ReplayError> {
    let text = std::fs::read_to_string(path)
        .map_err(|source| ReplayError::Unreadable { path: path.to_owned(), source })?;
    let scenario: Scenario = serde_json::from_str(&text)
        .map_err(|source| ReplayError::NoScenario { path: path.to_owned(), source })?;
    // Boxed: with all that it waits for inside, its layout nests deeper than the compiler follows.
    let forecast = Box::pin(play::play(&scenario)).await?;
    let mut products = Vec::new();
    for (name, used) in &scenario.truth.future_daily_use_ml {
        let told = forecast.products.iter().find(|product| product.name == *name);
        let at = HORIZONS.map(|days| {
            let told = told.map_or(&[][..], |told| &told.days);
            let forecast_ml: f64 = told.iter().take(days).map(|day| day.used.total).sum();
            let lost_ml: f64 = told.iter().take(days).map(|day| day.used.unplanned).sum();
            let truth_ml: f64 = used.iter().take(days).sum();
            HorizonOutcome {
                days,
                forecast_ml,
                planned_ml: forecast_ml - lost_ml,
                truth_ml,
                abs_error: (forecast_ml - truth_ml).abs() / truth_ml.max(1e-9),
            }
        });
        products.push(ProductOutcome { product: name.clone(), at: at.to_vec() });
    }
    let mean = |at: usize| {
        products.iter().map(|one| one.at[at].abs_error).sum::<f64>() / products.len().max(1) as f64
    };
    let mean_abs_error = (0..HORIZONS.len()).map(mean).collect();
    Ok(Outcome { scenario: scenario.name, products, mean_abs_error })
}

/// The mean of the errors at a horizon over scenarios.
pub fn mean_error(outcomes: &[Outcome], horizon: usize) -> f64 {
    let at = HORIZONS.iter().position(|days| *days == horizon).unwrap_or_default();
    outcomes.iter().map(|outcome| outcome.mean_abs_error[at]).sum::<f64>() / outcomes.len().max(1) as f64
}
