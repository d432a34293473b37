//! What pH adjusters take between changes: something on every visit, and something for each litre topped up.

use super::history::{History, Visit};
use super::pours::litres_at_the_aim;

/// Days after which a visit counts half.
const HALF_LIFE: f64 = 120.0;

/// One adjuster: sums over visits of litres topped up (x) and amount poured (y), both by litre of tank.
#[derive(Debug, Clone, Copy, Default)]
struct Line {
    visits: f64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
    day: usize,
}

impl Line {
    fn learn(&mut self, day: usize, x: f64, y: f64) {
        let kept = 0.5_f64.powf(day.saturating_sub(self.day) as f64 / HALF_LIFE);
        *self = Line {
            visits: self.visits * kept + 1.0,
            x: self.x * kept + x,
            y: self.y * kept + y,
            xx: self.xx * kept + x * x,
            xy: self.xy * kept + x * y,
            day,
        };
    }

    /// Amount by litre of tank and visit, and by litre topped up; neither is below none.
    fn value(&self) -> (f64, f64) {
        let (n, spread) = (self.visits, self.visits * self.xx - self.x * self.x);
        if n < 1.0 {
            return (0.0, 0.0);
        }
        let slope = if spread > 1e-12 { (n * self.xy - self.x * self.y) / spread } else { 0.0 };
        let start = (self.y - slope * self.x) / n;
        if slope < 0.0 {
            (self.y / n, 0.0)
        } else if start < 0.0 {
            (0.0, self.xy / self.xx.max(1e-12))
        } else {
            (start, slope)
        }
    }
}

/// The adjusters of a site.
#[derive(Debug, Clone)]
pub(super) struct Adjusters {
    lines: Vec<Line>,
    seen: f64,
    open: f64,
}

impl Adjusters {
    /// Not yet learnt anything.
    pub(super) fn new(history: &History) -> Adjusters {
        // Before anything is on record every open day is one on which somebody looks.
        Adjusters { lines: vec![Line::default(); history.products.len()], seen: 5.0, open: 5.0 }
    }

    /// Learns a visit without a change.
    pub(super) fn learn(&mut self, history: &History, tank: usize, visit: &Visit) {
        let Some(regime) = history.tanks[tank].fed(visit.day) else { return };
        let volume_l = history.tanks[tank].volume_l.max(1e-9);
        if visit.share > 0.0 {
            return;
        }
        let litres = litres_at_the_aim(history, regime, &visit.top_up);
        for (place, line) in self.lines.iter_mut().enumerate().filter(|(at, _)| history.products[*at].moves_ph) {
            line.learn(visit.day, litres / volume_l, visit.top_up[place] / volume_l);
        }
    }

    /// Learns on how many of the days on which a tank could be looked after it was.
    pub(super) fn learn_visits(&mut self, seen: f64, open: f64) {
        self.seen = self.seen * 0.9 + seen;
        self.open = self.open * 0.9 + open;
    }

    /// mL (or g) expected on an open day without a change, of a tank that so many litres are expected to be topped up in.
    pub(super) fn amount(&self, place: usize, volume_l: f64, litres: f64) -> f64 {
        let (by_visit, by_litre) = self.lines[place].value();
        by_visit * volume_l * (self.seen / self.open.max(1e-9)).min(1.0) + by_litre * litres
    }
}
