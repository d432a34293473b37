//! How doses poured differ from doses planned, product by product and tank by tank.
//!
//! Three memories of different length run beside each other, and the one that foresaw the next pours best speaks: a
//! steady hand is known best from all its pours, while a recipe that was revised shows in the last ones only.

use super::history::{History, Visit};

/// Days after which a pour counts half, for each memory; our own judgement.
const HALF_LIVES: [f64; 3] = [14.0, 60.0, 400.0];

/// The plan counts as much as one pour on record.
const PRIOR_POURS: f64 = 1.0;

/// A tank's own hand is believed once it has so many pours; our own judgement.
const TANK_PRIOR_POURS: f64 = 6.0;

/// A pour this many times off what was usual counts as this much: it is a slip or a part of a fill.
const MOST_OFF: f64 = 2.5;

/// Relative spread of a pour before any is on record: a jug is read to about a tenth.
const PRIOR_SPREAD: f64 = 0.1;

/// Days after which an error of a memory counts half.
const ERRORS_HALF_LIFE: f64 = 90.0;

/// A ratio learnt from pour after pour, in order of time.
#[derive(Debug, Clone)]
pub(super) struct Ratio {
    prior: f64,
    memories: [(f64, f64); 3],
    errors: [f64; 3],
    weight: f64,
    day: usize,
    /// Pours it was learnt from.
    pub(super) pours: usize,
}

impl Ratio {
    /// Not yet learnt anything.
    pub(super) fn new(prior: f64) -> Ratio {
        Ratio { prior, memories: [(0.0, 0.0); 3], errors: [0.0; 3], weight: 0.0, day: 0, pours: 0 }
    }

    fn of(&self, (sum, weight): (f64, f64)) -> f64 {
        // Without a planned dose there is nothing to hold on to.
        let pull = if self.prior > 0.0 { PRIOR_POURS } else { 1e-9 };
        (sum + self.prior * pull) / (weight + pull)
    }

    fn best(&self) -> usize {
        // A shorter memory must be clearly better: it is noisier, and chance favours one of three.
        let score = |at: usize| self.errors[at] * [1.1, 1.03, 1.0][at];
        (0..3).min_by(|one, other| score(*one).total_cmp(&score(*other))).unwrap_or(2)
    }

    /// What the memory that foresees best says.
    pub(super) fn value(&self) -> f64 {
        let best = if self.pours < 4 { 2 } else { self.best() };
        self.of(self.memories[best])
    }

    /// Learns one pour as a ratio.
    pub(super) fn learn(&mut self, day: usize, ratio: f64) {
        let usual = self.value();
        let ratio = if usual > 0.0 { ratio.clamp(usual / MOST_OFF, usual * MOST_OFF) } else { ratio };
        let gone = day.saturating_sub(self.day) as f64;
        // Most pours come on the day of the one before, when nothing has faded.
        let fade = |half_life: f64| if gone > 0.0 { f64::exp2(-gone / half_life) } else { 1.0 };
        for (at, half_life) in HALF_LIVES.into_iter().enumerate() {
            let off = ratio - self.of(self.memories[at]);
            self.errors[at] = self.errors[at] * fade(ERRORS_HALF_LIFE) + off * off;
            let (sum, weight) = self.memories[at];
            let kept = fade(half_life);
            self.memories[at] = (sum * kept + ratio, weight * kept + 1.0);
        }
        self.weight = self.weight * fade(ERRORS_HALF_LIFE) + 1.0;
        (self.day, self.pours) = (day, self.pours + 1);
    }

    /// Relative spread of one pour around it.
    pub(super) fn spread(&self) -> f64 {
        let value = self.value();
        if value <= 0.0 {
            return PRIOR_SPREAD;
        }
        let square = self.errors[self.best()] / (value * value);
        ((4.0 * PRIOR_SPREAD.powi(2) + square.min(self.weight)) / (4.0 + self.weight)).sqrt()
    }
}

/// A tank's own hand beside the site's.
#[derive(Debug, Clone, Copy, Default)]
struct Own {
    sum: f64,
    weight: f64,
    day: usize,
}

impl Own {
    fn learn(&mut self, day: usize, ratio: f64) {
        let kept = f64::exp2(-(day.saturating_sub(self.day) as f64) / HALF_LIVES[1]);
        let ratio = ratio.clamp(1.0 / MOST_OFF, MOST_OFF);
        *self = Own { sum: self.sum * kept + ratio, weight: self.weight * kept + 1.0, day };
    }

