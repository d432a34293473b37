//! What pH adjusters take between changes: something on every visit, and something for each litre topped up.

use super::history::{History, Visit};
use super::question::TankMode;
use super::spans::WEEK;

/// Days after which a visit counts half.
const HALF_LIFE: f64 = 120.0;

/// So many days after a change of the EC aim top-ups may still be for it.
const NEW_AIM_DAYS: usize = 4;

/// Visits that are taken together: a misread meter makes one top-up large and the next one small, and a line through
/// single visits would lie too flat.
const TOGETHER: f64 = 7.0;

/// One adjuster: sums over rows of visits (n), litres topped up (x) and amount poured (y), both by litre of tank.
#[derive(Debug, Clone, Copy, Default)]
struct Line {
    nn: f64,
    nx: f64,
    ny: f64,
    xx: f64,
    xy: f64,
    day: usize,
}

/// Visits of a tank taken together.
#[derive(Debug, Clone, Default)]
struct Row {
    n: f64,
    x: f64,
    y: Vec<f64>,
}

impl Line {
    fn learn(&mut self, day: usize, n: f64, x: f64, y: f64) {
        let kept = 0.5_f64.powf(day.saturating_sub(self.day) as f64 / HALF_LIFE);
        *self = Line {
            nn: self.nn * kept + n * n,
            nx: self.nx * kept + n * x,
            ny: self.ny * kept + n * y,
            xx: self.xx * kept + x * x,
            xy: self.xy * kept + x * y,
            day,
        };
    }

    /// Amount by litre of tank and visit, and by litre topped up; neither is below none.
    fn value(&self) -> (f64, f64) {
        if self.nn <= 0.0 {
            return (0.0, 0.0);
        }
        let spread = self.nn * self.xx - self.nx * self.nx;
        if spread <= 1e-9 * self.nn * self.xx {
            return (self.ny / self.nn, 0.0);
        }
        let by_litre = (self.nn * self.xy - self.nx * self.ny) / spread;
        let by_visit = (self.xx * self.ny - self.nx * self.xy) / spread;
        if by_litre < 0.0 {
            (self.ny / self.nn, 0.0)
        } else if by_visit < 0.0 {
            (0.0, self.xy / self.xx)
        } else {
            (by_visit, by_litre)
        }
    }
}

/// The adjusters of a site.
#[derive(Debug, Clone)]
pub(super) struct Adjusters {
    lines: Vec<Line>,
    rows: Vec<Row>,
    visited: Visited,
    /// By place in the week.
    by_weekday: [Visited; WEEK],
    /// Of each tank, days on which it was changed left out.
    between_changes: Vec<Visited>,
    /// Part of those days on which tanks were looked after; none before it is known.
    usual: Option<f64>,
}

/// On how many of the days on which somebody could look after a tank it was.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Visited {
    /// On how many it was.
    pub(super) seen: f64,
    /// Of how many.
    pub(super) open: f64,
}

impl Visited {
    /// With what a week tells; what it was before counts a little less each time.
    fn learn(&mut self, week: Visited) {
        *self = Visited { seen: self.seen * 0.9 + week.seen, open: self.open * 0.9 + week.open };
    }
}

/// Tank-days of the site's usual that hold a day of the week near it: who works from Monday to Friday need not tell the calendar so.
/// Our own judgement.
const WEEKDAY_HOLD: f64 = 2.0;

/// Where on so many days between its changes nobody was at any tank, nobody comes (our own judgement).
const TELLING_DAYS: f64 = 28.0;

/// Days of the site's usual that hold a tank near it (our own judgement).
const TANK_HOLD: f64 = 3.0;

impl Adjusters {
    /// Not yet learnt anything.
    pub(super) fn new(history: &History) -> Adjusters {
        // Before anything is on record every open day is one on which somebody looks.
        let row = Row { n: 0.0, x: 0.0, y: vec![0.0; history.products.len()] };
        Adjusters {
            lines: vec![Line::default(); history.products.len()],
            rows: vec![row; history.tanks.len()],
            visited: Visited { seen: 5.0, open: 5.0 },
            by_weekday: [Visited::default(); WEEK],
            between_changes: vec![Visited::default(); history.tanks.len()],
            usual: None,
        }
    }

