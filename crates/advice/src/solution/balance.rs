//! What left a tank between two of its states: water by the gauge, nutrient by the conductivity.
//!
//! A state is a reading of the EC at a time when the litres were known. Water and nutrient are each a sum of what was there,
//! what came and what is left; what does not come out is what the plants took, or what evaporated or leaked.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::entries::{Addition, AdditionReason, Expectation, Reading, SamplePoint};
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Id, Metric};

use super::learnt::Learnt;
use super::level::{Instant, Level, instants};
use super::record::{Litres, READ_TO, READ_TO_EC, TankRecord, What};

/// EC that one mL (or g) of a product in a litre adds, mS/cm, by product.
pub type Rises = BTreeMap<ProductId, Learnt>;

/// A figure that was reckoned from readings, and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reckoned {
    /// The likeliest.
    pub value: f64,
    /// Standard deviation, in the same unit.
    pub spread: f64,
}

/// A tank at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// When.
    pub at: DateTime<Utc>,
    /// How much stood in it.
    pub litres: Litres,
    /// mS/cm at 25 °C.
    pub ec_ms_cm: f64,
    /// The reading that told it.
    pub reading: Id<Reading>,
}

/// From one state to the next, no full change between them.
#[derive(Debug, Clone, PartialEq)]
pub struct Span {
    /// The state before.
    pub from: State,
    /// The state after.
    pub to: State,
    /// Water filled in, L.
    pub water_in_l: f64,
    /// Liquid products poured in, L.
    pub poured_l: f64,
    /// Drained in partial changes, L.
    pub drained_l: f64,
    /// Nutrient that came with products and water less what was drained, mS/cm times L; none where a product's rise is not
    /// known.
    pub brought: Option<Reckoned>,
    /// The additions between.
    pub additions: Vec<Id<Addition>>,
}

/// Litres count as those of the EC reading when they were known so shortly before or after: plants drink less meanwhile than
/// a gauge can show (our own judgement).
const SAME_VISIT: TimeDelta = TimeDelta::hours(2);
/// Standard deviations from the middle of a 90 % interval to its end.
pub(super) const TO_90: f64 = 1.645;

impl Reckoned {
    /// How many standard deviations it lies from nought.
    pub fn sigmas(self) -> f64 {
        if self.value == 0.0 { 0.0 } else { self.value / self.spread }
    }

    /// With the interval that holds it nine times of ten.
    pub fn interval(self) -> Expectation {
        let half = TO_90 * self.spread;
        Expectation { value: self.value, low: self.value - half, high: self.value + half }
    }
}

impl Span {
    /// How long it took, days.
    pub fn days(&self) -> f64 {
        (self.to.at - self.from.at).as_seconds_f64() / 86_400.0
    }

    /// Water that left the tank other than by the drain, L.
    pub fn water_l(&self) -> Reckoned {
        let came = self.water_in_l + self.poured_l - self.drained_l;
        let value = self.from.litres.litres + came - self.to.litres.litres;
        Reckoned { value, spread: self.from.litres.spread_l.hypot(self.to.litres.spread_l) }
    }

    /// Nutrient that left the tank other than by the drain, mS/cm times L.
    pub fn nutrient(&self) -> Option<Reckoned> {
        self.nutrient_beyond(0.0)
    }

    /// Nutrient that left beyond what the water would have taken along at a conductivity, mS/cm times L. The litres tell on
    /// both, so that the spread is not that of a difference of the two.
    pub fn nutrient_beyond(&self, ec_ms_cm: f64) -> Option<Reckoned> {
        let brought = self.brought?;
        let at = |state: State| Reckoned {
            value: state.litres.litres * (state.ec_ms_cm - ec_ms_cm),
            spread: (state.litres.spread_l * (state.ec_ms_cm - ec_ms_cm))
                .hypot(state.litres.litres * state.ec_ms_cm * READ_TO_EC),
        };
        let (from, to) = (at(self.from), at(self.to));
        let moved_l = self.water_in_l + self.poured_l - self.drained_l;
        let value = from.value + brought.value - ec_ms_cm * moved_l - to.value;
        Some(Reckoned { value, spread: from.spread.hypot(to.spread).hypot(brought.spread) })
    }

    /// Mean EC of the tank meanwhile, mS/cm.
    pub fn mean_ec_ms_cm(&self) -> f64 {
        0.5 * (self.from.ec_ms_cm + self.to.ec_ms_cm)
    }
}

/// The spans of a tank, the earliest first. Each full change begins anew. `water_ec_ms_cm` is of the water it is filled with.
pub fn spans(record: &TankRecord, water_ec_ms_cm: f64, rises: &Rises) -> Vec<Span> {
    let mut open: Option<Open> = None;
    let mut found = Vec::new();
    for (state, instant) in visits(record) {
        if let Some(state) = state {
            let next = Open::at(state);
            found.extend(open.replace(next).map(|open| open.closed(state)));
        }
        for what in instant.reads.into_iter().chain(instant.deeds) {
            if matches!(what, What::Changed { fraction, .. } if fraction >= 1.0) {
                open = None;
            }
            if let Some(open) = &mut open {
                open.pass(what, water_ec_ms_cm, rises);
            }
        }
    }
    found
}

