//! Use of each product on each day to come, by cause, with the variance of its sum.

use fillmark_domain::stock::UseCause;

use super::answer::LearntFrom;
use super::baseline::Baseline;
use super::blend::JUDGED_DAYS;
use super::cause::{TankUse, UseByCause};
use super::history::{History, TankHistory};
use super::learner::{Known, Learner, step_litres};
use super::question::TankMode;
use super::spans::WEEK;
use super::to_waste::{Fed, adjusted_a_day, litres_fed};
use super::unplanned::Losses;
use super::weekly::Lump;

/// Relative spread of four weeks' uptake: weather, mostly. What the records tell of it comes in with the errors of
/// earlier forecasts.
const UPTAKE_SPREAD: f64 = 0.08;

/// Relative spread of what a pH adjuster takes beyond what the litres explain: water and uptake drift.
const PH_SPREAD: f64 = 0.1;

/// A visit missed or a tank left alone lets an addition slip by days: below this many days of top-ups a sum is no surer.
const LUMP_DAYS: f64 = 1.0;

/// The last visit tells what is owed to the tank if it was at most so many days ago.
const OWED_DAYS: usize = 6;

/// Use of one product.
#[derive(Debug, Clone, Default)]
pub(super) struct Usage {
    /// Each day from today on.
    pub(super) days: Vec<UseByCause>,
    /// What of it each tank takes, as reckoned; only where the first day is today.
    pub(super) of_tanks: Vec<TankUse>,
    /// What the plan explains of each tank over the days that are judged.
    pub(super) judged_of: Vec<f64>,
    /// Each change with the day by which it is as likely done as not, and what it takes as reckoned.
    pub(super) changes: Vec<(usize, f64)>,
    /// Variance of the use from today to the end of each day.
    pub(super) variance_until: Vec<f64>,
    /// Changes that a week may have.
    pub(super) lumps: Vec<Lump>,
    /// Whether anything grows on any of the days, or it never took a plan to use it; where not, past use says nothing.
    pub(super) goes_on: bool,
    /// What past use alone would forecast.
    pub(super) baseline: Option<Baseline>,
    /// Whether no plan tells of it: it is used as it was before.
    pub(super) off_plan: bool,
    /// Whether what some tank feeds is assumed: no meter tells it.
    pub(super) fed_assumed: bool,
    /// Days for which nobody was at a tank that takes it, at most; none where each is looked after.
    pub(super) left_alone_days: Option<usize>,
    /// What it was learnt from.
    pub(super) learnt_from: LearntFrom,
}

impl Usage {
    /// Adds what a tank takes on a day; which tank it was is only told of today's forecast.
    fn draw(&mut self, (at, tank): (usize, usize), cause: UseCause, amount: f64, told: bool) {
        *self.days[at].of_mut(cause) += amount;
        if at < JUDGED_DAYS {
            self.judged_of[tank] += amount;
        }
        if told && amount > 0.0 {
            self.of_tanks.push(TankUse { place: at, tank, cause, amount });
        }
    }

    /// What moves the pH is told in one.
    fn as_ph(&mut self) {
        for day in &mut self.days {
            *day = UseByCause { ph: day.ph + day.changes + day.top_ups, changes: 0.0, top_ups: 0.0, ..*day };
        }
        let filled = |one: &&mut TankUse| matches!(one.cause, UseCause::Changes | UseCause::TopUps);
        self.of_tanks.iter_mut().filter(filled).for_each(|one| one.cause = UseCause::Ph);
    }
}

/// The use of each product from a day on, so many days.
pub(super) fn use_from(
    history: &History,
    learner: &Learner<'_>,
    known: &Known,
    origin: usize,
    days: usize,
) -> Vec<Usage> {
    let site = SitePlan { history, learner, known, origin, days };
    let tanks: Vec<TankPlan<'_>> = (0..history.tanks.len()).map(|tank| site.tank(tank)).collect();
    (0..history.products.len()).map(|place| site.use_of(&tanks, place)).collect()
}