    /// Learns a visit. A change ends what is taken together, and what was poured to reach a new aim is no water that
    /// came in. A tank that is fed from goes by its own past.
    pub(super) fn learn(&mut self, history: &History, tank: usize, visit: &Visit) {
        if history.tanks[tank].mode == TankMode::Fed {
            return;
        }
        let Some(regime) = history.tanks[tank].fed(visit.day) else { return };
        let before = history.tanks[tank].fed(visit.day.saturating_sub(NEW_AIM_DAYS));
        let new_aim = before.is_some_and(|before| before.fed.ec_aim != regime.fed.ec_aim);
        if visit.share > 0.0 || new_aim {
            self.close(history, tank, visit.day);
            return;
        }
        let volume_l = history.tanks[tank].volume_l.max(1e-9);
        let row = &mut self.rows[tank];
        row.n += 1.0;
        row.x += visit.top_up_l / volume_l;
        for (sum, poured) in row.y.iter_mut().zip(&visit.top_up) {
            *sum += poured / volume_l;
        }
        if row.n >= TOGETHER {
            self.close(history, tank, visit.day);
        }
    }

    fn close(&mut self, history: &History, tank: usize, day: usize) {
        let row = &mut self.rows[tank];
        if row.n > 0.0 {
            for (place, line) in self.lines.iter_mut().enumerate() {
                if history.products[place].moves_ph {
                    line.learn(day, row.n, row.x, row.y[place]);
                }
            }
        }
        (row.n, row.x) = (0.0, 0.0);
        row.y.iter_mut().for_each(|sum| *sum = 0.0);
    }

    /// Learns on how many of a week's days without a change each tank was looked after.
    pub(super) fn learn_between_changes(&mut self, tank: usize, week: Visited) {
        self.between_changes[tank].learn(week);
    }

    /// Learns on how many of a week's days, counted from the first day on record, tanks were looked after.
    pub(super) fn learn_visits(&mut self, week: &[Visited; WEEK]) {
        let (seen, open) = self
            .between_changes
            .iter()
            .fold((0.0, 0.0), |(seen, open), one| (seen + one.seen, open + one.open));
        self.usual =
            (seen > 0.0 || open > TELLING_DAYS * self.between_changes.len() as f64).then(|| seen / open);
        let sum = |of: fn(&Visited) -> f64| week.iter().map(of).sum();
        self.visited.learn(Visited { seen: sum(|day| day.seen), open: sum(|day| day.open) });
        self.by_weekday.iter_mut().zip(week).for_each(|(all, day)| all.learn(*day));
    }

    /// Chance that somebody looks at a tank on an open day.
    pub(super) fn visited(&self, day: usize) -> f64 {
        let usual = (self.visited.seen / self.visited.open.max(1e-9)).clamp(0.2, 1.0);
        let of_day = self.by_weekday[day % WEEK];
        ((of_day.seen + WEEKDAY_HOLD * usual) / (of_day.open + WEEKDAY_HOLD)).min(1.0)
    }

    /// The same of one tank: some are looked at when they are changed, and not in between.
    pub(super) fn visited_at(&self, tank: usize, day: usize) -> f64 {
        let (Some(usual), own) = (self.usual, self.between_changes[tank]) else { return self.visited(day) };
        if usual <= 0.0 {
            return 0.0;
        }
        let rate = (own.seen + TANK_HOLD * usual) / (own.open + TANK_HOLD);
        (self.visited(day) * rate / usual).min(1.0)
    }

    /// mL (or g) expected on an open day without a change, of a tank that so many litres are expected to be topped up in.
    pub(super) fn amount(
        &self,
        place: usize,
        (tank, day): (usize, usize),
        volume_l: f64,
        litres: f64,
    ) -> f64 {
        let (by_visit, by_litre) = self.lines[place].value();
        by_visit * volume_l * self.visited_at(tank, day) + by_litre * litres
    }
}
