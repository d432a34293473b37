//! The question laid out by day, so that the forecast can be made as of any earlier day without asking anew.
//!
//! Sums are made in whole thousandths before they become numbers, so the order in which records came does not matter.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, TimeDelta};
use fillmark_domain::Id;
use fillmark_domain::stock::{Product, ProductKind};

use super::question::{Addition, FedDay, ProductAsked, Question, Reason, TankAsked, TankMode};
use super::spans::WEEK;

/// Records further back than two years teach nothing any more; our own judgement.
const MEMORY_DAYS: i64 = 731;

/// Days beyond the horizon that are looked at: what grows there tells whether a change near its end is worth making.
const BEYOND_DAYS: usize = 14;

/// A site laid out by day; day 0 is the first on record.
#[derive(Debug)]
pub(super) struct History {
    /// The day of asking.
    pub(super) today: usize,
    /// Whether somebody works, each day.
    pub(super) open: Vec<bool>,
    /// The first open day on or after each day.
    next_open: Vec<Option<usize>>,
    /// The tanks in the order asked.
    pub(super) tanks: Vec<TankHistory>,
    /// The products in the order asked.
    pub(super) products: Vec<ProductHistory>,
}

/// A product laid out by day.
#[derive(Debug)]
pub(super) struct ProductHistory {
    /// What one mL (or g) counts for among others in a top-up: its EC, mS/cm.
    pub(super) weight: f64,
    /// Whether it moves the pH.
    pub(super) moves_ph: bool,
    /// Poured or fed on each day before today, mL (or g).
    pub(super) poured: Vec<f64>,
    /// Of it what was poured into tanks for which nothing was planned that day.
    pub(super) off_plan: f64,
    /// Lost or found on each day before today, mL (or g).
    pub(super) lost: Vec<(usize, f64)>,
}

/// A tank laid out by day.
#[derive(Debug)]
pub(super) struct TankHistory {
    /// L.
    pub(super) volume_l: f64,
    /// How it uses product.
    pub(super) mode: TankMode,
    regimes: Vec<Regime>,
    fed: Vec<Option<usize>>,
    /// In order of time; today's too.
    pub(super) visits: Vec<Visit>,
    /// Days on which it was changed as it is to be from time to time, with the part that was replaced; today's too. A part that was
    /// replaced in between is none of them.
    pub(super) fills: Vec<(usize, f64)>,
    /// Days written down for changes.
    pub(super) written: Vec<usize>,
    /// Days whose change is skipped.
    pub(super) skipped: Vec<usize>,
    /// Days before today, litres and days counted together.
    pub(super) litres_fed: Vec<(usize, f64, f64)>,
}

/// What a tank feeds on days that are alike.
#[derive(Debug)]
pub(super) struct Regime {
    /// As asked.
    pub(super) fed: FedDay,
    /// First day of its cycle; before the first day on record it is negative.
    pub(super) starts: f64,
    /// mL (or g) a litre of each product in the order asked.
    pub(super) doses: Vec<f64>,
}

/// What was poured on one day, mL (or g), by place of the product; empty where nothing was.
pub(super) type Poured = Vec<f64>;

/// A day on which somebody was at the tank.
#[derive(Debug, Clone)]
pub(super) struct Visit {
    /// The day.
    pub(super) day: usize,
    /// Part of the tank that was changed; 0 where it was not.
    pub(super) share: f64,
    /// Poured to fill after a change.
    pub(super) fill: Poured,
    /// Poured to top up or correct.
    pub(super) top_up: Poured,
    /// What that amounts to, litres at the EC aim.
    pub(super) top_up_l: f64,
}

impl ProductHistory {
    /// Whether most of it was poured where nothing was planned: a plan that tells nothing of it says nothing of what is to come.
    pub(super) fn is_off_plan(&self) -> bool {
        2.0 * self.off_plan > self.poured.iter().sum()
    }
}

impl Visit {
    /// The products that were poured, by their places.
    pub(super) fn poured(&self) -> impl Iterator<Item = usize> {
        let all = self.fill.iter().enumerate().chain(self.top_up.iter().enumerate());
        all.filter(|(_, amount)| **amount > 0.0).map(|(place, _)| place)
    }
}

