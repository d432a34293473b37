//! Tanks that stand out of use, whatever the plan says: nobody was at them for longer than is usual.

use super::history::{History, TankHistory};
use super::question::TankMode;

/// A tank that was left alone for so many open days, and so many times its usual gap between visits, is out of use; our
/// own judgement.
const SILENT_OPEN_DAYS: f64 = 4.0;
const SILENT_GAPS: f64 = 3.0;

/// Days that tell the usual gap between visits.
const USUAL_DAYS: usize = 60;

/// Of fewer visits nobody can tell how often somebody comes (our own judgement).
const TELLING_VISITS: usize = 4;

/// Days with plants on which the tanks of a site count as used before any is on record (our own judgement).
const PRIOR_DAYS: f64 = 200.0;

/// When the tanks of a site were out of use.
pub(super) struct OutOfUse {
    /// The last visit before each such time and the first one after it.
    over: Vec<(usize, usize)>,
    /// Days with plants of all tanks before each day.
    days_before: Vec<f64>,
}

/// What is to be expected of the tanks of a site as of a day.
#[derive(Debug, Clone)]
pub(super) struct InUse {
    /// Part of the days with plants on which tanks are used.
    usual: f64,
    /// Days for which nobody was at each tank although plants stand in it; 0 where that is nothing unusual.
    silent: Vec<f64>,
}

impl InUse {
    /// Chance that a tank is used on a day ahead. Of one that was left alone, how long it was is the best guess at how long it
    /// will be.
    pub(super) fn chance(&self, tank: usize, ahead: usize) -> f64 {
        let ahead = ahead as f64 + 1.0;
        self.usual * ahead / (self.silent[tank] + ahead)
    }
}

impl OutOfUse {
    /// On record.
    pub(super) fn new(history: &History) -> OutOfUse {
        let tanks = || history.tanks.iter().filter(|tank| tank.mode == TankMode::Changed);
        let over = tanks().flat_map(|tank| {
            let pairs = tank.visits.windows(2).enumerate();
            let out = pairs.filter(|(place, pair)| is_out(history, tank, *place, pair[1].day));
            out.map(|(_, pair)| (pair[0].day, pair[1].day))
        });
        let mut days = 0.0;
        let before = (0..=history.today).map(|day| {
            let so_far = days;
            days += tanks().filter(|tank| tank.fed(day).is_some()).count() as f64;
            so_far
        });
        OutOfUse { over: over.collect(), days_before: before.collect() }
    }

    /// As of a day up to today.
    pub(super) fn as_of(&self, history: &History, origin: usize) -> InUse {
        let silent: Vec<f64> = history.tanks.iter().map(|tank| silent_days(history, tank, origin)).collect();
        let over = self.over.iter().filter(|(_, until)| *until < origin);
        let out = over.map(|(from, until)| (until - from) as f64).sum::<f64>() + silent.iter().sum::<f64>();
        InUse { usual: (1.0 - out / (self.days_before[origin] + PRIOR_DAYS)).max(0.0), silent }
    }
}

/// Days since somebody was at a tank, where it is out of use.
fn silent_days(history: &History, tank: &TankHistory, origin: usize) -> f64 {
    let seen = tank.visits.partition_point(|visit| visit.day < origin);
    let last = seen.checked_sub(1).filter(|place| is_out(history, tank, *place, origin));
    last.map_or(0.0, |place| (origin - tank.visits[place].day) as f64)
}

/// Whether from a visit to a day a tank with plants was left alone for longer than it was ever before on open days.
fn is_out(history: &History, tank: &TankHistory, place: usize, until: usize) -> bool {
    let last = tank.visits[place].day;
    let from = until.saturating_sub(USUAL_DAYS);
    let visits = place + 1 - tank.visits.partition_point(|visit| visit.day < from).min(place + 1);
    let usual = (last.saturating_sub(from) + 1) as f64 / visits.max(1) as f64;
    let open = || (last + 1..until).filter(|day| history.open[*day]).count() as f64;
    let unbroken = || (last..=until).all(|day| tank.fed(day).is_some());
    visits >= TELLING_VISITS && open() >= SILENT_OPEN_DAYS.max(SILENT_GAPS * usual) && unbroken()
}