/// Spread of a learnt figure, from its interval.
pub(super) fn spread_of(learnt: &Learnt) -> f64 {
    (learnt.high - learnt.low) / (2.0 * TO_90)
}

/// The instants of a record, each with the state that it shows, if any.
fn visits(record: &TankRecord) -> Vec<(Option<State>, Instant)> {
    let mut level = Level::of(record);
    let mut visits = Vec::new();
    for instant in instants(record) {
        let at = instant.at;
        instant.reads.iter().for_each(|what| level.pass(at, *what));
        let state = instant.ec().filter(|_| level.mixed(at)).and_then(|taken| {
            let recent = level.known.is_some_and(|known| at - known <= SAME_VISIT);
            let litres = if recent { Some(level.litres(at)) } else { litres_ahead(record, &instant) };
            Some(State { at, litres: litres?, ec_ms_cm: taken.ec_ms_cm, reading: taken.id })
        });
        instant.deeds.iter().for_each(|what| level.pass(at, *what));
        visits.push((state, instant));
    }
    visits
}

/// Litres of an instant from what comes shortly after it: a gauge read, or a mark filled up to with so much water.
fn litres_ahead(record: &TankRecord, instant: &Instant) -> Option<Litres> {
    let mut came_l = 0.0;
    let later =
        record.events[instant.events..].iter().take_while(|event| event.at - instant.at <= SAME_VISIT);
    for what in instant.deeds.iter().copied().chain(later.map(|event| event.what)) {
        let known_l = match what {
            What::Read { metric: Metric::Volume, point: SamplePoint::Tank, value, .. } => value,
            What::Watered { reason: AdditionReason::TopUp, litres, .. } => record.fill_mark_l - litres,
            What::Changed { .. } => return None,
            What::Watered { litres, .. } => {
                came_l += litres;
                continue;
            }
            What::Poured { amount, liquid: true, .. } => {
                came_l += amount / 1000.0;
                continue;
            }
            What::Read { .. } | What::Poured { .. } => continue,
        };
        let litres = known_l - came_l;
        return (litres > 0.0).then_some(Litres { litres, spread_l: record.fill_mark_l * READ_TO });
    }
    None
}

/// A span that has begun.
struct Open {
    from: State,
    water_in_l: f64,
    poured_l: f64,
    drained_l: f64,
    /// mS/cm times L, and its variance; none once a product's rise is not known.
    brought: Option<(f64, f64)>,
    /// The last EC that was read: what a partial change drains.
    ec_ms_cm: f64,
    additions: Vec<Id<Addition>>,
}

impl Open {
    const fn at(from: State) -> Open {
        Open {
            from,
            water_in_l: 0.0,
            poured_l: 0.0,
            drained_l: 0.0,
            brought: Some((0.0, 0.0)),
            ec_ms_cm: from.ec_ms_cm,
            additions: Vec::new(),
        }
    }

    fn pass(&mut self, what: What, water_ec_ms_cm: f64, rises: &Rises) {
        match what {
            What::Read { metric: Metric::Ec, point: SamplePoint::Tank, value, .. } => self.ec_ms_cm = value,
            What::Read { .. } => {}
            What::Poured { id, product, amount, liquid, .. } => {
                self.poured_l += if liquid { amount / 1000.0 } else { 0.0 };
                self.additions.push(id);
                self.brought = self.brought.zip(rises.get(&product)).map(|((sum, variance), rise)| {
                    (sum + rise.value * amount, variance + (spread_of(rise) * amount).powi(2))
                });
            }
            What::Watered { id, litres, .. } => {
                self.water_in_l += litres;
                self.additions.push(id);
                self.add(water_ec_ms_cm * litres, 0.0);
            }
            What::Changed { drained_l, water_in_l, .. } => {
                self.drained_l += drained_l;
                self.water_in_l += water_in_l;
                let drained = self.ec_ms_cm * drained_l;
                self.add(water_ec_ms_cm * water_in_l - drained, (READ_TO_EC * drained).powi(2));
            }
        }
    }

    fn add(&mut self, more: f64, more_variance: f64) {
        self.brought = self.brought.map(|(sum, variance)| (sum + more, variance + more_variance));
    }

    fn closed(self, to: State) -> Span {
        Span {
            from: self.from,
            to,
            water_in_l: self.water_in_l,
            poured_l: self.poured_l,
            drained_l: self.drained_l,
            brought: self.brought.map(|(value, variance)| Reckoned { value, spread: variance.sqrt() }),
            additions: self.additions,
        }
    }
}

#[cfg(test)]
mod tests;