impl History {
    /// Of a question, with its additions as reckoned with.
    pub(super) fn new(question: &Question, records: &[Vec<Addition>]) -> History {
        let first = first_day(question, records);
        let today = usize::try_from((question.today - first).num_days()).unwrap_or(0);
        let length = today + question.horizon() + BEYOND_DAYS;
        let open: Vec<bool> = first.iter_days().take(length).map(|day| question.open.has(day)).collect();
        let places = question.products.iter().enumerate().map(|(place, one)| (one.product, place)).collect();
        let layout = Layout { question, places, first, today, length };
        let mut tanks: Vec<TankHistory> =
            question.tanks.iter().zip(records).map(|(tank, records)| layout.tank(tank, records)).collect();
        let products = layout.products(&tanks);
        tanks.iter_mut().for_each(|tank| tank.reckon_litres(&products));
        History { today, next_open: next_open(&open), open, tanks, products }
    }

    /// The first open day on or after a day, within what is known of.
    pub(super) fn open_from(&self, day: usize) -> Option<usize> {
        self.next_open.get(day).copied().flatten()
    }

    /// The last open day before a day; the first day where there is none.
    pub(super) fn open_before(&self, day: usize) -> usize {
        (0..day).rev().find(|day| self.open[*day]).unwrap_or(0)
    }

    /// Days known of.
    pub(super) fn length(&self) -> usize {
        self.open.len()
    }
}

impl TankHistory {
    /// What it feeds on a day.
    pub(super) fn fed(&self, day: usize) -> Option<&Regime> {
        self.fed.get(day).copied().flatten().map(|regime| &self.regimes[regime])
    }

    fn reckon_litres(&mut self, products: &[ProductHistory]) {
        for visit in &mut self.visits {
            let regime = self.fed.get(visit.day).copied().flatten().map(|regime| &self.regimes[regime]);
            visit.top_up_l = regime.map_or(0.0, |regime| litres_at_the_aim(products, regime, &visit.top_up));
        }
    }

    /// Whether something that it is planned to take was poured within a week of a day.
    fn is_dosed_about(&self, day: usize) -> bool {
        let from = self.visits.partition_point(|visit| visit.day + WEEK < day);
        let near = self.visits[from..].iter().take_while(|visit| visit.day <= day + WEEK);
        near.into_iter().any(|visit| visit.poured().any(|place| self.takes(place)))
    }

    /// Whether it is planned to take a product at any time.
    pub(super) fn takes(&self, place: usize) -> bool {
        self.regimes.iter().any(|regime| regime.doses[place] > 0.0)
    }

    /// Whether plants come into an idle tank on a day. Of what was before the first day on record only its cycle tells.
    pub(super) fn starts_on(&self, day: usize) -> bool {
        match day.checked_sub(1) {
            Some(before) => self.fed(day).is_some() && self.fed(before).is_none(),
            None => self.fed(day).is_some_and(|regime| regime.starts >= 0.0),
        }
    }

    /// The last change before a day, or on it where today's are known.
    pub(super) fn last_fill(&self, before: usize) -> Option<usize> {
        let known = self.fills.partition_point(|(day, _)| *day < before);
        known.checked_sub(1).map(|place| self.fills[place].0)
    }

    /// Whether it was changed on a day, as it is to be from time to time.
    pub(super) fn is_changed_on(&self, day: usize) -> bool {
        self.fills.binary_search_by_key(&day, |(day, _)| *day).is_ok()
    }

    /// Number of changes done on days from one to before another.
    pub(super) fn changes_done(&self, from: usize, until: usize) -> f64 {
        let before = |day: usize| self.fills.partition_point(|(done, _)| *done < day);
        (before(until) - before(from)) as f64
    }
}

impl Regime {
    /// How far its cycle has come, 0 at its start and 1 at its end.
    pub(super) fn position(&self, day: f64) -> f64 {
        let length = (self.fed.cycle_end - self.fed.cycle_start).num_days().max(1) as f64;
        ((day - self.starts) / length).clamp(0.0, 1.0)
    }
}

/// The visit of a day, which need not have been known yet; none after today.
fn visit_on(visits: &mut [Option<Visit>], day: usize) -> Option<&mut Visit> {
    let new = || Visit { day, share: 0.0, fill: Vec::new(), top_up: Vec::new(), top_up_l: 0.0 };
    visits.get_mut(day).map(|visit| visit.get_or_insert_with(new))
}

/// Litres of solution at the EC aim that pours amount to: each product says how many litres it would make, and
/// those that add more EC count for more. Products without a dose (pH adjusters) say nothing.
fn litres_at_the_aim(products: &[ProductHistory], regime: &Regime, poured: &[f64]) -> f64 {
    let (mut made, mut wanted) = (0.0, 0.0);
    for ((product, dose), amount) in products.iter().zip(&regime.doses).zip(poured) {
        if *dose > 0.0 {
            made += amount * product.weight;
            wanted += dose * product.weight;
        }
    }
    if wanted > 0.0 { made / wanted } else { 0.0 }
}

