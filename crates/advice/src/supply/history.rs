//! The question laid out by day, so that the forecast can be made as of any earlier day without asking anew.
//!
//! Sums are made in whole thousandths before they become numbers, so the order in which records came does not matter.

use std::ops::Range;

use chrono::Datelike;

use super::layout::{Layout, first_day};
use super::question::{Addition, FedDay, Question, TankMode};
use super::spans::WEEK;

/// Days beyond the horizon that are looked at: what grows there tells whether a change near its end is worth making.
const BEYOND_DAYS: usize = 14;

/// Days that are looked at to tell a mean dose: it changes with the stage, not each day.
const LOOKED_AT_DAYS: usize = 7;

/// No dose is taken to rise by more than this; our own judgement.
const MOST_RISE: f64 = 4.0;

/// A site laid out by day; day 0 is the first on record.
#[derive(Debug)]
pub(super) struct History {
    /// The day of asking.
    pub(super) today: usize,
    /// Which day of the year that is.
    pub(super) today_of_year: f64,
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
    /// What of it was poured lately.
    pub(super) lately: Lately,
    /// Lost or found on each day before today, mL (or g).
    pub(super) lost: Vec<(usize, f64)>,
}

/// What each day and all before it come to.
pub(super) fn summed(mut days: Vec<f64>) -> Vec<f64> {
    let mut sum = 0.0;
    for day in &mut days {
        sum += *day;
        *day = sum;
    }
    days
}

/// What was poured of a product in the last half year, mL (or g).
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Lately {
    /// Into any tank.
    pub(super) all: f64,
    /// Into tanks for which nothing was planned that day.
    pub(super) off_plan: f64,
}

/// A tank laid out by day.
#[derive(Debug)]
pub(super) struct TankHistory {
    /// L.
    pub(super) volume_l: f64,
    /// How it uses product.
    pub(super) mode: TankMode,
    pub(super) regimes: Vec<Regime>,
    pub(super) fed: Vec<Option<usize>>,
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
        2.0 * self.lately.off_plan > self.lately.all
    }
}

impl Visit {
    /// Whether anything was poured to fill after a part was replaced.
    pub(super) fn is_filled(&self) -> bool {
        self.share > 0.0 && self.fill.iter().any(|amount| *amount > 0.0)
    }

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
        let today_of_year = question.today.ordinal().into();
        History { today, today_of_year, next_open: next_open(&open), open, tanks, products }
    }

    /// By how much more of a product, by its place, is planned in a litre on days to come than on days before, in the tanks that take it
    /// on both.
    pub(super) fn dose_rises(&self, place: usize, before: Range<usize>, to_come: Range<usize>) -> f64 {
        let both = self.tanks.iter().filter_map(|tank| {
            let (was, will_be) =
                (tank.mean_dose(place, before.clone())?, tank.mean_dose(place, to_come.clone())?);
            Some((tank.volume_l * was, tank.volume_l * will_be))
        });
        let (was, will_be) = both.fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
        if was > 0.0 { (will_be / was).clamp(1.0 / MOST_RISE, MOST_RISE) } else { 1.0 }
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
    pub(super) fn is_dosed_about(&self, day: usize) -> bool {
        let from = self.visits.partition_point(|visit| visit.day + WEEK < day);
        let near = self.visits[from..].iter().take_while(|visit| visit.day <= day + WEEK);
        near.into_iter().any(|visit| visit.poured().any(|place| self.takes(place)))
    }

    /// What it takes of a product a litre, in the mean of some of the days on which it does.
    fn mean_dose(&self, place: usize, days: Range<usize>) -> Option<f64> {
        let step = (days.len() / LOOKED_AT_DAYS).max(1);
        let doses = days.step_by(step).filter_map(|day| self.fed(day)).map(|regime| regime.doses[place]);
        let (sum, count) =
            doses.filter(|dose| *dose > 0.0).fold((0.0, 0.0), |(sum, count), dose| (sum + dose, count + 1.0));
        (count > 0.0).then(|| sum / count)
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

    /// The first day after a change, up to another day, on which its interval is over by what is in force that day, and the interval.
    pub(super) fn due_after(&self, done: usize, end: usize) -> Option<(usize, usize)> {
        (done + 1..=end).find_map(|day| {
            let interval = usize::from(self.fed(day)?.fed.change_every_days.filter(|days| *days > 0)?);
            (day - done >= interval).then_some((day, interval))
        })
    }

    /// Whether somebody was at it on a day.
    pub(super) fn is_visited(&self, day: usize) -> bool {
        self.visits.binary_search_by_key(&day, |visit| visit.day).is_ok()
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
