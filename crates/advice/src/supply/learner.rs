//! What is learnt from the records, day after day, so that the forecast can be made as of any day on the way.

use super::adjusters::{Adjusters, Visited};
use super::changes::Slips;
use super::fill_path::{Asking, FillPath};
use super::fill_plan::by_the_plan;
use super::history::{History, TankHistory, summed};
use super::in_use::{InUse, OutOfUse};
use super::parts::Parts;
use super::pours::Pours;
use super::question::TankMode;
use super::rhythm::{Measure, Rhythm, in_its_rhythm};
use super::rhythm_belief::{JUDGED_WEEKS, RHYTHMS, RhythmBelief, Told, by_week};
use super::spans::{Cell, WEEK, cells};
use super::uptake::Uptake;
use super::ways::{LEAST_PART, WayErrors};

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
    parts: Vec<Parts>,
    out_of_use: OutOfUse,
    /// The day before which all is learnt.
    learnt_until: usize,
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
    /// What is replaced of each tank between its changes.
    pub(super) parts: Vec<Parts>,
    /// Whether each tank is used.
    pub(super) in_use: InUse,
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
            parts: vec![Parts::default(); tanks],
            out_of_use: OutOfUse::new(history),
            learnt_until: 0,
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
        for (parts, tank) in self.parts.iter_mut().zip(&self.history.tanks) {
            parts.learn(self.history, tank, self.learnt_until, until);
        }
        self.learnt_until = until;
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
        let foreseen = Foreseen {
            origin,
            days,
            uptake: &uptake,
            slips: &slips,
            pace: summed(std::iter::once(0.0).chain(uptake.seasons.iter().copied()).collect()),
            usual_turnover: self.usual_turnover(origin),
        };
        let in_use = self.out_of_use.as_of(self.history, origin);
        let believed = self.belief.shares().into_iter().enumerate();
        let paths = believed
            .map(|(tank, shares)| {
                let ways = self.ways(tank, &foreseen);
                ways.map_or_else(
                    || FillPath::new(days),
                    |ways| mixed(ways, shares, |ahead| in_use.chance(tank, ahead)),
                )
            })
            .collect();
        Known {
            uptake,
            slips,
            paths,
            shares: self.shares.clone(),
            parts: self.parts.clone(),
            in_use,
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
    fn ways(&mut self, number: usize, foreseen: &Foreseen<'_>) -> Option<[Option<FillPath>; RHYTHMS]> {
        let Foreseen { origin, days, uptake, slips, pace, usual_turnover } = foreseen;
        let tank = &self.history.tanks[number];
        if tank.mode != TankMode::Changed {
            return None;
        }
        let asking = Asking { history: self.history, tank, origin: *origin, days: *days };
        let taken = |place: usize| {
            let regime = tank.fed(origin + place)?;
            Some(uptake.litres(number, regime, origin + place, place))
        };
        let litres: Vec<f64> = (0..*days).map(|place| taken(place).unwrap_or(0.0)).collect();
        let rhythm = &self.rhythms[number];
        let measures = [
            Measure::by_pace(pace, &asking),
            Measure::by_turnover(rhythm, &asking, &litres, *usual_turnover),
        ];
        let [pace, turnover] =
            measures.each_ref().map(|measure| in_its_rhythm(&asking, rhythm, measure, slips));
        let paths = [Some(by_the_plan(&asking, slips)), pace, turnover];
        let told =
            |way: usize| paths[way].as_ref().map_or([0.0; JUDGED_WEEKS], |path| by_week(&path.changes));
        self.pending.push((*origin, number, std::array::from_fn(told)));
        Some(paths)
    }
}

/// What the coming changes of every tank are told by.
struct Foreseen<'a> {
    origin: usize,
    days: usize,
    uptake: &'a Uptake,
    slips: &'a Slips,
    /// Days until the start of each day, each the longer the more the site takes on it.
    pace: Vec<f64>,
    usual_turnover: Option<f64>,
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

/// The coming changes of a tank by the ways that are believed, as far as it is used so many days ahead.
fn mixed(
    ways: [Option<FillPath>; RHYTHMS],
    shares: [f64; RHYTHMS],
    in_use: impl Fn(usize) -> f64,
) -> FillPath {
    let telling = ways.into_iter().zip(shares).filter_map(|(way, share)| Some((way?, share)));
    let mut weighed: Vec<(FillPath, f64)> = telling.collect();
    // A way that is believed at other tanks may have nothing to go by at this one.
    let most = weighed.iter().map(|(_, share)| *share).fold(0.0, f64::max);
    weighed.retain(|(_, share)| *share >= LEAST_PART.min(most));
    let all: f64 = weighed.iter().map(|(_, share)| share).sum();
    weighed.iter_mut().for_each(|(_, share)| *share /= all.max(1e-9));
    let mut path = FillPath::mixed(&weighed);
    for (ahead, (changes, whole)) in path.changes.iter_mut().zip(&mut path.whole).enumerate() {
        *changes *= in_use(ahead);
        *whole *= in_use(ahead);
    }
    path
}

/// Litres at the new aim that raise a whole tank from the old one.
pub(super) fn step_litres(volume_l: f64, old_aim: f64, fed: &super::question::FedDay) -> f64 {
    let added = fed.ec_aim - fed.source_ec;
    if added > 0.0 { volume_l * ((fed.ec_aim - old_aim) / added).max(0.0) } else { 0.0 }
}