fn next_open(open: &[bool]) -> Vec<Option<usize>> {
    let mut next = None;
    let mut found: Vec<Option<usize>> = (0..open.len())
        .rev()
        .map(|day| {
            next = if open[day] { Some(day) } else { next };
            next
        })
        .collect();
    found.reverse();
    found
}

/// A change of a part counts as the one that was due once so much of the interval is over (our own judgement).
const DUE_FROM: f64 = 0.7;

/// The changes that were due: whole ones, and parts that were replaced when a change was. A part that is replaced in between, for a
/// strong or a sour solution, moves no change.
fn in_turn(replaced: &[(usize, f64)], interval: impl Fn(usize) -> Option<f64>) -> Vec<(usize, f64)> {
    let mut kept: Vec<(usize, f64)> = Vec::with_capacity(replaced.len());
    for (day, share) in replaced {
        let is_due = |(last, _): &(usize, f64)| {
            interval(*day).is_none_or(|interval| (day - last) as f64 >= DUE_FROM * interval)
        };
        if *share >= 1.0 || kept.last().is_none_or(is_due) {
            kept.push((*day, *share));
        }
    }
    kept
}

/// The first day that anything was written down on.
fn first_day(question: &Question, records: &[Vec<Addition>]) -> NaiveDate {
    let of_tank = |(tank, records): (&TankAsked, &Vec<Addition>)| {
        let poured = records.iter().map(|one| one.on).min();
        let visited = tank.visits.iter().chain(&tank.changes_done).min().copied();
        let fed = tank.litres_fed.iter().map(|fed| fed.on).min();
        poured.into_iter().chain(visited).chain(fed).min()
    };
    let of_tanks = question.tanks.iter().zip(records).filter_map(of_tank);
    let taken = question
        .products
        .iter()
        .flat_map(|asked| asked.taken.iter().chain(&asked.prepared))
        .map(|one| one.on);
    let earliest = of_tanks.chain(taken).min();
    let oldest = question.today - TimeDelta::days(MEMORY_DAYS);
    earliest.unwrap_or(question.today).clamp(oldest, question.today)
}

struct Layout<'a> {
    question: &'a Question,
    places: BTreeMap<Id<Product>, usize>,
    first: NaiveDate,
    today: usize,
    length: usize,
}

