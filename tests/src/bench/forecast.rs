//! The forecast in one process, beside paths of the same use sampled with numpy. Ours samples none: it also learns from two
//! years of records, forecasts anew as of earlier weeks to know its spread, and says what to order, while numpy is told what
//! the records were made of. Both have to come to the same use, or something else was measured.

use std::hint::black_box;
use std::time::Instant;

use fillmark_advice::supply::forecast;
use serde_json::json;

use super::figures::{Bar, Measured, Rounds, median};
use super::kept::KeptSite;
use super::library::{Answered, Library};
use crate::fresh::Kind;

/// General-purpose arrays for Python. The version is named so that figures of different days mean the same.
const NUMPY: &str = "numpy==2.2.6";

const SCRIPT: &str = include_str!("forecast.py");

/// Sampled paths: a 95 % quantile of so many is itself sure to a tenth of the spread (1 / (0.103 √1000) · √(0.95 · 0.05) is
/// 0.067 of a standard deviation), which is as coarse as one would want it.
const PATHS: usize = 1_000;

/// How far the uses of 28 days may be apart: ours is learnt from one way that the records came out.
const WITHIN: f64 = 0.05;

/// What somebody who waits for a page does not notice, and a night's work for all sites; ms.
const BARS_MS: [f64; 2] = [50.0, 5_000.0];

/// Sites of the large business.
const SITES: usize = 20;

/// Measures it.
/// # Panics
/// When the two do not agree.
pub fn forecasts(rounds: usize) -> Vec<Measured> {
    let mut library = Library::fetch(NUMPY, SCRIPT);
    let small = KeptSite::make(24, 12, 1);
    let one = side_by_side("forecast", &[small], 1, rounds, BARS_MS[0], &mut library);
    // Two sites that differ, each forecast ten times by a thread of its own: twenty would only take memory to make up.
    let large = [2, 3].map(|seed| KeptSite::make(100, 40, seed));
    let all = side_by_side("forecast_large", &large, SITES / 2, rounds, BARS_MS[1], &mut library);
    if let Err(missing) = &library {
        eprintln!("ours alone was measured, since the library cannot be had: {missing}");
    }
    vec![one, all]
}

/// Each site `times` over, ours on a thread a site, numpy on as many as it likes; it samples one site and is multiplied.
fn side_by_side(
    name: &'static str,
    sites: &[KeptSite],
    times: usize,
    rounds: usize,
    bar_ms: f64,
    library: &mut Result<Library, String>,
) -> Measured {
    let mut question = sites[0].told(PATHS);
    question["seconds"] = json!(1.0);
    let (mut taken, mut uses, mut peaks) = (Rounds::default(), Vec::new(), Vec::new());
    for at in 0..=rounds {
        let ours_ms = forecast_all_ms(sites, times);
        let theirs = library.as_mut().ok().map(|library| library.ask(&question));
        let ours_ml: f64 =
            forecast(&sites[0].question).products.iter().map(|product| product.expected_use(28)).sum();
        if let Some(theirs) = theirs {
            let apart = (ours_ml / theirs.value - 1.0).abs();
            assert!(apart <= WITHIN, "{ours_ml} mL and {} mL are not the same", theirs.value);
        }
        // The first round warms all up.
        if at > 0 {
            let theirs = theirs.unwrap_or(Answered { per_second: f64::NAN, value: f64::NAN, peak_mb: None });
            taken.add(ours_ms, 1e3 / theirs.per_second * (sites.len() * times) as f64);
            uses.push((ours_ml, theirs.value));
            peaks.push(theirs.peak_mb.unwrap_or(f64::NAN));
        }
    }
    let of = |side: fn(&(f64, f64)) -> f64| median(&uses.iter().map(side).collect::<Vec<f64>>()) / 1e3;
    taken
        .measured(name, None::<Kind>, "ms", "1,000 paths by numpy", Some(Bar::AtMost(bar_ms)))
        .beside("use of 28 days of ours, L", of(|(ours, _)| *ours))
        .beside("use of 28 days of numpy, L", of(|(_, theirs)| *theirs))
        .beside("most memory of ours so far, records included, MB", peak_mb())
        .beside("most memory of numpy so far, MB", median(&peaks))
}

fn forecast_all_ms(sites: &[KeptSite], times: usize) -> f64 {
    let began = Instant::now();
    std::thread::scope(|scope| {
        for site in sites {
            scope.spawn(move || {
                (0..times).for_each(|_| drop(black_box(forecast(black_box(&site.question)))));
            });
        }
    });
    began.elapsed().as_secs_f64() * 1e3
}

/// The most memory that this process held.
fn peak_mb() -> f64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kb: Option<f64> = line.and_then(|line| line.trim().trim_end_matches(" kB").parse().ok());
    kb.map_or(f64::NAN, |kb| kb * 1024.0 / 1e6)
}
