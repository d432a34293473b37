//! The record of a tank out of what was entered of it.

use chrono::TimeDelta;
use fillmark_domain::entries::{Measured, SeenAddition, SeenReading, TankChange};
use fillmark_domain::{Base, Id, Metric};

use super::record::{Event, MIXING, TankRecord, What};

/// What was entered of a tank and stands.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Entered {
    /// Readings.
    pub readings: Vec<SeenReading>,
    /// Additions.
    pub additions: Vec<SeenAddition>,
    /// Tank changes.
    pub changes: Vec<(Id<TankChange>, TankChange)>,
}

impl Entered {
    /// In order of time. Readings that were entered with a change were taken once it had mixed, so the change was before.
    pub fn record(&self, fill_mark_l: f64) -> TankRecord {
        let changes = self.changes.iter().map(|(id, change)| change_of(*id, change));
        let additions = self.additions.iter().map(addition_of);
        let readings = self.readings.iter().map(reading_of);
        let unmoved = |event: &Event| !self.is_of_what_was_drained(event);
        let mut events: Vec<Event> = changes.chain(additions).chain(readings.filter(unmoved)).collect();
        events.sort_by_key(|event| event.at);
        TankRecord { fill_mark_l, events }
    }
}

impl Entered {
    /// Whether somebody read the gauge just before a change, which stands earlier in the record than it was entered.
    fn is_of_what_was_drained(&self, event: &Event) -> bool {
        let just_before =
            |change: &TankChange| change.recorded_at - MIXING <= event.at && event.at < change.recorded_at;
        let gauge = matches!(event.what, What::Read { metric: Metric::Volume, .. });
        gauge && self.changes.iter().any(|(_, change)| just_before(change))
    }
}

fn change_of(id: Id<TankChange>, change: &TankChange) -> Event {
    let what = What::Changed {
        id,
        fraction: change.fraction,
        drained_l: change.drained_l,
        water_in_l: change.water_in_l,
    };
    Event { at: change.recorded_at - MIXING, what }
}

fn addition_of(addition: &SeenAddition) -> Event {
    let (id, reason) = (addition.id, addition.reason);
    let what = match addition.poured {
        Measured::Product { product, amount, base } => {
            What::Poured { id, product, amount: amount.base_units(), liquid: base == Base::Volume, reason }
        }
        Measured::Water { litres } => What::Watered { id, litres, reason },
    };
    let mixed = if addition.with_change { MIXING } else { TimeDelta::zero() };
    Event { at: addition.recorded_at - mixed, what }
}

fn reading_of(reading: &SeenReading) -> Event {
    let what = What::Read {
        id: reading.id,
        metric: reading.metric,
        point: reading.sample_point,
        value: reading.value,
        meter: reading.meter,
    };
    Event { at: reading.taken_at, what }
}

#[cfg(test)]
mod tests {
    use chrono::{DateTime, Utc};
    use fillmark_domain::entries::SamplePoint;
    use uuid::Uuid;

    use super::*;
    use crate::solution::record::testing::day;

    fn reading(id: u128, at: DateTime<Utc>, metric: Metric, value: f64) -> SeenReading {
        let id = Id::new(Uuid::from_u128(id));
        SeenReading { id, metric, sample_point: SamplePoint::Tank, value, meter: None, taken_at: at }
    }

    fn change(id: u128, at: DateTime<Utc>) -> (Id<TankChange>, TankChange) {
        let change = TankChange {
            client_id: Uuid::from_u128(id),
            tank: Id::new(Uuid::from_u128(1)),
            fraction: 1.0,
            drained_l: 150.0,
            drained_to: None,
            water_in_l: 199.0,
            due_on: None,
            recorded_at: at,
            received_at: at,
            done_by: None,
            entered_by: None,
            reverses: None,
            reversed: None,
        };
        (Id::new(Uuid::from_u128(id)), change)
    }

    #[test]
    fn readings_entered_with_a_change_come_mixed_after_it_and_the_gauge_before_it_is_left_out() {
        let minute = |minute| day(0) + TimeDelta::minutes(minute);
        let entered = Entered {
            readings: vec![
                reading(2, minute(-10), Metric::Volume, 150.0),
                reading(3, minute(0), Metric::Ec, 1.4),
            ],
            additions: Vec::new(),
            changes: vec![change(4, minute(0))],
        };
        let record = entered.record(200.0);
        assert!(matches!(record.events[0].what, What::Changed { .. }), "{record:?}");
        let [_, read] = record.events[..] else { panic!("{record:?}") };
        assert_eq!((read.at, read.at - record.events[0].at), (minute(0), MIXING));
        assert!((record.litres_before(minute(1)).litres - 200.0).abs() < 1e-9);
    }
}