impl Layout<'_> {
    fn day(&self, date: NaiveDate) -> Option<usize> {
        // Asked of each thing on record: a difference of dates is reckoned in seconds and takes several times as long.
        usize::try_from(date.num_days_from_ce() - self.first.num_days_from_ce()).ok()
    }

    fn days<'b>(&self, dates: impl IntoIterator<Item = &'b NaiveDate>) -> Vec<usize> {
        let mut days: Vec<usize> = dates.into_iter().filter_map(|date| self.day(*date)).collect();
        days.sort_unstable();
        days.dedup();
        days
    }

    fn tank(&self, tank: &TankAsked, records: &[Addition]) -> TankHistory {
        let (regimes, fed) = self.regimes(tank);
        let replaced = self.replaced(tank);
        let interval = |day: usize| {
            let regime = &regimes[fed.get(day).copied().flatten()?];
            regime.fed.change_every_days.map(f64::from)
        };
        let fills = in_turn(&replaced, interval);
        let mut litres_fed: Vec<(usize, f64, f64)> = tank
            .litres_fed
            .iter()
            .filter_map(|fed| Some((self.day(fed.on)?, fed.litres, f64::from(fed.over_days.max(1)))))
            .collect();
        litres_fed.sort_by(|one, other| one.0.cmp(&other.0).then(one.1.total_cmp(&other.1)));
        TankHistory {
            volume_l: tank.working_volume_l,
            mode: tank.mode,
            regimes,
            fed,
            visits: self.visits(tank, &replaced, records),
            fills,
            written: self.days(&tank.planned_changes),
            skipped: self.days(&tank.skipped_changes),
            litres_fed,
        }
    }

    /// What was replaced of a tank, by days.
    fn replaced(&self, tank: &TankAsked) -> Vec<(usize, f64)> {
        let mut shares: BTreeMap<usize, f64> = BTreeMap::new();
        let partial = tank.partial_changes.iter().map(|change| (change.on, change.share.clamp(0.0, 1.0)));
        for (on, share) in tank.changes_done.iter().map(|on| (*on, 1.0)).chain(partial) {
            let Some(day) = self.day(on).filter(|day| *day <= self.today) else { continue };
            let kept = shares.entry(day).or_default();
            *kept = kept.max(share);
        }
        shares.into_iter().filter(|(_, share)| *share > 0.0).collect()
    }

    fn regimes(&self, tank: &TankAsked) -> (Vec<Regime>, Vec<Option<usize>>) {
        let mut regimes: Vec<Regime> = Vec::new();
        let mut fed = vec![None; self.length];
        for (date, fed_day) in &tank.fed {
            let Some(place) = self.day(*date).filter(|day| *day < self.length) else { continue };
            if regimes.last().is_none_or(|last| last.fed != *fed_day) {
                regimes.push(Regime {
                    starts: (fed_day.cycle_start - self.first).num_days() as f64,
                    doses: self.question.products.iter().map(|one| fed_day.dose_of(one.product)).collect(),
                    fed: fed_day.clone(),
                });
            }
            fed[place] = Some(regimes.len() - 1);
        }
        (regimes, fed)
    }

    fn visits(&self, tank: &TankAsked, replaced: &[(usize, f64)], records: &[Addition]) -> Vec<Visit> {
        let mut visits: Vec<Option<Visit>> = vec![None; self.today + 1];
        for day in tank.visits.iter().filter_map(|date| self.day(*date)) {
            visit_on(&mut visits, day);
        }
        for (day, share) in replaced {
            if let Some(visit) = visit_on(&mut visits, *day) {
                visit.share = *share;
            }
        }
        // Whole numbers add up exactly in any order, also as floating ones.
        for one in records {
            let Some(visit) = self.day(one.on).and_then(|day| visit_on(&mut visits, day)) else { continue };
            let fills = one.reason == Reason::Change || (visit.share > 0.0 && one.reason != Reason::TopUp);
            let poured = if fills { &mut visit.fill } else { &mut visit.top_up };
            if let Some(place) = self.places.get(&one.product) {
                poured.resize(self.places.len(), 0.0);
                poured[*place] += one.amount.thousandths() as f64;
            }
        }
        let mut visits: Vec<Visit> = visits.into_iter().flatten().collect();
        for visit in &mut visits {
            visit.fill.iter_mut().chain(&mut visit.top_up).for_each(|amount| *amount /= 1e3);
        }
        visits
    }

    fn products(&self, tanks: &[TankHistory]) -> Vec<ProductHistory> {
        let mut poured = vec![vec![0.0; self.today]; self.question.products.len()];
        let mut off_plan = vec![0.0; poured.len()];
        for tank in tanks {
            for visit in tank.visits.iter().filter(|visit| visit.day < self.today) {
                let is_planned = tank.fed(visit.day).is_some();
                for amounts in [&visit.fill, &visit.top_up] {
                    if !is_planned {
                        off_plan.iter_mut().zip(amounts).for_each(|(all, amount)| *all += amount);
                    }
                    for (all, amount) in poured.iter_mut().zip(amounts).filter(|(_, amount)| **amount != 0.0)
                    {
                        all[visit.day] += amount;
                    }
                }
            }
            for (day, litres, _) in tank.litres_fed.iter().filter(|(day, ..)| *day < self.today) {
                // What a meter tells was used where nobody about then wrote down what was poured.
                let Some(regime) = tank.fed(*day).filter(|_| !tank.is_dosed_about(*day)) else { continue };
                let doses = &regime.doses;
                for (all, dose) in poured.iter_mut().zip(doses) {
                    all[*day] += litres * dose;
                }
            }
        }
        let used = poured.into_iter().zip(off_plan);
        self.question.products.iter().zip(used).map(|(asked, used)| self.product(asked, used)).collect()
    }

    fn product(&self, asked: &ProductAsked, (poured, off_plan): (Vec<f64>, f64)) -> ProductHistory {
        let mut lost: BTreeMap<usize, i64> = BTreeMap::new();
        for loss in asked.unplanned.iter().filter(|loss| loss.on < self.question.today) {
            *lost.entry(self.day(loss.on).unwrap_or(0)).or_default() += loss.amount.thousandths();
        }
        ProductHistory {
            weight: asked.ec_rise_per_unit_per_l.filter(|rise| *rise > 0.0).unwrap_or(1.0),
            moves_ph: asked.kind == ProductKind::PhAdjuster,
            poured,
            off_plan,
            lost: lost.into_iter().map(|(day, amount)| (day, amount as f64 / 1e3)).collect(),
        }
    }
}
