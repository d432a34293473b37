//! Expected tank changes day by day, and how sure their number is.

use super::changes::Slips;
use super::history::{History, TankHistory};

/// One tank as it was known at the start of a day.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asking<'a> {
    /// The site.
    pub(super) history: &'a History,
    /// The tank.
    pub(super) tank: &'a TankHistory,
    /// The first day forecast. What was done on it is known only where it is today.
    pub(super) origin: usize,
    /// Days to forecast.
    pub(super) days: usize,
}

impl Asking<'_> {
    /// The day after the last one forecast.
    pub(super) fn end(&self) -> usize {
        self.origin + self.days
    }

    /// The day after the last one of which records are known.
    pub(super) fn known_until(&self) -> usize {
        self.origin + usize::from(self.origin == self.history.today)
    }

    /// The last change known.
    pub(super) fn last_fill(&self) -> Option<usize> {
        self.tank.last_fill(self.known_until())
    }

    /// The day on which the first fill of a cycle planned to start on a day is done, with its chance. One that has started
    /// is filled on the first open day; one to come starts as late as is usual.
    pub(super) fn start_odds(&self, start: usize, slips: &Slips) -> Vec<(usize, f64)> {
        let open = |day: usize| self.history.open_from(day.max(self.origin));
        let late = if start < self.origin { 0 } else { slips.start };
        open(start + late).map(|day| (day, 1.0)).into_iter().collect()
    }
}

/// Expected changes day by day.
#[derive(Debug, Clone)]
pub(super) struct FillPath {
    /// Expected number of changes on each day.
    pub(super) changes: Vec<f64>,
    /// Of those the ones that fill the whole tank, whatever part is usual.
    pub(super) whole: Vec<f64>,
    /// Variance of the number until the end of each day.
    pub(super) variance: Vec<f64>,
}

impl FillPath {
    /// No changes.
    pub(super) fn new(days: usize) -> FillPath {
        FillPath { changes: vec![0.0; days], whole: vec![0.0; days], variance: vec![0.0; days] }
    }

    /// Adds one change that is done on one of several days. Its day is uncertain but not its being done: the variance
    /// of the sum rises while it is open and falls again when it is surely done.
    pub(super) fn add(&mut self, asking: &Asking<'_>, odds: &[(usize, f64)], whole: bool) {
        let mut chances = vec![0.0; self.changes.len()];
        for (day, chance) in odds {
            let place = day.checked_sub(asking.origin).filter(|place| *place < chances.len());
            if let Some(place) = place.filter(|_| asking.tank.fed(*day).is_some()) {
                chances[place] += chance;
            }
        }
        let mut until = 0.0;
        for (place, chance) in chances.into_iter().enumerate() {
            until += chance;
            self.changes[place] += chance;
            self.whole[place] += if whole { chance } else { 0.0 };
            self.variance[place] += (until - until * until).max(0.0);
        }
    }

    /// Several paths weighed: where they disagree on the number, it is uncertain.
    pub(super) fn mixed(paths: &[(FillPath, f64)]) -> FillPath {
        let days = paths.first().map_or(0, |(path, _)| path.changes.len());
        let mut mixed = FillPath::new(days);
        let mut until = vec![0.0; paths.len()];
        for place in 0..days {
            let mut mean = 0.0;
            for ((path, share), until) in paths.iter().zip(&mut until) {
                mixed.changes[place] += share * path.changes[place];
                mixed.whole[place] += share * path.whole[place];
                *until += path.changes[place];
                mean += share * *until;
            }
            for ((path, share), until) in paths.iter().zip(&until) {
                mixed.variance[place] += share * (path.variance[place] + (until - mean).powi(2));
            }
        }
        mixed
    }
}
