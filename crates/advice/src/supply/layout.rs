//! What a question has on record, laid out by day.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, TimeDelta};
use fillmark_domain::Id;
use fillmark_domain::stock::{Product, ProductKind};

use super::changes::LATEST;
use super::history::{Lately, ProductHistory, Regime, TankHistory, Visit};
use super::question::{Addition, ProductAsked, Question, Reason, TankAsked};

/// Records further back than two years teach nothing any more; our own judgement.
const MEMORY_DAYS: i64 = 731;

/// What was poured longer ago says nothing of whether a plan tells of it (our own judgement): half a year.
const LATELY_DAYS: usize = 182;

/// The visit of a day, which need not have been known yet; none after today.
fn visit_on(visits: &mut [Option<Visit>], day: usize) -> Option<&mut Visit> {
    let new = || Visit { day, share: 0.0, fill: Vec::new(), top_up: Vec::new(), top_up_l: 0.0 };
    visits.get_mut(day).map(|visit| visit.get_or_insert_with(new))
}

/// A change of a part counts as the one that was due once so much of the interval is over (our own judgement).
const DUE_FROM: f64 = 0.7;

/// So many intervals of whole changes tell how long a tank's are, which is at most so many times its programme's; our own judgement.
const TELLING_INTERVALS: usize = 2;
const LONGEST_OF_PROGRAMME: f64 = 2.5;

/// What is written down is followed where so many of the whole changes fall on it; our own judgement.
const FOLLOWED: f64 = 0.7;

/// The changes that were due: whole ones, and parts that were replaced when a change was, that the plan had written down, or that
/// were a cycle's first. A part that is replaced in between, for a strong or a sour solution or half-way as a habit, moves no change.
fn in_turn(replaced: &[(usize, f64)], plan: &TankHistory) -> Vec<(usize, f64)> {
    let whole: Vec<usize> = replaced.iter().filter(|(_, share)| *share >= 1.0).map(|(day, _)| *day).collect();
    let (usual, follows) = (usual_interval(&whole, plan), follows_what_is_written(&whole, plan));
    let mut kept: Vec<(usize, f64)> = Vec::with_capacity(replaced.len());
    for (day, share) in replaced {
        let programme = plan.fed(*day).and_then(|regime| regime.fed.change_every_days).map(f64::from);
        let interval = programme.map(|days| usual.unwrap_or(days).clamp(days, LONGEST_OF_PROGRAMME * days));
        let is_due = |(last, _): &(usize, f64)| {
            interval.is_none_or(|interval| (day - last) as f64 >= DUE_FROM * interval)
                || (last + 1..=*day).any(|day| plan.starts_on(day))
        };
        let is_written = follows && is_written(plan, *day);
        if *share >= 1.0 || is_written || kept.last().is_none_or(is_due) {
            kept.push((*day, *share));
        }
    }
    kept
}

/// Days from one whole change to the next within a cycle, in the (lower) median; none where too few tell it.
fn usual_interval(whole: &[usize], plan: &TankHistory) -> Option<f64> {
    let grew = |pair: &&[usize]| (pair[0]..pair[1]).all(|day| plan.fed(day).is_some());
    let mut intervals: Vec<usize> = whole.windows(2).filter(grew).map(|pair| pair[1] - pair[0]).collect();
    intervals.sort_unstable();
    (intervals.len() >= TELLING_INTERVALS).then(|| intervals[(intervals.len() - 1) / 2] as f64)
}

/// Whether a day is one that a change was written down for, or soon after it.
fn is_written(plan: &TankHistory, day: usize) -> bool {
    let near = plan.written.partition_point(|written| written + LATEST < day);
    plan.written.get(near).is_some_and(|written| *written <= day)
}

