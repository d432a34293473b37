//! Two meters that do not show the same of one tank.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::entries::{Meter, Reading, SamplePoint};
use fillmark_domain::{Id, Metric};

use crate::solution::learn::READ_TO_PH;
use crate::solution::record::{READ_TO_EC, TankRecord, What};
use crate::solution::uptake::{SURE, median};

/// Read within so long of each other, with nothing done meanwhile, both should show the same (our own judgement).
pub(super) const TOGETHER: TimeDelta = TimeDelta::hours(2);

/// Fewer readings are chance, or one that was mis-keyed (our own judgement).
const ENOUGH: usize = 3;

/// Less apart than this are pens that are as good as they are sold: 2 % of EC and 0.1 of pH are common accuracies (common practice,
/// no source).
const AS_SOLD_EC: f64 = 0.04;
const AS_SOLD_PH: f64 = 0.2;

/// Two meters that are apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Apart {
    /// In what.
    pub metric: Metric,
    /// The one that shows more, and the other.
    pub meters: [Id<Meter>; 2],
    /// By how much it shows more: of EC as a factor, of pH as a difference.
    pub by: f64,
    /// When they were last seen so.
    pub at: DateTime<Utc>,
    /// The readings, those of the first meter beside those of the other.
    pub readings: Vec<[Id<Reading>; 2]>,
}

/// A reading by a known meter.
#[derive(Clone, Copy)]
struct Read {
    at: DateTime<Utc>,
    id: Id<Reading>,
    meter: Id<Meter>,
    value: f64,
}

/// Two readings of one tank together.
#[derive(Clone, Copy)]
struct Both {
    at: DateTime<Utc>,
    readings: [Id<Reading>; 2],
    /// The meter of the second reading, and of the first, with what they showed.
    meters: [Id<Meter>; 2],
    values: [f64; 2],
    /// How much more the first shows: of EC the logarithm of their ratio.
    by: f64,
}

/// The last two readings of a tank, by two meters that show different things of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LastApart {
    /// In what.
    pub metric: Metric,
    /// The last meter, and the one before.
    pub meters: [Id<Meter>; 2],
    /// What they showed, in the metric's canonical unit.
    pub values: [f64; 2],
}

/// Whether the last reading of EC or pH up to an instant and one by another meter shortly before it, with nothing done in between,
/// show different things, beyond what reading tells and how good pens are.
pub fn last_apart(record: &TankRecord, metric: Metric, at: DateTime<Utc>) -> Option<LastApart> {
    let (read_to, as_sold) =
        if metric == Metric::Ph { (READ_TO_PH, AS_SOLD_PH) } else { (READ_TO_EC, AS_SOLD_EC) };
    let pairs = together(record, metric).into_values().flatten();
    let last = pairs.filter(|pair| pair.at <= at).max_by_key(|pair| pair.at).filter(|pair| pair.at == at)?;
    let far = last.by.abs() > as_sold + SURE * read_to * std::f64::consts::SQRT_2;
    far.then_some(LastApart { metric, meters: last.meters, values: last.values })
}

/// The pairs of meters of which one shows more of EC or pH than the other, read together in this tank, beyond what reading tells.
pub fn apart(record: &TankRecord) -> Vec<Apart> {
    let both = [(Metric::Ec, READ_TO_EC, AS_SOLD_EC), (Metric::Ph, READ_TO_PH, AS_SOLD_PH)];
    let found = both.into_iter().flat_map(|(metric, read_to, as_sold)| {
        let pairs = together(record, metric).into_iter();
        pairs.filter_map(move |(meters, pairs)| judged(metric, meters, &pairs, (read_to, as_sold)))
    });
    found.collect()
}

/// Readings by two meters, one soon after the other and nothing in between, by the meters.
fn together(record: &TankRecord, wanted: Metric) -> BTreeMap<[Id<Meter>; 2], Vec<Both>> {
    let mut last: Option<Read> = None;
    let mut found: BTreeMap<[Id<Meter>; 2], Vec<Both>> = BTreeMap::new();
    for event in &record.events {
        let now = match event.what {
            What::Read { id, metric, point: SamplePoint::Tank, value, meter: Some(meter) }
                if metric == wanted && value > 0.0 =>
            {
                Read { at: event.at, id, meter, value }
            }
            What::Read { .. } => continue,
            What::Poured { .. } | What::Watered { .. } | What::Changed { .. } => {
                last = None;
                continue;
            }
        };
        if let Some(before) = last.filter(|last| last.meter != now.meter && now.at - last.at <= TOGETHER) {
            let (one, other) = if before.meter < now.meter { (before, now) } else { (now, before) };
            let by = match wanted {
                Metric::Ph => one.value - other.value,
                _ => (one.value / other.value).ln(),
            };
            let both = Both {
                at: now.at,
                readings: [one.id, other.id],
                meters: [now.meter, before.meter],
                values: [now.value, before.value],
                by,
            };
            found.entry([one.meter, other.meter]).or_default().push(both);
        }
        last = Some(now);
    }
    found
}

