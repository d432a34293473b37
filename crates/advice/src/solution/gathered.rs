//! The record of a tank out of what was entered of it.

use chrono::TimeDelta;
use fillmark_domain::entries::{Addition, Poured, Reading, Spot, TankChange};
use fillmark_domain::places::TankId;
use fillmark_domain::{Base, Id};

use super::record::{Event, MIXING, TankRecord, What};

/// What was entered of a tank and stands.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Entered {
    /// Readings.
    pub readings: Vec<(Id<Reading>, Reading)>,
    /// Additions.
    pub additions: Vec<(Id<Addition>, Addition)>,
    /// Tank changes.
    pub changes: Vec<(Id<TankChange>, TankChange)>,
}

impl Entered {
    /// What of it was entered of one tank.
    #[must_use]
    pub fn of(&self, tank: TankId) -> Entered {
        let readings = self.readings.iter().filter(|(_, reading)| reading.spot == Spot::Tank(tank));
        let additions = self.additions.iter().filter(|(_, addition)| addition.tank == tank);
        let changes = self.changes.iter().filter(|(_, change)| change.tank == tank);
        Entered {
            readings: readings.cloned().collect(),
            additions: additions.cloned().collect(),
            changes: changes.cloned().collect(),
        }
    }

    /// In order of time. Readings that were entered with a change were taken once it had mixed, so the change was before.
    pub fn record(&self, fill_mark_l: f64) -> TankRecord {
        let changes = self.changes.iter().map(|(id, change)| change_of(*id, change));
        let additions = self.additions.iter().map(|(id, addition)| addition_of(*id, addition));
        let readings = self.readings.iter().map(|(id, reading)| reading_of(*id, reading));
        let mut events: Vec<Event> = changes.chain(additions).chain(readings).collect();
        events.sort_by_key(|event| event.at);
        TankRecord { fill_mark_l, events }
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

fn addition_of(id: Id<Addition>, addition: &Addition) -> Event {
    let reason = addition.reason;
    let what = match addition.poured {
        Poured::Product { product, amount, base, .. } => {
            What::Poured { id, product, amount: amount.base_units(), liquid: base == Base::Volume, reason }
        }
        Poured::Water { litres } => What::Watered { id, litres, reason },
    };
    let mixed = if addition.change.is_some() { MIXING } else { TimeDelta::zero() };
    Event { at: addition.recorded_at - mixed, what }
}

fn reading_of(id: Id<Reading>, reading: &Reading) -> Event {
    let what = What::Read {
        id,
        metric: reading.metric,
        point: reading.sample_point,
        value: reading.value,
        meter: reading.meter,
    };
    Event { at: reading.taken_at(), what }
}
