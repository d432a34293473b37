//! What is on record of one tank, in order of time: what the advice for it learns from.

use std::borrow::Cow;
use std::collections::HashSet;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::entries::{Addition, AdditionReason, Meter, Reading, SamplePoint, TankChange};
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Id, Metric};

use super::level::Level;

/// A tank's records. What was superseded or taken back is left out of them.
#[derive(Debug, Clone, PartialEq)]
pub struct TankRecord {
    /// Volume at the fill mark, L.
    pub fill_mark_l: f64,
    /// What happened, the earliest first.
    pub events: Vec<Event>,
}

/// Something that happened at a tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Event {
    /// When.
    pub at: DateTime<Utc>,
    /// What.
    pub what: What,
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum What {
    /// Something was measured.
    Read {
        /// Which reading.
        id: Id<Reading>,
        /// Of what.
        metric: Metric,
        /// Where the sample was taken.
        point: SamplePoint,
        /// In the metric's canonical unit.
        value: f64,
        /// With which meter, where known.
        meter: Option<Id<Meter>>,
    },
    /// A product was poured in.
    Poured {
        /// Which addition.
        id: Id<Addition>,
        /// Which product.
        product: ProductId,
        /// mL or g, by the product.
        amount: f64,
        /// Whether it is counted in mL, and so takes room.
        liquid: bool,
        /// Why.
        reason: AdditionReason,
    },
    /// Water was filled in.
    Watered {
        /// Which addition.
        id: Id<Addition>,
        /// L.
        litres: f64,
        /// Why; a top-up ends at the fill mark.
        reason: AdditionReason,
    },
    /// The solution was changed, or a part of it. What was dosed for it stands in additions of its own.
    Changed {
        /// Which change.
        id: Id<TankChange>,
        /// Part drained, above 0 to 1.
        fraction: f64,
        /// L drained.
        drained_l: f64,
        /// L of water filled in.
        water_in_l: f64,
    },
}

/// So many litres, as far as the records tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Litres {
    /// The likeliest.
    pub litres: f64,
    /// Standard deviation, L.
    pub spread_l: f64,
}

/// What was poured is not all over the tank before (common practice, no source).
pub const MIXING: TimeDelta = TimeDelta::minutes(15);

/// A conductivity is read to this part of it (common practice, no source).
pub(super) const READ_TO_EC: f64 = 0.02;

/// Salt that plants take or leave in a day beside what the records tell, as part of what is there (our own judgement).
pub(super) const DRIFT_A_DAY: f64 = 0.05;

/// A dose that takes more than this part of the mark is mis-keyed, and does not raise the level (our own judgement): doses are
/// some mL in a litre.
pub(super) const LARGEST_DOSE: f64 = 0.1;

/// A gauge or a mark is read to this part of the working volume (common practice, no source).
pub(super) const READ_TO: f64 = 0.02;
/// What plants drink in a day, as part of the working volume, is not known better than this before it is measured (common
/// practice, no source).
const DRUNK_A_DAY: f64 = 0.05;
/// Who looks after a tank does not let it run emptier than this part below its mark without filling it up (common practice,
/// no source).
pub(super) const UNKNOWN_AT_MOST: f64 = 0.25;

impl TankRecord {
    /// The products that were poured.
    pub fn poured(&self) -> impl Iterator<Item = ProductId> {
        self.events.iter().filter_map(|event| match event.what {
            What::Poured { product, .. } => Some(product),
            _ => None,
        })
    }

    /// The same without some readings.
    pub fn without(&self, readings: &HashSet<Id<Reading>>) -> Cow<'_, TankRecord> {
        if readings.is_empty() {
            return Cow::Borrowed(self);
        }
        let stays = |event: &&Event| !matches!(event.what, What::Read { id, .. } if readings.contains(&id));
        let events = self.events.iter().filter(stays).copied().collect();
        Cow::Owned(TankRecord { fill_mark_l: self.fill_mark_l, events })
    }

    /// How much stood in the tank at an instant, what happens at that instant left out. Nothing on record: the fill mark,
    /// and little is known of it.
    pub fn litres_before(&self, at: DateTime<Utc>) -> Litres {
        let mut level = Level::of(self);
        for event in self.events.iter().take_while(|event| event.at < at) {
            level.pass(event.at, event.what);
        }
        level.litres(at)
    }

    /// How much stood in the tank before each event, as [`TankRecord::litres_before`] tells it, in one pass over them all.
    pub fn litres_before_each(&self) -> Vec<Litres> {
        let mut level = Level::of(self);
        let mut each = Vec::with_capacity(self.events.len());
        for instant in self.events.chunk_by(|one, next| one.at == next.at) {
            each.resize(each.len() + instant.len(), level.litres(instant[0].at));
            instant.iter().for_each(|event| level.pass(event.at, event.what));
        }
        each
    }

    pub(super) fn after(&self, litres: f64, what: What) -> After {
        match what {
            What::Read { metric: Metric::Volume, point: SamplePoint::Tank, value, .. } => {
                After { litres: value, settles: true }
            }
            What::Watered { reason: AdditionReason::TopUp, .. } => {
                After { litres: self.fill_mark_l, settles: true }
            }
            What::Changed { fraction, .. } if fraction >= 1.0 => {
                After { litres: self.fill_mark_l, settles: true }
            }
            What::Watered { litres: more, .. } => After { litres: litres + more, settles: false },
            What::Changed { drained_l, water_in_l, .. } => {
                After { litres: (litres - drained_l).max(0.0) + water_in_l, settles: false }
            }
            What::Poured { amount, liquid: true, .. }
                if amount / 1000.0 <= LARGEST_DOSE * self.fill_mark_l =>
            {
                After { litres: litres + amount / 1000.0, settles: false }
            }
            What::Read { .. } | What::Poured { .. } => After { litres, settles: false },
        }
    }
}

