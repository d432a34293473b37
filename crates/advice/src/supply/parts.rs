//! Parts of a tank that are replaced between its changes: for a strong or a sour solution, or half-way as a habit.

use super::history::{History, TankHistory};
use super::question::TankMode;

/// Days after which one counts half: as plants take less, they become fewer.
const HALF_LIFE: f64 = 60.0;

/// Open days on which none was replaced before any is on record; our own judgement.
const PRIOR_DAYS: f64 = 20.0;

/// What of a tank was replaced in between so far.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Parts {
    /// Sum of the parts that were replaced.
    replaced: f64,
    /// Sum of their squares.
    squares: f64,
    /// Open days with plants.
    days: f64,
}

impl Parts {
    /// Learns what was replaced of a tank on days from one to before another.
    pub(super) fn learn(&mut self, history: &History, tank: &TankHistory, from: usize, until: usize) {
        if tank.mode != TankMode::Changed {
            return;
        }
        let kept = f64::exp2(-((until - from) as f64) / HALF_LIFE);
        let days = (from..until).filter(|day| history.open[*day] && tank.fed(*day).is_some()).count();
        let mut sum = Parts {
            replaced: kept * self.replaced,
            squares: kept * self.squares,
            days: kept * self.days + days as f64,
        };
        let first = tank.visits.partition_point(|visit| visit.day < from);
        let visits = tank.visits[first..].iter().take_while(|visit| visit.day < until);
        for visit in visits.filter(|visit| !tank.is_changed_on(visit.day) && visit.is_filled()) {
            sum.replaced += visit.share;
            sum.squares += visit.share.powi(2);
        }
        *self = sum;
    }

    /// What is expected to be replaced of it on an open day, as a part of the tank, and the variance of that: they come at random.
    pub(super) fn on_a_day(&self) -> (f64, f64) {
        let days = self.days + PRIOR_DAYS;
        (self.replaced / days, self.squares / days)
    }
}