/// Whether whole changes are done when they are written down: where most are not, a part that falls on such a day does so by chance.
fn follows_what_is_written(whole: &[usize], plan: &TankHistory) -> bool {
    let (Some(first), Some(last)) = (plan.written.first(), plan.written.last()) else { return true };
    let since = whole.iter().filter(|day| (*first..=last + LATEST).contains(*day));
    let (done, all) =
        since.fold((0_u32, 0_u32), |(done, all), day| (done + u32::from(is_written(plan, *day)), all + 1));
    f64::from(done) >= FOLLOWED * f64::from(all)
}

/// The first day that anything was written down on.
pub(super) fn first_day(question: &Question, records: &[Vec<Addition>]) -> NaiveDate {
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
        .flat_map(|asked| asked.taken.iter().chain(asked.prepared.values().flatten()))
        .map(|one| one.on);
    let earliest = of_tanks.chain(taken).min();
    let oldest = question.today - TimeDelta::days(MEMORY_DAYS);
    earliest.unwrap_or(question.today).clamp(oldest, question.today)
}

/// Where things lie.
pub(super) struct Layout<'a> {
    pub(super) question: &'a Question,
    pub(super) places: BTreeMap<Id<Product>, usize>,
    /// Day 0.
    pub(super) first: NaiveDate,
    pub(super) today: usize,
    /// Days known of.
    pub(super) length: usize,
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

    /// A tank with what was done at it.
    pub(super) fn tank(&self, tank: &TankAsked, records: &[Addition]) -> TankHistory {
        let (regimes, fed) = self.regimes(tank);
        let replaced = self.replaced(tank);
        let mut litres_fed: Vec<(usize, f64, f64)> = tank
            .litres_fed
            .iter()
            .filter_map(|fed| Some((self.day(fed.on)?, fed.litres, f64::from(fed.over_days.max(1)))))
            .collect();
        litres_fed.sort_by(|one, other| one.0.cmp(&other.0).then(one.1.total_cmp(&other.1)));
        let mut laid_out = TankHistory {
            volume_l: tank.working_volume_l,
            mode: tank.mode,
            regimes,
            fed,
            visits: self.visits(tank, &replaced, records),
            fills: Vec::new(),
            written: self.days(&tank.planned_changes),
            skipped: self.days(&tank.skipped_changes),
            litres_fed,
        };
        laid_out.fills = in_turn(&replaced, &laid_out);
        laid_out
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

    /// The products, of what was poured into these tanks and fed from them.
    pub(super) fn products(&self, tanks: &[TankHistory]) -> Vec<ProductHistory> {
        let mut poured = vec![vec![0.0; self.today]; self.question.products.len()];
        let mut lately = vec![Lately::default(); poured.len()];
        for tank in tanks {
            for visit in tank.visits.iter().filter(|visit| visit.day < self.today) {
                let is_planned = tank.fed(visit.day).is_some();
                let is_lately = visit.day + LATELY_DAYS >= self.today;
                for amounts in [&visit.fill, &visit.top_up] {
                    for (sum, amount) in lately.iter_mut().zip(amounts).filter(|_| is_lately) {
                        sum.all += amount;
                        sum.off_plan += if is_planned { 0.0 } else { *amount };
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
        let used = poured.into_iter().zip(lately);
        self.question.products.iter().zip(used).map(|(asked, used)| self.product(asked, used)).collect()
    }

    fn product(&self, asked: &ProductAsked, (poured, lately): (Vec<f64>, Lately)) -> ProductHistory {
        let mut lost: BTreeMap<usize, i64> = BTreeMap::new();
        for loss in asked.unplanned.iter().filter(|loss| loss.on < self.question.today) {
            *lost.entry(self.day(loss.on).unwrap_or(0)).or_default() += loss.amount.thousandths();
        }
        ProductHistory {
            weight: asked.ec_rise_per_unit_per_l.filter(|rise| *rise > 0.0).unwrap_or(1.0),
            moves_ph: asked.kind == ProductKind::PhAdjuster,
            poured,
            lately,
            lost: lost.into_iter().map(|(day, amount)| (day, amount as f64 / 1e3)).collect(),
        }
    }
}