    fn value(&self) -> f64 {
        (self.sum + TANK_PRIOR_POURS) / (self.weight + TANK_PRIOR_POURS)
    }
}

/// Ratios of one product, apart for what has a planned dose and what has none.
#[derive(Debug, Clone)]
struct OfProduct {
    on_plan: Ratio,
    off_plan: Ratio,
    own: Vec<Own>,
}

impl OfProduct {
    fn new(tanks: usize) -> OfProduct {
        let (on_plan, off_plan) = (Ratio::new(1.0), Ratio::new(0.0));
        OfProduct { on_plan, off_plan, own: vec![Own::default(); tanks] }
    }

    fn learn(&mut self, tank: usize, day: usize, poured: f64, dose: f64, litres: f64) {
        if litres <= 0.0 {
            return;
        }
        if dose > 0.0 {
            let ratio = poured / (dose * litres);
            self.own[tank].learn(day, ratio / self.on_plan.value().max(1e-9));
            self.on_plan.learn(day, ratio);
        } else if poured > 0.0 || self.off_plan.pours > 0 {
            self.off_plan.learn(day, poured / litres);
        }
    }

    fn hand(&self, tank: usize) -> Hand {
        Hand { of_dose: self.on_plan.value() * self.own[tank].value(), without_dose: self.off_plan.value() }
    }
}

/// How one product is poured into one tank.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hand {
    of_dose: f64,
    /// mL (or g) per litre where the plan has no dose.
    pub(super) without_dose: f64,
}

impl Hand {
    /// mL (or g) per litre where the plan has this dose.
    pub(super) fn per_litre(self, dose: f64) -> f64 {
        if dose > 0.0 { dose * self.of_dose } else { self.without_dose }
    }
}

/// What is poured per litre, learnt apart for fills and top-ups: a jug for a fill is read otherwise than one for a splash.
#[derive(Debug, Clone)]
pub(super) struct Pours {
    fills: Vec<OfProduct>,
    top_ups: Vec<OfProduct>,
}

impl Pours {
    /// Not yet learnt anything.
    pub(super) fn new(history: &History) -> Pours {
        let none = vec![OfProduct::new(history.tanks.len()); history.products.len()];
        Pours { fills: none.clone(), top_ups: none }
    }

    /// Learns one visit; visits come in order of time.
    pub(super) fn learn(&mut self, history: &History, tank: usize, visit: &Visit) {
        let Some(regime) = history.tanks[tank].fed(visit.day) else { return };
        let filled_l = history.tanks[tank].volume_l * visit.share;
        // A change of which no product was written down teaches nothing about doses.
        if visit.share > 0.0 && visit.fill.iter().any(|poured| *poured > 0.0) {
            for (place, one) in self.fills.iter_mut().enumerate() {
                one.learn(tank, visit.day, visit.fill[place], regime.doses[place], filled_l);
            }
        }
        if visit.share <= 0.0 && visit.top_up_l > 0.0 {
            for (place, one) in self.top_ups.iter_mut().enumerate() {
                one.learn(tank, visit.day, visit.top_up[place], regime.doses[place], visit.top_up_l);
            }
        }
    }

    /// How a product is poured at fills, per litre filled.
    pub(super) fn fill_hand(&self, place: usize, tank: usize) -> Hand {
        self.fills[place].hand(tank)
    }

    /// How a product is poured at top-ups, per litre at the aim that a top-up amounts to.
    pub(super) fn top_up_hand(&self, place: usize, tank: usize) -> Hand {
        self.top_ups[place].hand(tank)
    }

    /// Relative spread of one fill.
    pub(super) fn fill_spread(&self, place: usize) -> f64 {
        self.fills[place].on_plan.spread()
    }

    /// Fills and top-ups on record in which it was poured, and the ratio of poured to planned at fills.
    pub(super) fn learnt_from(&self, place: usize) -> (usize, usize, Option<f64>) {
        let (fills, top_ups) = (&self.fills[place], &self.top_ups[place]);
        let ratio = (fills.on_plan.pours > 0).then(|| fills.on_plan.value());
        let count = |one: &OfProduct| one.on_plan.pours + one.off_plan.pours;
        (count(fills), count(top_ups), ratio)
    }
}
