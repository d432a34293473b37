//! Additions with a reading before and one after.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::entries::{Addition, Meter, SamplePoint};
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Id, Metric};

use crate::solution::record::{Event, LARGEST_DOSE, Litres, MIXING, TankRecord, What};

/// What was poured between two readings, and what they showed.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// The reading before.
    pub before: Taken,
    /// The reading after.
    pub after: Taken,
    /// How much stood in the tank at the reading before.
    pub litres: Litres,
    /// Water filled in between, L.
    pub water_l: f64,
    /// What was poured in between; at least one.
    pub poured: Vec<Dose>,
}

/// A reading of the pair's metric.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Taken {
    /// When.
    pub at: DateTime<Utc>,
    /// In the metric's canonical unit.
    pub value: f64,
}

/// So much of a product.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dose {
    /// Which addition.
    pub id: Id<Addition>,
    /// When.
    pub at: DateTime<Utc>,
    /// Which product.
    pub product: ProductId,
    /// mL or g, by the product.
    pub amount: f64,
    /// L that it takes; none of a dry product.
    pub litres: f64,
}

impl Pair {
    /// How much stood in the tank at the reading after, L.
    pub fn litres_after(&self) -> f64 {
        self.litres.litres + self.water_l + self.poured.iter().map(|dose| dose.litres).sum::<f64>()
    }

    /// From reading to reading, days.
    pub(super) fn days(&self) -> f64 {
        (self.after.at - self.before.at).as_seconds_f64() / 86_400.0
    }

    /// By what pairs are put in order, whichever tank they are of.
    pub(super) fn order(&self) -> (DateTime<Utc>, DateTime<Utc>, Option<Id<Addition>>) {
        (self.before.at, self.after.at, self.poured.first().map(|dose| dose.id))
    }
}

/// From reading to reading plants change the solution too; beyond this what they did is no longer small beside a dose
/// (our own judgement).
pub const LONGEST: TimeDelta = TimeDelta::hours(6);
/// A gauge that shows this much above the mark, or a mark this much passed, is a slip: tanks have little room above it (our
/// own judgement).
const FULLEST: f64 = 1.3;

/// So many times what is usual for a litre is no generous dose any more, and a thousandfold slip lies far beyond it: the same
/// bound as for what is used.
const UNUSUAL: f64 = 50.0;
/// Fewer doses have no usual one.
const USUAL_OF: usize = 3;

/// Pairs without those in which something was entered in another unit: too large by a thousand they would be far off
/// whatever is fitted, but too small they hide among small doses and lend their effect to what was poured with them. In
/// order of time.
pub(super) fn without_slips(pairs: &[Pair]) -> Vec<&Pair> {
    let mut per_litre: BTreeMap<ProductId, Vec<f64>> = BTreeMap::new();
    for pair in pairs {
        for dose in &pair.poured {
            per_litre.entry(dose.product).or_default().push(dose.amount / pair.litres.litres);
        }
    }
    per_litre.values_mut().for_each(|doses| doses.sort_by(f64::total_cmp));
    let is_usual = |pair: &Pair, dose: &Dose| {
        let doses = &per_litre[&dose.product];
        let times = dose.amount / pair.litres.litres / doses[doses.len() / 2];
        doses.len() < USUAL_OF || (1.0 / UNUSUAL..=UNUSUAL).contains(&times)
    };
    let mut usual: Vec<&Pair> =
        pairs.iter().filter(|pair| pair.poured.iter().all(|dose| is_usual(pair, dose))).collect();
    usual.sort_by_key(|pair| pair.order());
    usual
}

/// The additions to a tank that have a reading of a metric before and after, the earliest first. Left out are those that
/// were read before they had mixed or too late, those with a change of the solution, water of unknown amount or another
/// meter in between, and those that the tank cannot have held.
pub fn pairs(record: &TankRecord, metric: Metric) -> Vec<Pair> {
    watched(record, metric, None)
}

/// The same where the water's EC is known: a full change is a reading of that, so that who only fills learns too.
pub fn pairs_in_water(record: &TankRecord, metric: Metric, water_ec_ms_cm: Option<f64>) -> Vec<Pair> {
    watched(record, metric, water_ec_ms_cm.filter(|_| metric == Metric::Ec))
}