struct SitePlan<'a> {
    history: &'a History,
    learner: &'a Learner<'a>,
    known: &'a Known,
    origin: usize,
    days: usize,
}

/// What a tank will take in litres; the same for all products.
struct TankPlan<'a> {
    number: usize,
    tank: &'a TankHistory,
    /// Litres at the aim topped up on each day, changes allowed for.
    top_up_l: Vec<f64>,
    /// Of those what plants took.
    taken_l: Vec<f64>,
    /// Chance of a visit without a change on each day.
    visited: Vec<f64>,
    /// What it feeds to waste or draws.
    fed: Fed,
}

/// What is assumed of a plant's drinking may be off by this part (our own judgement).
const ASSUMED_SPREAD: f64 = 0.5;

impl<'a> SitePlan<'a> {
    fn tank(&self, number: usize) -> TankPlan<'a> {
        let tank = &self.history.tanks[number];
        let mut plan = TankPlan {
            number,
            tank,
            top_up_l: vec![0.0; self.days],
            taken_l: vec![0.0; self.days],
            visited: vec![0.0; self.days],
            fed: Fed::Nothing,
        };
        match tank.mode {
            TankMode::Fed => plan.fed = litres_fed(self.history, tank, self.origin),
            TankMode::Changed => self.top_up(&mut plan),
        }
        plan
    }

    /// What the plants took since the last visit is replaced at the next one, unless the tank is changed then. What a
    /// visit of today replaced is out of the stock already.
    fn top_up(&self, plan: &mut TankPlan<'_>) {
        let (tank, path) = (plan.tank, &self.known.paths[plan.number]);
        let before = tank.visits.partition_point(|visit| visit.day < self.origin);
        let last = before.checked_sub(1).map(|place| tank.visits[place].day);
        let last = last.filter(|day| day + OWED_DAYS >= self.origin);
        let seen_today =
            self.is_todays() && tank.visits.get(before).is_some_and(|visit| visit.day == self.origin);
        let mut aim = last.and_then(|day| tank.fed(day)).map(|regime| regime.fed.ec_aim);
        let (mut owed_l, mut raised_l) = (0.0, 0.0);
        for day in last.unwrap_or(self.origin)..self.origin + self.days {
            let Some(regime) = tank.fed(day) else {
                (owed_l, raised_l, aim) = (0.0, 0.0, None);
                continue;
            };
            if let Some(place) = day.checked_sub(self.origin).filter(|_| self.history.open[day]) {
                let in_use = self.known.in_use.chance(plan.number, place);
                let stays = 1.0 - path.changes[place].min(1.0);
                let there = self.learner.adjusters.visited_at(plan.number, day);
                raised_l += aim.map_or(0.0, |aim| step_litres(tank.volume_l, aim, &regime.fed));
                if place > 0 || !seen_today {
                    plan.top_up_l[place] =
                        stays * in_use * there * (owed_l + self.known.step_share * raised_l);
                    plan.taken_l[place] = stays * in_use * there * owed_l;
                    plan.visited[place] = stays * in_use;
                    let left = stays * (1.0 - there);
                    (owed_l, raised_l) = (owed_l * left, raised_l * left);
                } else {
                    (owed_l, raised_l) = (0.0, 0.0);
                }
                aim = Some(regime.fed.ec_aim);
            }
            let ahead = day.saturating_sub(self.origin);
            owed_l += self.known.uptake.litres(plan.number, regime, day, ahead);
        }
    }

    fn use_of(&self, tanks: &[TankPlan<'_>], place: usize) -> Usage {
        let product = &self.history.products[place];
        let losses = Losses::learn(product, self.origin);
        let nothing = UseByCause { unplanned: losses.per_day, ..UseByCause::default() };
        let mut usage = Usage {
            days: vec![nothing; self.days],
            of_tanks: Vec::new(),
            judged_of: vec![0.0; tanks.len()],
            changes: Vec::new(),
            variance_until: vec![0.0; self.days],
            lumps: Vec::new(),
            goes_on: tanks.iter().any(|one| self.grows(one.tank)) || product.is_off_plan(),
            baseline: None,
            off_plan: product.is_off_plan(),
            fed_assumed: tanks.iter().any(|one| matches!(one.fed, Fed::Assumed) && one.tank.takes(place)),
            left_alone_days: tanks.iter().filter_map(|one| self.left_alone_days(one, place)).max(),
            learnt_from: self.learnt_from(place, &losses),
        };
        for tank in tanks {
            self.add_changes(tank, place, &mut usage);
            self.add_parts(tank, place, &mut usage);
            self.add_top_ups_and_fed(tank, place, &mut usage);
        }
        if product.moves_ph {
            usage.as_ph();
        }
        add_shared_variance(&losses, &mut usage);
        usage
    }

    /// Whether this is the forecast that is answered, not one as of an earlier day.
    fn is_todays(&self) -> bool {
        self.origin == self.history.today
    }

    fn left_alone_days(&self, plan: &TankPlan<'_>, place: usize) -> Option<usize> {
        let regime = plan.tank.fed(self.origin)?;
        let takes = regime.doses[place] > 0.0 || self.history.products[place].moves_ph;
        self.known.in_use.silent_days(plan.number).filter(|_| takes)
    }

    fn grows(&self, tank: &TankHistory) -> bool {
        (self.origin..self.origin + self.days).any(|day| tank.fed(day).is_some())
    }

    fn learnt_from(&self, place: usize, losses: &Losses) -> LearntFrom {
        let (fills, top_ups, fill_ratio) = self.learner.pours.learnt_from(place);
        LearntFrom {
            fills,
            top_ups,
            fill_ratio,
            changes_on_plan: self.known.slips.changes,
            uptake_spans: self.known.uptake.spans,
            losses: losses.count,
            taken: 0,
        }
    }

    fn add_changes(&self, plan: &TankPlan<'_>, place: usize, usage: &mut Usage) {
        let path = &self.known.paths[plan.number];
        let hand = self.learner.pours.fill_hand(place, plan.number);
        if hand.without_dose <= 0.0 && !plan.tank.takes(place) {
            return;
        }
        let spread = self.learner.pours.fill_spread(place);
        let share = self.known.shares[plan.number];
        let (mut number, mut usual, mut last) = (0.0, 0.0, 0.0);
        let mut of_week = (0.0, 0.0);
        for at in 0..self.days {
            let changes = path.changes[at];
            if let Some(regime) = plan.tank.fed(self.origin + at).filter(|_| changes > 0.0) {
                let amount = plan.tank.volume_l * hand.per_litre(regime.doses[place]);
                let part = path.whole[at] + share * (changes - path.whole[at]);
                usage.draw((at, plan.number), UseCause::Changes, part * amount, self.is_todays());
                last = amount * part / changes;
                if self.is_todays()
                    && last > 0.0
                    && (number + changes + 0.5).floor() > (number + 0.5_f64).floor()
                {
                    usage.changes.push((at, last));
                }
                number += changes;
                usual += part * amount;
                of_week = (of_week.0 + changes, of_week.1 + part * amount);
            }
            if of_week.0 > 0.0 && ((at + 1) % WEEK == 0 || at + 1 == self.days) {
                let (number, amount) = std::mem::take(&mut of_week);
                usage.lumps.push(Lump { week: at / WEEK, number, amount: amount / number });
            }
            let mean = if number > 0.0 { usual / number } else { last };
            usage.variance_until[at] += mean * mean * (path.variance[at] + number * spread * spread);
        }
    }

    /// What fills a tank after parts of it are replaced between its changes; it is told with what tops it up.
    fn add_parts(&self, plan: &TankPlan<'_>, place: usize, usage: &mut Usage) {
        let (mean, variance) = self.known.parts[plan.number].on_a_day();
        let hand = self.learner.pours.fill_hand(place, plan.number);
        if mean <= 0.0 || (hand.without_dose <= 0.0 && !plan.tank.takes(place)) {
            return;
        }
        let mut so_far = 0.0;
        for at in 0..self.days {
            let day = self.origin + at;
            let is_open =
                self.history.open[day] && !(at == 0 && self.is_todays() && plan.tank.is_visited(day));
            if let Some(regime) = plan.tank.fed(day).filter(|_| is_open) {
                let stays = 1.0 - self.known.paths[plan.number].changes[at].min(1.0);
                let chance = stays * self.known.in_use.chance(plan.number, at);
                let whole = plan.tank.volume_l * hand.per_litre(regime.doses[place]);
                usage.draw((at, plan.number), UseCause::TopUps, chance * mean * whole, self.is_todays());
                so_far += chance * variance * whole * whole;
            }
            usage.variance_until[at] += so_far;
        }
    }

    fn add_top_ups_and_fed(&self, plan: &TankPlan<'_>, place: usize, usage: &mut Usage) {
        let (variance_l, assumed) = match plan.fed {
            Fed::Metered { variance, .. } => (variance, 0.0),
            Fed::Assumed => (0.0, ASSUMED_SPREAD),
            Fed::Nothing => (0.0, 0.0),
        };
        let moves_ph = self.history.products[place].moves_ph;
        let hand = self.learner.pours.top_up_hand(place, plan.number);
        if hand.without_dose <= 0.0 && !moves_ph && !plan.tank.takes(place) {
            return;
        }
        let (mut fed_variance, mut fed) = (0.0, 0.0);
        let adjusted = match plan.fed {
            Fed::Metered { .. } | Fed::Assumed if moves_ph => {
                adjusted_a_day(self.history, plan.tank, self.origin, place)
            }
            _ => 0.0,
        };
        for at in 0..self.days {
            if let Some(regime) = plan.tank.fed(self.origin + at) {
                let (dose, day) = (regime.doses[place], self.origin + at);
                let mut draw = |cause, amount| {
                    usage.draw((at, plan.number), cause, amount, self.is_todays());
                };
                if moves_ph && dose <= 0.0 {
                    if self.history.open[day] {
                        draw(UseCause::Ph, adjusted);
                    }
                    if plan.visited[at] > 0.0 {
                        let volume_l = plan.tank.volume_l * plan.visited[at];
                        let adjusters = &self.learner.adjusters;
                        draw(
                            UseCause::Ph,
                            adjusters.amount(place, (plan.number, day), volume_l, plan.taken_l[at]),
                        );
                    }
                } else {
                    draw(UseCause::TopUps, plan.top_up_l[at] * hand.per_litre(dose));
                }
                let of_tank = plan.fed.litres(regime) * dose;
                draw(UseCause::Fed, of_tank);
                fed += of_tank;
                fed_variance += variance_l * dose * dose;
            }
            usage.variance_until[at] += fed_variance + (assumed * fed).powi(2);
        }
    }
}

/// What all days have in common: weather and drift move them together, so their spread does not average out.
fn add_shared_variance(losses: &Losses, usage: &mut Usage) {
    let (mut top_ups, mut ph) = (0.0, 0.0);
    for (place, (day, variance)) in usage.days.iter().zip(&mut usage.variance_until).enumerate() {
        top_ups += day.top_ups;
        ph += day.ph;
        let so_far = (place + 1) as f64;
        let lump = LUMP_DAYS * (top_ups / so_far).powi(2);
        *variance += (UPTAKE_SPREAD * top_ups).powi(2) + (PH_SPREAD * ph).powi(2) + lump;
        *variance += losses.variance(so_far);
    }
}
