//! Tanks that stand out of use, whatever the plan says: nobody was at them for longer than is usual.

use std::ops::Range;

use super::history::{History, TankHistory, summed};
use super::question::TankMode;

/// A tank that was left alone for so many open days, and so many times its usual gap between visits, is out of use; our
/// own judgement.
const SILENT_OPEN_DAYS: f64 = 4.0;
const SILENT_GAPS: f64 = 3.0;

/// Days that tell the usual gap between visits.
const USUAL_DAYS: usize = 60;

/// Of fewer visits nobody can tell how often somebody comes (our own judgement).
const TELLING_VISITS: usize = 4;

/// Days with plants on which the tanks of a site count as used before any is on record, and for which a tank counts as out of use as
/// often as the others (our own judgement).
const PRIOR_DAYS: f64 = 200.0;

/// When the tanks of a site were out of use.
pub(super) struct OutOfUse {
    /// Each such time that is over.
    over: Vec<Idle>,
    /// Days with plants of each tank before each day.
    days_before: Vec<Vec<f64>>,
}

/// A time in which a tank was out of use: the last visit before it, and the first one after it or the day on which it still was.
#[derive(Debug, Clone, Copy)]
struct Idle {
    tank: usize,
    from: usize,
    until: usize,
}

/// What is to be expected of the tanks of a site as of a day.
#[derive(Debug, Clone)]
pub(super) struct InUse {
    /// Times out of use so far.
    idle: Vec<Idle>,
    /// Part of its days with plants on which each tank is used, by the times out of use that are over: one that is left alone for good,
    /// with its feed left open, says nothing of the others.
    usual: Vec<f64>,
    /// Days for which nobody was at each tank although plants stand in it; 0 where that is nothing unusual.
    silent: Vec<f64>,
}

impl InUse {
    /// Chance that a tank is used on a day ahead. Of one that was left alone, how long it was is the best guess at how long it
    /// will be.
    pub(super) fn chance(&self, tank: usize, ahead: usize) -> f64 {
        let ahead = ahead as f64 + 1.0;
        self.usual[tank] * ahead / (self.silent[tank] + ahead)
    }

    /// Days for which nobody was at a tank that is out of use.
    pub(super) fn silent_days(&self, tank: usize) -> Option<usize> {
        Some(self.silent[tank] as usize).filter(|days| *days > 0)
    }

    /// Of what was told of each tank on some days, what was told of those out of use.
    pub(super) fn of_idle(&self, told_of: &[f64], days: Range<usize>) -> f64 {
        let of_one = |idle: &Idle| {
            let (from, until) = ((idle.from + 1).max(days.start), idle.until.min(days.end));
            told_of[idle.tank] * until.saturating_sub(from) as f64 / days.len() as f64
        };
        self.idle.iter().map(of_one).sum()
    }
}

impl OutOfUse {
    /// On record.
    pub(super) fn new(history: &History) -> OutOfUse {
        let tanks = || history.tanks.iter().enumerate().filter(|(_, tank)| tank.mode == TankMode::Changed);
        let over = tanks().flat_map(|(number, tank)| {
            let pairs = tank.visits.windows(2).enumerate();
            let out = pairs.filter(|(place, pair)| is_out(history, tank, *place, pair[1].day));
            out.map(move |(_, pair)| Idle { tank: number, from: pair[0].day, until: pair[1].day })
        });
        let days_of = |tank: &TankHistory| {
            let before =
                |day: usize| tank.mode == TankMode::Changed && day > 0 && tank.fed(day - 1).is_some();
            summed((0..=history.today).map(|day| f64::from(u8::from(before(day)))).collect())
        };
        OutOfUse { over: over.collect(), days_before: history.tanks.iter().map(days_of).collect() }
    }

    /// As of a day up to today.
    pub(super) fn as_of(&self, history: &History, origin: usize) -> InUse {
        let silent: Vec<f64> = history.tanks.iter().map(|tank| silent_days(history, tank, origin)).collect();
        let mut idle: Vec<Idle> = self.over.iter().filter(|idle| idle.until < origin).copied().collect();
        let mut out = vec![0.0; silent.len()];
        idle.iter().for_each(|idle| out[idle.tank] += (idle.until - idle.from - 1) as f64);
        let still = silent.iter().enumerate().filter(|(_, days)| **days > 0.0);
        idle.extend(still.map(|(tank, days)| Idle { tank, from: origin - *days as usize, until: origin }));
        let days: Vec<f64> = self.days_before.iter().map(|before| before[origin]).collect();
        let of_site = out.iter().sum::<f64>() / (days.iter().sum::<f64>() + PRIOR_DAYS);
        let usual = |(out, days): (&f64, &f64)| 1.0 - (out + PRIOR_DAYS * of_site) / (days + PRIOR_DAYS);
        InUse { usual: out.iter().zip(&days).map(usual).collect(), idle, silent }
    }
}

/// Days since somebody was at a tank, where it is out of use.
fn silent_days(history: &History, tank: &TankHistory, origin: usize) -> f64 {
    // What was done today is known.
    let known_until = origin + usize::from(origin == history.today);
    let seen = tank.visits.partition_point(|visit| visit.day < known_until);
    let last = seen.checked_sub(1).filter(|place| is_out(history, tank, *place, origin));
    last.map_or(0.0, |place| (origin - tank.visits[place].day) as f64)
}

/// Whether from a visit to a day a tank with plants was left alone for several times as long as is usual.
fn is_out(history: &History, tank: &TankHistory, place: usize, until: usize) -> bool {
    let last = tank.visits[place].day;
    let from = last.saturating_sub(USUAL_DAYS);
    let visits = place + 1 - tank.visits.partition_point(|visit| visit.day < from);
    let usual = (last - from + 1) as f64 / visits as f64;
    let open = || (last + 1..until).filter(|day| history.open[*day]).count() as f64;
    let unbroken = || (last..=until).all(|day| tank.fed(day).is_some());
    visits >= TELLING_VISITS && open() >= SILENT_OPEN_DAYS.max(SILENT_GAPS * usual) && unbroken()
}
