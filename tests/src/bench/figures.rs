//! What a measurement found: figures of both sides, their ratio round by round, and the bar it is held against.

use std::collections::BTreeMap;

use serde::Serialize;
use serde_json::{Value, json};

use crate::fresh::Kind;

/// Both sides of a measurement, round by round.
#[derive(Debug, Default)]
pub struct Rounds {
    ours: Vec<f64>,
    theirs: Vec<f64>,
}

/// What a measurement found.
#[derive(Debug, Serialize)]
pub struct Measured {
    /// What was measured.
    pub name: &'static str,
    /// On which database; `none` where none is asked.
    pub database: &'static str,
    /// What the figures count.
    pub unit: &'static str,
    /// Of this server: the median of its rounds.
    pub ours: f64,
    /// What it is held against.
    pub reference: &'static str,
    /// Of that: the median of its rounds.
    pub theirs: f64,
    /// The median of the ratios of the rounds.
    pub ratio: f64,
    /// What is wanted, where anything is.
    pub bar: Option<Bar>,
    /// Whether it was reached.
    pub passed: Option<bool>,
    /// Further figures.
    pub beside: BTreeMap<&'static str, f64>,
    /// The machine's load average over the last minute.
    pub load_average: f64,
}

/// What is wanted of a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Bar {
    /// The ratio is this or more.
    RatioAtLeast(f64),
    /// The ratio is this or less.
    RatioAtMost(f64),
    /// The figure of this server is this or more.
    AtLeast(f64),
    /// The figure of this server is this or less.
    AtMost(f64),
}

impl Rounds {
    /// Adds a round of this server alone.
    pub fn add_alone(&mut self, ours: f64) {
        self.add(ours, f64::NAN);
    }

    /// Adds a round.
    pub fn add(&mut self, ours: f64, theirs: f64) {
        self.ours.push(ours);
        self.theirs.push(theirs);
    }

    /// The median of the ratios: a round in which the machine was busy is bad for both sides.
    pub fn ratio(&self) -> f64 {
        let ratios: Vec<f64> =
            self.ours.iter().zip(&self.theirs).map(|(ours, theirs)| ours / theirs).collect();
        median(&ratios)
    }

    /// What they come to, on a database where there is one.
    pub fn measured(
        &self,
        name: &'static str,
        kind: impl Into<Option<Kind>>,
        unit: &'static str,
        reference: &'static str,
        bar: Option<Bar>,
    ) -> Measured {
        let (ours, ratio) = (median(&self.ours), self.ratio());
        Measured {
            name,
            database: match kind.into() {
                Some(Kind::Sqlite) => "sqlite",
                Some(Kind::Postgres) => "postgres",
                None => "none",
            },
            unit,
            ours,
            reference,
            theirs: median(&self.theirs),
            ratio,
            bar,
            passed: bar.map(|bar| bar.is_reached(ratio, ours)),
            beside: BTreeMap::new(),
            load_average: load_average(),
        }
    }
}

impl Bar {
    /// Whether a ratio, or a figure, is what is wanted.
    pub fn is_reached(self, ratio: f64, ours: f64) -> bool {
        match self {
            Bar::RatioAtLeast(bar) => ratio >= bar,
            Bar::RatioAtMost(bar) => ratio <= bar,
            Bar::AtLeast(bar) => ours >= bar,
            Bar::AtMost(bar) => ours <= bar,
        }
    }
}

impl std::fmt::Display for Bar {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Bar::RatioAtLeast(bar) => write!(out, "ratio at least {bar}"),
            Bar::RatioAtMost(bar) => write!(out, "ratio at most {bar}"),
            Bar::AtLeast(bar) => write!(out, "at least {bar}"),
            Bar::AtMost(bar) => write!(out, "at most {bar}"),
        }
    }
}

impl Measured {
    /// The same with one more figure.
    #[must_use]
    pub fn beside(mut self, what: &'static str, figure: f64) -> Self {
        self.beside.insert(what, figure);
        self
    }
}