/// The litres after something happened, and whether they are known from then on.
pub(super) struct After {
    pub(super) litres: f64,
    pub(super) settles: bool,
}

/// What is not known of the litres so long after they were, as part of the working volume.
pub(super) fn drift(since: TimeDelta) -> f64 {
    (DRUNK_A_DAY * since.as_seconds_f64() / 86_400.0).clamp(0.0, UNKNOWN_AT_MOST)
}

#[cfg(test)]
pub(crate) mod testing {
    use uuid::Uuid;

    use super::*;

    /// Noon of a day of the record, counted from 1 March 2026.
    pub(crate) fn day(day: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_772_366_400 + day * 86_400, 0).unwrap()
    }

    /// A reading of the solution in the tank.
    pub(crate) fn read(id: u128, at: DateTime<Utc>, metric: Metric, value: f64) -> Event {
        let id = Id::new(Uuid::from_u128(id));
        Event { at, what: What::Read { id, metric, point: SamplePoint::Tank, value, meter: None } }
    }

    /// mL of a product.
    pub(crate) fn poured(
        id: u128,
        at: DateTime<Utc>,
        product: u128,
        amount: f64,
        reason: AdditionReason,
    ) -> Event {
        let (id, product) = (Id::new(Uuid::from_u128(id)), Id::new(Uuid::from_u128(product)));
        Event { at, what: What::Poured { id, product, amount, liquid: true, reason } }
    }

    /// Water.
    pub(crate) fn watered(id: u128, at: DateTime<Utc>, litres: f64, reason: AdditionReason) -> Event {
        Event { at, what: What::Watered { id: Id::new(Uuid::from_u128(id)), litres, reason } }
    }

    /// A change of the solution.
    pub(crate) fn changed(
        id: u128,
        at: DateTime<Utc>,
        fraction: f64,
        drained_l: f64,
        water_in_l: f64,
    ) -> Event {
        Event {
            at,
            what: What::Changed { id: Id::new(Uuid::from_u128(id)), fraction, drained_l, water_in_l },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::testing::{changed, day, poured, read, watered};
    use super::*;

    #[track_caller]
    fn check(events: Vec<Event>, on: i64, litres: f64, spread_l: f64) {
        let record = TankRecord { fill_mark_l: 200.0, events };
        let got = record.litres_before(day(on));
        assert!((got.litres - litres).abs() < 1e-9 && (got.spread_l - spread_l).abs() < 0.1, "{got:?}");
        let one_by_one: Vec<Litres> =
            record.events.iter().map(|event| record.litres_before(event.at)).collect();
        assert_eq!(record.litres_before_each(), one_by_one);
    }

    #[test]
    fn litres_follow_from_what_is_on_record() {
        check(vec![], 0, 200.0, 50.16);
        check(vec![read(1, day(0), Metric::Volume, 150.0)], 0, 200.0, 50.16);
        check(vec![read(1, day(0), Metric::Volume, 150.0)], 1, 150.0, 10.77);
        let topped = watered(2, day(1), 40.0, AdditionReason::TopUp);
        check(vec![read(1, day(0), Metric::Volume, 150.0), topped], 2, 200.0, 10.77);
        let half = changed(3, day(1), 0.5, 100.0, 90.0);
        check(vec![read(1, day(0), Metric::Volume, 180.0), half], 2, 170.0, 20.4);
        check(vec![changed(3, day(1), 1.0, 190.0, 199.0)], 30, 200.0, 50.16);
        let acid = poured(4, day(0), 9, 500.0, AdditionReason::Ph);
        check(vec![read(1, day(-1), Metric::Volume, 100.0), acid], 1, 100.5, 20.4);
    }
}
