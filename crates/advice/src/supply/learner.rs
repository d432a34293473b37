//! What is learnt from the records, day after day, so that the forecast can be made as of any day on the way.

use super::adjusters::{Adjusters, Visited};
use super::changes::Slips;
use super::fill_path::{Asking, FillPath};
use super::fill_plan::by_the_plan;
use super::history::{History, TankHistory};
use super::pours::Pours;
use super::question::TankMode;
use super::rhythm::{Measure, Rhythm, in_its_rhythm};
use super::rhythm_belief::{JUDGED_WEEKS, RHYTHMS, RhythmBelief, Told, by_week};
use super::spans::{Cell, WEEK, cells};
use super::uptake::Uptake;
use super::ways::{LEAST_PART, WayErrors};

/// A tank that was left alone for so many open days, and so many times its usual gap between visits, is out of use; our
/// own judgement.
const SILENT_OPEN_DAYS: f64 = 5.0;
const SILENT_GAPS: f64 = 4.0;

/// Days that tell the usual gap between visits.
const USUAL_DAYS: usize = 60;

/// Of the usual part of a change kept at each further change.
const SHARE_KEPT: f64 = 0.7;

/// All that is learnt, up to a day.
pub(super) struct Learner<'a> {
    history: &'a History,
    cells: Vec<Cell>,
    rhythms: Vec<Rhythm>,
    visits: Vec<(usize, usize, usize)>,
    next_visit: usize,
    /// Doses poured.
    pub(super) pours: Pours,
    /// pH adjusters.
    pub(super) adjusters: Adjusters,
    way_errors: WayErrors,
    belief: RhythmBelief,
    pending: Vec<(usize, usize, Told)>,
    shares: Vec<f64>,
    steps: (f64, f64),
}

/// What is known at the start of a day.
pub(super) struct Known {
    /// What plants take.
    pub(super) uptake: Uptake,
    /// How late changes are.
    pub(super) slips: Slips,
    /// Each tank's coming changes; none of a tank that is fed from.
    pub(super) paths: Vec<FillPath>,
    /// Usual part of each tank that a change replaces.
    pub(super) shares: Vec<f64>,
    /// Days for which nobody was at each tank although plants stand in it; 0 where that is nothing unusual.
    pub(super) silent: Vec<f64>,
    /// Part of a rise of the EC aim that is made by dosing.
    pub(super) step_share: f64,
}

