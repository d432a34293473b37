//! How doses poured differ from doses planned, and what is poured without a planned dose (mostly pH adjusters).

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::question::{Addition, FedDay, Question, Reason, TankAsked};

/// The plan counts as much as one typical pour on record.
const PRIOR_POURS: f64 = 1.0;

/// Relative spread of a pour before any is on record: a jug is read to about a tenth.
const PRIOR_SPREAD: f64 = 0.1;

/// What was poured of each product on one visit, in mL (or g), by position in the question.
pub(super) type Poured = Vec<f64>;

/// One visit to a tank, with what was poured.
#[derive(Debug, Clone)]
pub(super) struct Visit {
    /// Days from today; negative.
    pub(super) day: i64,
    /// Whether the tank was changed.
    pub(super) changed: bool,
    /// Poured to fill after a change.
    pub(super) fill: Poured,
    /// Poured to top up or correct.
    pub(super) top_up: Poured,
}

/// The visits of a tank in order of time: days with a reading, an addition or a change.
pub(super) fn visits(question: &Question, tank: &TankAsked, additions: &[Addition]) -> Vec<Visit> {
    let empty = || vec![0.0; question.products.len()];
    let mut visits: BTreeMap<NaiveDate, Visit> = BTreeMap::new();
    let days =
        tank.visits.iter().chain(&tank.changes_done).copied().chain(additions.iter().map(|one| one.on));
    for date in days.filter(|date| *date < question.today) {
        let day = question.offset(date);
        visits.entry(date).or_insert_with(|| Visit { day, changed: false, fill: empty(), top_up: empty() });
    }
    for (date, visit) in &mut visits {
        visit.changed = tank.changes_done.contains(date);
    }
    for addition in additions {
        let Some(position) = question.position(addition.product) else { continue };
        let Some(visit) = visits.get_mut(&addition.on) else { continue };
        let fills = addition.reason == Reason::Change || (visit.changed && addition.reason != Reason::TopUp);
        let poured = if fills { &mut visit.fill } else { &mut visit.top_up };
        poured[position] += addition.amount.base_units();
    }
    visits.into_values().collect()
}

/// Litres of solution at the EC aim that pours amount to: each product says how many litres it would make, and
/// those that add more EC count for more. Products without a dose (pH adjusters) say nothing.
pub(super) fn litres_at_the_aim(question: &Question, fed: &FedDay, poured: &Poured) -> f64 {
    let (mut made, mut wanted) = (0.0, 0.0);
    for (product, amount) in question.products.iter().zip(poured) {
        let dose = fed.dose_of(product.product);
        if dose > 0.0 {
            let weight = product.ec_rise_per_unit_per_l.filter(|rise| *rise > 0.0).unwrap_or(1.0);
            made += amount * weight;
            wanted += dose * weight;
        }
    }
    if wanted > 0.0 { made / wanted } else { 0.0 }
}

/// Amount per litre of one product: with a planned dose as a multiple of it, without one as it is.
#[derive(Debug, Clone, Copy, Default)]
struct Learning {
    poured_on_plan: f64,
    planned: f64,
    pours_on_plan: usize,
    square_of_differences: f64,
    poured_off_plan: f64,
    litres_off_plan: f64,
    pours_off_plan: usize,
}

impl Learning {
    fn record(&mut self, poured: f64, dose: f64, litres: f64) {
        if litres <= 0.0 {
            return;
        }
        let planned = dose * litres;
        if planned > 0.0 {
            self.poured_on_plan += poured;
            self.planned += planned;
            self.pours_on_plan += 1;
            self.square_of_differences += (poured / planned - 1.0).powi(2).min(1.0);
        } else {
            self.poured_off_plan += poured;
            self.litres_off_plan += litres;
            self.pours_off_plan += usize::from(poured > 0.0);
        }
    }

    fn ratio(&self) -> f64 {
        let prior = PRIOR_POURS * self.planned / (self.pours_on_plan.max(1) as f64);
        if self.planned > 0.0 { (self.poured_on_plan + prior) / (self.planned + prior) } else { 1.0 }
    }

    fn per_litre(&self, dose: f64) -> f64 {
        if dose > 0.0 {
            dose * self.ratio()
        } else if self.litres_off_plan > 0.0 {
            self.poured_off_plan / self.litres_off_plan
        } else {
            0.0
        }
    }

    fn spread(&self) -> f64 {
        let count = self.pours_on_plan as f64;
        let bias = self.ratio() - 1.0;
        let square = PRIOR_SPREAD.powi(2) * 4.0 + (self.square_of_differences - count * bias * bias).max(0.0);
        (square / (4.0 + count)).sqrt()
    }
}

/// What is poured per litre, learnt apart for fills and top-ups: a jug for a fill is read otherwise than one for a splash.
#[derive(Debug, Clone)]
pub(super) struct Doses {
    fills: Vec<Learning>,
    top_ups: Vec<Learning>,
}

impl Doses {
    /// From all visits of all tanks.
    pub(super) fn learn(question: &Question, visits: &[Vec<Visit>]) -> Doses {
        let none = vec![Learning::default(); question.products.len()];
        let mut doses = Doses { fills: none.clone(), top_ups: none };
        for (tank, visits) in question.tanks.iter().zip(visits) {
            for visit in visits {
                let Some(fed) = tank.fed.get(&question.date(visit.day)) else { continue };
                let topped_up_l = litres_at_the_aim(question, fed, &visit.top_up);
                for (position, product) in question.products.iter().enumerate() {
                    let dose = fed.dose_of(product.product);
                    if visit.changed {
                        doses.fills[position].record(visit.fill[position], dose, tank.working_volume_l);
                    } else {
                        doses.top_ups[position].record(visit.top_up[position], dose, topped_up_l);
                    }
                }
            }
        }
        doses
    }

    /// mL (or g) per litre filled after a change.
    pub(super) fn per_fill_l(&self, position: usize, dose: f64) -> f64 {
        self.fills[position].per_litre(dose)
    }

    /// mL (or g) per litre at the aim that a top-up amounts to.
    pub(super) fn per_top_up_l(&self, position: usize, dose: f64) -> f64 {
        self.top_ups[position].per_litre(dose)
    }

    /// Relative spread of one fill.
    pub(super) fn fill_spread(&self, position: usize) -> f64 {
        self.fills[position].spread()
    }

    /// Fills and top-ups on record in which it was poured, and the ratio of poured to planned at fills.
    pub(super) fn learnt_from(&self, position: usize) -> (usize, usize, Option<f64>) {
        let (fills, top_ups) = (&self.fills[position], &self.top_ups[position]);
        let ratio = (fills.pours_on_plan > 0).then(|| fills.ratio());
        let count = |learning: &Learning| learning.pours_on_plan + learning.pours_off_plan;
        (count(fills), count(top_ups), ratio)
    }
}