/// By the median, that one mis-keyed reading does not move; its standard deviation is that of a normal sample's.
fn judged(
    metric: Metric,
    meters: [Id<Meter>; 2],
    pairs: &[Both],
    (read_to, as_sold): (f64, f64),
) -> Option<Apart> {
    let last = pairs.last().filter(|_| pairs.len() >= ENOUGH)?;
    let middle = median(pairs.iter().map(|pair| pair.by).collect())?;
    let spread = read_to * std::f64::consts::SQRT_2;
    let spread = spread * (std::f64::consts::FRAC_PI_2 / pairs.len() as f64).sqrt();
    if middle.abs() <= as_sold + SURE * spread {
        return None;
    }
    let (mut meters, mut readings) = (meters, pairs.iter().map(|pair| pair.readings).collect::<Vec<_>>());
    if middle < 0.0 {
        meters.reverse();
        readings.iter_mut().for_each(|both| both.reverse());
    }
    let by = if metric == Metric::Ph { middle.abs() } else { middle.abs().exp() };
    Some(Apart { metric, meters, by, at: last.at, readings })
}

#[cfg(test)]
mod tests {
    use fillmark_domain::entries::AdditionReason;
    use uuid::Uuid;

    use super::*;
    use crate::solution::record::Event;
    use crate::solution::record::testing::{day, watered};

    fn by(meter: u128, id: u128, at: DateTime<Utc>, metric: Metric, value: f64) -> Event {
        let (id, meter) = (Id::new(Uuid::from_u128(id)), Some(Id::new(Uuid::from_u128(meter))));
        Event { at, what: What::Read { id, metric, point: SamplePoint::Tank, value, meter } }
    }

    /// On each of some days one meter, and after a while, with something between or not, the other.
    fn read(days: i64, metric: Metric, values: [f64; 2], after: TimeDelta, between: bool) -> Vec<Apart> {
        let mut events = Vec::new();
        for n in 0..days {
            let id = 10 * n as u128;
            events.push(by(1, id + 1, day(n), metric, values[0]));
            if between {
                events.push(watered(id + 2, day(n) + after / 2, 10.0, AdditionReason::TopUp));
            }
            events.push(by(2, id + 3, day(n) + after, metric, values[1]));
        }
        apart(&TankRecord { fill_mark_l: 200.0, events })
    }

    #[test]
    fn meters_that_show_different_things_of_one_tank_are_told() {
        let minutes = TimeDelta::minutes(20);
        let found = read(3, Metric::Ec, [1.6, 1.9], minutes, false);
        let [of_ec] = &found[..] else { panic!("{found:?}") };
        assert_eq!(of_ec.meters.map(|meter| meter.uuid().as_u128()), [2, 1], "the second shows more");
        assert!((of_ec.by - 1.9 / 1.6).abs() < 1e-12 && of_ec.readings.len() == 3, "{of_ec:?}");
        let told = of_ec.told(|meter| format!("Pen {}", meter.uuid().as_u128()));
        assert!(
            told.starts_with("Pen 2 shows 19 % more EC than Pen 1 in the same tank, by 3 pairs"),
            "{told}"
        );
        let of_ph = read(4, Metric::Ph, [6.4, 5.9], minutes, false).remove(0);
        assert!(of_ph.told(|_| "A".into()).starts_with("A shows a pH 0.50 above that of A"), "{of_ph:?}");
    }

    #[test]
    fn the_last_two_readings_are_told_where_they_differ() {
        let record = |values: [f64; 2], meters: [u128; 2]| TankRecord {
            fill_mark_l: 200.0,
            events: vec![
                by(meters[0], 1, day(0), Metric::Ph, values[0]),
                by(meters[1], 2, day(0) + TimeDelta::minutes(3), Metric::Ph, values[1]),
            ],
        };
        let last = |record: &TankRecord| last_apart(record, Metric::Ph, day(0) + TimeDelta::minutes(3));
        let told = last(&record([6.1, 6.6], [1, 2])).unwrap().told("Red", "Blue");
        assert!(told.starts_with("Red shows pH 6.60 where Blue showed pH 6.10"), "{told}");
        assert_eq!(last(&record([6.1, 6.3], [1, 2])), None, "as good as pens are sold");
        assert_eq!(last(&record([6.1, 6.6], [1, 1])), None, "one meter");
    }

    #[test]
    fn what_is_chance_or_no_comparison_is_not() {
        let minutes = TimeDelta::minutes(20);
        assert_eq!(read(2, Metric::Ec, [1.6, 1.9], minutes, false), [], "twice may be mis-keyed");
        assert_eq!(read(9, Metric::Ec, [1.60, 1.65], minutes, false), [], "as good as pens are sold");
        assert_eq!(read(9, Metric::Ec, [1.6, 1.9], TimeDelta::hours(5), false), [], "plants were at it");
        assert_eq!(read(9, Metric::Ec, [1.6, 1.9], minutes, true), [], "something was poured between");
    }
}