impl<'a> Learner<'a> {
    /// Before the first record.
    pub(super) fn new(history: &'a History) -> Learner<'a> {
        let tanks = history.tanks.len();
        let each = history.tanks.iter().enumerate().flat_map(|(tank, one)| {
            one.visits.iter().enumerate().map(move |(place, visit)| (visit.day, tank, place))
        });
        let mut visits: Vec<(usize, usize, usize)> = each.collect();
        visits.sort_unstable();
        Learner {
            history,
            cells: cells(history),
            rhythms: history.tanks.iter().map(|tank| Rhythm::new(history, tank)).collect(),
            visits,
            next_visit: 0,
            pours: Pours::new(history),
            adjusters: Adjusters::new(history),
            way_errors: WayErrors::new(tanks),
            belief: RhythmBelief::new(tanks),
            pending: Vec::new(),
            shares: vec![1.0; tanks],
            steps: (1.0, 1.0),
        }
    }

    /// Learns what was written down before a day.
    pub(super) fn advance(&mut self, until: usize) {
        while let Some((day, tank, place)) = self.visits.get(self.next_visit).copied() {
            if day >= until {
                break;
            }
            let visit = &self.history.tanks[tank].visits[place];
            self.pours.learn(self.history, tank, visit);
            self.adjusters.learn(self.history, tank, visit);
            let history = &self.history.tanks[tank];
            if history.is_changed_on(day) && !history.starts_on(day) {
                self.shares[tank] = SHARE_KEPT * self.shares[tank] + (1.0 - SHARE_KEPT) * visit.share;
            }
            self.next_visit += 1;
        }
        self.learn_visits(until);
        self.judge_rhythms(until);
    }

    /// On which of the last week's open days with plants somebody was there.
    fn learn_visits(&mut self, until: usize) {
        let mut week = [Visited::default(); WEEK];
        let tanks = self.history.tanks.iter().enumerate();
        for (number, tank) in tanks.filter(|(_, tank)| tank.mode == TankMode::Changed) {
            let from = until.saturating_sub(WEEK);
            for day in (from..until).filter(|day| self.history.open[*day] && tank.fed(*day).is_some()) {
                week[day % WEEK].open += 1.0;
            }
            let first = tank.visits.partition_point(|visit| visit.day < from);
            let visits = tank.visits[first..].iter().take_while(|visit| visit.day < until);
            let counts = |day: usize| self.history.open[day] && tank.fed(day).is_some();
            for visit in visits.filter(|visit| counts(visit.day)) {
                week[visit.day % WEEK].seen += 1.0;
            }
            self.adjusters.learn_between_changes(number, between_changes(self.history, tank, from..until));
        }
        self.adjusters.learn_visits(&week);
    }

    fn judge_rhythms(&mut self, until: usize) {
        let (tanks, belief) = (&self.history.tanks, &mut self.belief);
        self.pending.retain(|(origin, tank, told)| {
            if origin + JUDGED_WEEKS * WEEK > until {
                return true;
            }
            let done =
                |week: usize| tanks[*tank].changes_done(origin + week * WEEK, origin + (week + 1) * WEEK);
            belief.learn(*tank, told, std::array::from_fn(done));
            false
        });
    }

    /// What is known at the start of a day that lies whole weeks before today, for so many days ahead.
    pub(super) fn known(&mut self, weeks_ago: usize, days: usize) -> Known {
        let origin = self.history.today - weeks_ago * WEEK;
        let uptake = Uptake::learn(self.history, &self.cells, (weeks_ago, days), &self.way_errors);
        let slips = Slips::learn(self.history, origin);
        let usual_turnover = self.usual_turnover(origin);
        let silent: Vec<f64> =
            self.history.tanks.iter().map(|tank| silent_days(self.history, tank, origin)).collect();
        let believed = self.belief.shares().into_iter().enumerate();
        let paths = believed
            .map(|(tank, shares)| {
                let ways = self.ways(tank, origin, days, &uptake, &slips, usual_turnover);
                ways.map_or_else(|| FillPath::new(days), |ways| mixed(ways, shares, silent[tank]))
            })
            .collect();
        Known {
            uptake,
            slips,
            paths,
            shares: self.shares.clone(),
            silent,
            step_share: (self.steps.0 / self.steps.1).clamp(0.0, 1.5),
        }
    }

    /// Learns how a forecast made as of an earlier day came out in what followed.
    pub(super) fn look_back(&mut self, known: &Known, weeks_ago: usize) {
        let compared = known.uptake.compared(&self.cells, weeks_ago);
        self.way_errors.learn(&compared);
        let origin = self.history.today - weeks_ago * WEEK;
        for (number, tank) in self.history.tanks.iter().enumerate() {
            let first = tank.visits.partition_point(|visit| visit.day < origin).max(1);
            for place in (first..tank.visits.len()).take_while(|at| tank.visits[*at].day < origin + WEEK) {
                let (before, visit) = (&tank.visits[place - 1], &tank.visits[place]);
                let (Some(was), Some(regime)) = (tank.fed(before.day), tank.fed(visit.day)) else { continue };
                let wanted = step_litres(tank.volume_l, was.fed.ec_aim, &regime.fed) / tank.volume_l;
                if visit.share <= 0.0 && wanted > 0.0 {
                    let taken: f64 = (before.day..visit.day)
                        .map(|day| known.uptake.litres(number, regime, day, day.saturating_sub(origin)))
                        .sum();
                    let made = (visit.top_up_l - taken) / tank.volume_l;
                    self.steps.0 += made.clamp(0.0, 1.5 * wanted);
                    self.steps.1 += wanted;
                }
            }
        }
    }

    fn usual_turnover(&self, origin: usize) -> Option<f64> {
        let each = self.rhythms.iter().map(|rhythm| rhythm.turnovers(origin));
        let (sum, count) = each.fold((0.0, 0.0), |all, one| (all.0 + one.0, all.1 + one.1));
        (count > 0.0).then(|| f64::exp(sum / count))
    }

    /// The coming changes by each way; none of a tank that is fed from.
    fn ways(
        &mut self,
        number: usize,
        origin: usize,
        days: usize,
        uptake: &Uptake,
        slips: &Slips,
        usual_turnover: Option<f64>,
    ) -> Option<[Option<FillPath>; RHYTHMS]> {
        let tank = &self.history.tanks[number];
        if tank.mode != TankMode::Changed {
            return None;
        }
        let asking = Asking { history: self.history, tank, origin, days };
        let litres: Vec<f64> = (0..days)
            .map(|place| {
                tank.fed(origin + place)
                    .map_or(0.0, |regime| uptake.litres(number, regime, origin + place, place))
            })
            .collect();
        let rhythm =
            |measure| in_its_rhythm(&asking, &self.rhythms[number], measure, &litres, usual_turnover, slips);
        let paths = [Some(by_the_plan(&asking, slips)), rhythm(Measure::Days), rhythm(Measure::Turnover)];
        let told =
            |way: usize| paths[way].as_ref().map_or([0.0; JUDGED_WEEKS], |path| by_week(&path.changes));
        self.pending.push((origin, number, std::array::from_fn(told)));
        Some(paths)
    }
}

/// On how many of some days on which plants stood in a tank, somebody worked and nobody changed it, it was looked after.
fn between_changes(history: &History, tank: &TankHistory, days: std::ops::Range<usize>) -> Visited {
    let mut found = Visited::default();
    for day in days.filter(|day| history.open[*day] && tank.fed(*day).is_some()) {
        let visit = tank.visits.binary_search_by_key(&day, |visit| visit.day).ok().map(|at| &tank.visits[at]);
        if visit.is_none_or(|visit| visit.share <= 0.0) {
            found.open += 1.0;
            found.seen += if visit.is_some() { 1.0 } else { 0.0 };
        }
    }
    found
}

/// The coming changes of a tank that was left alone for so many days, by the ways that are believed.
fn mixed(ways: [Option<FillPath>; RHYTHMS], shares: [f64; RHYTHMS], silent: f64) -> FillPath {
    let telling = ways.into_iter().zip(shares).filter_map(|(way, share)| Some((way?, share)));
    let mut weighed: Vec<(FillPath, f64)> = telling.collect();
    // A way that is believed at other tanks may have nothing to go by at this one.
    let most = weighed.iter().map(|(_, share)| *share).fold(0.0, f64::max);
    weighed.retain(|(_, share)| *share >= LEAST_PART.min(most));
    let all: f64 = weighed.iter().map(|(_, share)| share).sum();
    weighed.iter_mut().for_each(|(_, share)| *share /= all.max(1e-9));
    let mut path = FillPath::mixed(&weighed);
    for (ahead, (changes, whole)) in path.changes.iter_mut().zip(&mut path.whole).enumerate() {
        *changes *= awake(silent, ahead);
        *whole *= awake(silent, ahead);
    }
    path
}

/// Chance that a tank which was left alone is used again by a day ahead: how long it was is the best guess at how long
/// it will be.
pub(super) fn awake(silent_days: f64, ahead: usize) -> f64 {
    let ahead = ahead as f64 + 1.0;
    ahead / (silent_days + ahead)
}

/// Of fewer visits nobody can tell how often somebody comes (our own judgement).
const TELLING_VISITS: usize = 4;

/// Days since somebody was at a tank with plants, where that is longer than it was ever left alone on open days: it is
/// out of use, whatever the plan says.
fn silent_days(history: &History, tank: &TankHistory, origin: usize) -> f64 {
    let seen = tank.visits.partition_point(|visit| visit.day < origin);
    let Some(last) = seen.checked_sub(1).map(|place| tank.visits[place].day) else { return 0.0 };
    let open = (last + 1..origin).filter(|day| history.open[*day]).count();
    let unbroken = (last..=origin).all(|day| tank.fed(day).is_some());
    let from = origin.saturating_sub(USUAL_DAYS);
    let visits = seen - tank.visits.partition_point(|visit| visit.day < from);
    let usual = (last.saturating_sub(from) + 1) as f64 / visits.max(1) as f64;
    if visits >= TELLING_VISITS && unbroken && open as f64 >= SILENT_OPEN_DAYS.max(SILENT_GAPS * usual) {
        (origin - last) as f64
    } else {
        0.0
    }
}

/// Litres at the new aim that raise a whole tank from the old one.
pub(super) fn step_litres(volume_l: f64, old_aim: f64, fed: &super::question::FedDay) -> f64 {
    let added = fed.ec_aim - fed.source_ec;
    if added > 0.0 { volume_l * ((fed.ec_aim - old_aim) / added).max(0.0) } else { 0.0 }
}