impl std::fmt::Display for Measured {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Measured { name, database, unit, ours, reference, theirs, ratio, .. } = self;
        match theirs.is_nan() {
            true => writeln!(out, "{name} on {database}: {ours:.2} {unit}, against nothing: {reference}")?,
            false => writeln!(
                out,
                "{name} on {database}: ratio {ratio:.3}; {ours:.2} {unit} against {theirs:.2} of {reference}"
            )?,
        }
        for (what, figure) in &self.beside {
            writeln!(out, "    {what}: {figure:.2}")?;
        }
        let verdict = self
            .bar
            .zip(self.passed)
            .map(|(bar, passed)| format!("{bar}: {}", if passed { "passed" } else { "MISSED" }));
        writeln!(out, "    {}; load average {:.1}", verdict.unwrap_or("no bar".into()), self.load_average)
    }
}

/// The ratios of all measurements.
pub fn summary(all: &[Measured]) -> Value {
    let ratios: serde_json::Map<String, Value> =
        all.iter().map(|one| (format!("{}_{}", one.name, one.database), json!(one.ratio))).collect();
    json!({ "summary": ratios })
}

/// The middle of some values; of an even number of them, the mean of the two in the middle.
pub fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let (below, above) = (sorted.len().saturating_sub(1) / 2, sorted.len() / 2);
    match (sorted.get(below), sorted.get(above)) {
        (Some(below), Some(above)) => f64::midpoint(*below, *above),
        _ => f64::NAN,
    }
}

/// The value that 99 of a hundred do not exceed: of 300 the 297th (nearest rank).
pub fn p99(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = (sorted.len() * 99).div_ceil(100);
    rank.checked_sub(1).and_then(|at| sorted.get(at)).copied().unwrap_or(f64::NAN)
}

fn load_average() -> f64 {
    let text = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    text.split(' ').next().and_then(|first| first.parse().ok()).unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_is_the_middle_or_the_mean_of_the_two_there() {
        assert_eq!(median(&[3.0, 1.0, 2.0]), 2.0);
        assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), 2.5);
        assert!(median(&[]).is_nan());
    }

    #[test]
    fn one_of_a_hundred_may_be_slower() {
        let waits: Vec<f64> = (1..=300).map(f64::from).collect();
        assert_eq!((p99(&waits), p99(&waits[..100]), p99(&waits[..1])), (297.0, 99.0, 1.0));
        assert!(p99(&[]).is_nan());
    }

    #[test]
    fn what_stands_alone_says_so() {
        let mut rounds = Rounds::default();
        rounds.add_alone(3.0);
        let told = rounds.measured("fill", None::<Kind>, "1/s", "it does no such thing", None).to_string();
        assert!(told.starts_with("fill on none: 3.00 1/s, against nothing: it does no such thing"), "{told}");
    }

    #[test]
    fn the_ratio_is_taken_round_by_round() {
        let mut rounds = Rounds::default();
        for (ours, theirs) in [(10.0, 20.0), (1.0, 2.0), (90.0, 100.0)] {
            rounds.add(ours, theirs);
        }
        // The medians of the sides, 10 and 20, would say the same by chance; without the last round's lead they do not.
        assert_eq!(rounds.ratio(), 0.5);
        rounds.add(100.0, 100.0);
        rounds.add(100.0, 100.0);
        assert_eq!(rounds.ratio(), 0.9);
    }

    #[test]
    fn a_bar_is_reached_at_its_own_figure() {
        assert!(Bar::RatioAtLeast(0.6).is_reached(0.6, 0.0) && !Bar::RatioAtLeast(0.6).is_reached(0.59, 9.0));
        assert!(Bar::RatioAtMost(3.0).is_reached(3.0, 0.0) && !Bar::RatioAtMost(3.0).is_reached(3.1, 0.0));
        assert!(Bar::AtLeast(50.0).is_reached(0.0, 50.0) && !Bar::AtLeast(50.0).is_reached(99.0, 49.0));
        assert!(Bar::AtMost(60.0).is_reached(0.0, 60.0) && !Bar::AtMost(60.0).is_reached(0.0, 61.0));
    }

    #[test]
    fn the_summary_names_each_ratio_by_its_database() {
        let mut rounds = Rounds::default();
        rounds.add(1.0, 2.0);
        let one = rounds.measured("entry", Kind::Sqlite, "req/s", "bare", None);
        assert_eq!(summary(&[one]), json!({ "summary": { "entry_sqlite": 0.5 } }));
    }
}