fn watched(record: &TankRecord, metric: Metric, water_ec_ms_cm: Option<f64>) -> Vec<Pair> {
    let mut watch = Watch { metric, mark_l: record.fill_mark_l, water_ec_ms_cm, stirred: None, open: None };
    let levels = record.litres_before_each();
    let mut levels = levels.iter();
    let mut found = Vec::new();
    for instant in record.events.chunk_by(|one, next| one.at == next.at) {
        // All levels of an instant are the same. Who reads and pours in the same minute reads first.
        let level = levels.by_ref().take(instant.len()).last();
        if let (Some(level), Some(reading)) = (level, watch.reading_of(instant)) {
            found.extend(watch.read(reading, *level));
        }
        instant.iter().for_each(|event| watch.stir(event));
    }
    found
}

/// What is kept in mind while going through the records.
struct Watch {
    metric: Metric,
    mark_l: f64,
    /// What a full change is a reading of, mS/cm; none where it is none.
    water_ec_ms_cm: Option<f64>,
    /// When something was poured, filled in or changed last.
    stirred: Option<DateTime<Utc>>,
    open: Option<Open>,
}

/// What happened since a reading.
struct Open {
    before: Reading,
    /// Whether it was filled afresh and not read.
    is_fresh: bool,
    water_l: f64,
    poured: Vec<Dose>,
}

#[derive(Clone, Copy)]
struct Reading {
    taken: Taken,
    meter: Option<Id<Meter>>,
}

impl Watch {
    /// The reading of an instant; of several the one that was entered last.
    fn reading_of(&self, instant: &[Event]) -> Option<Reading> {
        let readings = instant.iter().filter_map(|event| match event.what {
            What::Read { id, metric, point: SamplePoint::Tank, value, meter }
                if metric == self.metric && value.is_finite() =>
            {
                Some((id, Reading { taken: Taken { at: event.at, value }, meter }))
            }
            _ => None,
        });
        readings.max_by_key(|(id, _)| *id).map(|(_, reading)| reading)
    }

    /// A reading ends what is open, when all had time to mix, and begins the next.
    fn read(&mut self, reading: Reading, level: Litres) -> Option<Pair> {
        if self.stirred.is_some_and(|stirred| reading.taken.at - stirred < MIXING) {
            return None;
        }
        let open = self.open.replace(Open::at(reading, false))?;
        open.closed(reading, level, FULLEST * self.mark_l)
    }

    fn stir(&mut self, event: &Event) {
        match event.what {
            What::Read { .. } => return,
            What::Poured { amount, liquid: true, .. } if amount / 1000.0 > LARGEST_DOSE * self.mark_l => {
                self.open = None;
            }
            What::Poured { id, product, amount, liquid, .. } if amount > 0.0 => {
                if let Some(open) = &mut self.open {
                    let litres = if liquid { amount / 1000.0 } else { 0.0 };
                    open.poured.push(Dose { id, at: event.at, product, amount, litres });
                }
            }
            What::Watered { litres, .. } if litres > 0.0 => {
                if let Some(open) = &mut self.open {
                    open.water_l += litres;
                }
            }
            What::Changed { fraction, .. } => {
                let fresh = self.water_ec_ms_cm.filter(|_| fraction >= 1.0);
                let filled = |value| Reading { taken: Taken { at: event.at, value }, meter: None };
                self.open = fresh.map(|value| Open::at(filled(value), true));
            }
            What::Poured { .. } | What::Watered { .. } => self.open = None,
        }
        self.stirred = Some(event.at);
    }
}

impl Open {
    const fn at(before: Reading, is_fresh: bool) -> Open {
        Open { before, is_fresh, water_l: 0.0, poured: Vec::new() }
    }

    /// What stood in the tank is reckoned from its end, where a top-up has settled it.
    fn closed(mut self, after: Reading, level: Litres, fullest_l: f64) -> Option<Pair> {
        let same_meter = self.is_fresh || self.before.meter == after.meter;
        let in_time = after.taken.at - self.before.taken.at <= LONGEST;
        if self.poured.is_empty() || !same_meter || !in_time {
            return None;
        }
        self.poured.sort_by_key(|dose| (dose.at, dose.id));
        let poured_l: f64 = self.poured.iter().map(|dose| dose.litres).sum();
        let litres = Litres { litres: level.litres - self.water_l - poured_l, ..level };
        let held = litres.litres > 0.0 && level.litres <= fullest_l;
        held.then_some(Pair {
            before: self.before.taken,
            after: after.taken,
            litres,
            water_l: self.water_l,
            poured: self.poured,
        })
    }
}
