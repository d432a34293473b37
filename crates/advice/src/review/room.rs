//! A room's compliance over a period, put together from its records.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use fillmark_domain::entries::{
    Addition, Calibration, Meter, MeterStanding, Poured, Reading, SamplePoint, Spot, TankChange,
};
use fillmark_domain::work::{Check, Span};
use fillmark_domain::{Band, Id, Metric};

use super::{
    Between, CHANGE_GRACE, ChangeDue, Excursion, InBand, Joining, Point, Punctuality, Share, TimeInBand,
    Trace, changes_on_time, punctuality, readings_in_band,
};

/// What a room's review is made from. Readings, additions and changes are those that stand: what was superseded or
/// taken back is left out.
#[derive(Debug, Clone)]
pub struct RoomRecords {
    /// From when until when.
    pub period: Span,
    /// The site's zone: days such as that of the next calibration are local days.
    pub zone: Tz,
    /// The local day the review is made on.
    pub today: NaiveDate,
    /// Longer between two readings nobody knows what was.
    pub longest_gap: TimeDelta,
    /// Readings of the room and of the tanks that feed it, in the order they were taken.
    pub readings: Vec<Reading>,
    /// What was poured into those tanks.
    pub additions: Vec<Addition>,
    /// Their changes, the last of the period with their days of grace.
    pub changes: Vec<TankChange>,
    /// Their changes that fell due in the period.
    pub changes_due: Vec<ChangeDue>,
    /// The checks that were due in the period.
    pub checks: Vec<Check>,
    /// All calibrations of the site's meters, in the order they were made.
    pub calibrations: Vec<Calibration>,
}

/// What a metric was at one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// Of what.
    pub spot: Spot,
    /// Where the samples were taken.
    pub sample_point: SamplePoint,
    /// What was measured.
    pub metric: Metric,
    /// Readings in and out of the band in force when they were taken.
    pub readings: InBand,
    /// Estimated time in and out of it.
    pub time: TimeInBand,
    /// The times out of it.
    pub excursions: Vec<Excursion>,
}

/// A room's compliance, each figure with its n.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomCompliance {
    /// What became of the checks.
    pub checks: Punctuality,
    /// Readings in band over all series.
    pub in_band: Share,
    /// Estimated time in band over all series.
    pub time: TimeInBand,
    /// Tank changes done in time, of those of which that can be said.
    pub changes_on_time: Share,
    /// Readings taken with a meter whose last calibration was passed and not yet due again, of those that name one.
    pub calibrated: Share,
    /// Readings that say who took them and with which meter.
    pub complete: Share,
    /// Place by place and metric by metric.
    pub series: Vec<Series>,
}

/// A room's compliance over a period.
pub fn room_compliance(records: &RoomRecords) -> RoomCompliance {
    let in_period = |reading: &&Reading| {
        records.period.from <= reading.recorded_at && reading.recorded_at < records.period.until
    };
    let read: Vec<&Reading> = records.readings.iter().filter(in_period).collect();
    let series = series(records);
    RoomCompliance {
        checks: punctuality(&records.checks),
        in_band: Share {
            hits: series.iter().map(|one| one.readings.share.hits).sum(),
            n: series.iter().map(|one| one.readings.share.n).sum(),
        },
        time: series.iter().map(|one| one.time).sum(),
        changes_on_time: changes_on_time(&records.changes_due, CHANGE_GRACE, records.today),
        calibrated: Share::of(read.iter().filter_map(|reading| {
            let meter = reading.meter?;
            Some(in_calibration(records, meter, reading.recorded_at))
        })),
        complete: Share::of(read.iter().map(|reading| reading.done_by.is_some() && reading.meter.is_some())),
        series,
    }
}

fn in_calibration(records: &RoomRecords, meter: Id<Meter>, at: DateTime<Utc>) -> bool {
    let day = at.with_timezone(&records.zone).date_naive();
    MeterStanding::of(meter, (at, day), records.calibrations.iter()) == MeterStanding::InCalibration
}

fn series(records: &RoomRecords) -> Vec<Series> {
    let mut groups: BTreeMap<(Spot, SamplePoint, Metric), Vec<&Reading>> = BTreeMap::new();
    for reading in records.readings.iter().filter(|reading| reading.band.is_some()) {
        groups.entry((reading.spot, reading.sample_point, reading.metric)).or_default().push(reading);
    }
    groups
        .into_iter()
        .map(|((spot, sample_point, metric), readings)| {
            let mut one = Series {
                spot,
                sample_point,
                metric,
                readings: InBand::default(),
                time: TimeInBand::default(),
                excursions: Vec::new(),
            };
            one.look_at(records, &readings);
            one
        })
        .filter(|one| one.readings.share.n > 0)
        .collect()
}

impl Series {
    /// Readings under the same band are looked at together; each such stretch lasts until the next begins.
    fn look_at(&mut self, records: &RoomRecords, readings: &[&Reading]) {
        let steps = self.steps(records);
        let stretches: Vec<&[&Reading]> = readings.chunk_by(|one, next| one.band == next.band).collect();
        for (at, stretch) in stretches.iter().enumerate() {
            let next = stretches.get(at + 1).map(|next| next[0]);
            let begins = if at == 0 { records.period.from } else { stretch[0].recorded_at };
            let ends = next.map_or(records.period.until, |next| next.recorded_at);
            let part = Span::new(begins.max(records.period.from), ends.min(records.period.until));
            if let (Some(band), Ok(part)) = (self.band(stretch[0]), part) {
                self.look_at_stretch(records, stretch, next, &steps, &band, part);
            }
        }
    }

    fn look_at_stretch(
        &mut self,
        records: &RoomRecords,
        stretch: &[&Reading],
        next: Option<&Reading>,
        steps: &[DateTime<Utc>],
        band: &Band,
        part: Span,
    ) {
        let within =
            |reading: &&&Reading| part.from <= reading.recorded_at && reading.recorded_at < part.until;
        self.add(readings_in_band(stretch.iter().filter(within).map(|reading| (reading.value, band))));
        // The line goes on to the first reading under the next band, which belongs to the next stretch.
        let points: Vec<Point> = stretch
            .iter()
            .copied()
            .chain(next)
            .map(|read| Point { at: read.recorded_at, value: read.value })
            .collect();
        let trace = Trace::new(&points, steps, records.longest_gap, Between::Linear);
        self.time = self.time + trace.time_in_band(band, part);
        let out = trace.excursions(band, Joining::default(), steps);
        self.excursions.extend(out.into_iter().filter(|out| out.from < part.until && part.from <= out.until));
    }

    fn add(&mut self, here: InBand) {
        self.readings.share.hits += here.share.hits;
        self.readings.share.n += here.share.n;
        self.readings.low += here.low;
        self.readings.high += here.high;
    }

    fn band(&self, reading: &Reading) -> Option<Band> {
        reading.band.map(|band| Band { metric: self.metric, low: band.low, aim: band.aim, high: band.high })
    }

    /// The instants at which something was done to a tank that moves the metric.
    fn steps(&self, records: &RoomRecords) -> Vec<DateTime<Utc>> {
        let Spot::Tank(tank) = self.spot else { return Vec::new() };
        let poured =
            records.additions.iter().filter(|addition| addition.tank == tank && moves(self.metric, addition));
        let changed =
            records.changes.iter().filter(|change| change.tank == tank && is_of_solution(self.metric));
        poured.map(|addition| addition.recorded_at).chain(changed.map(|change| change.recorded_at)).collect()
    }
}

fn is_of_solution(metric: Metric) -> bool {
    matches!(
        metric,
        Metric::Ec | Metric::Ph | Metric::Volume | Metric::SolutionTemperature | Metric::DissolvedOxygen
    )
}

/// Water moves strength, pH and volume; product moves strength and pH.
fn moves(metric: Metric, addition: &Addition) -> bool {
    match addition.poured {
        Poured::Water { .. } => is_of_solution(metric),
        Poured::Product { .. } => matches!(metric, Metric::Ec | Metric::Ph),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use fillmark_domain::Quantity;
    use uuid::Uuid;

    fn instant(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn meter() -> Id<Meter> {
        Id::new(Uuid::from_u128(1))
    }

    fn reading(at: &str) -> Reading {
        Reading {
            client_id: Uuid::nil(),
            spot: Spot::Tank(Id::new(Uuid::from_u128(2))),
            sample_point: SamplePoint::Tank,
            metric: Metric::Ph,
            entered: Quantity::new(6.0, Metric::Ph.unit()),
            value: 6.0,
            compensation: None,
            meter: Some(meter()),
            change: None,
            recorded_at: instant(at),
            received_at: instant(at),
            clock_offset_ms: None,
            clock_suspect: false,
            done_by: None,
            entered_by: None,
            entered_with: None,
            band: None,
            superseded: None,
            supersedes: None,
        }
    }

    fn calibration(at: &str, next_due_on: &str) -> Calibration {
        Calibration {
            meter: meter(),
            calibrated_at: instant(at),
            standards: "pH 4.01 and 7.00".into(),
            slope_percent: None,
            offset: None,
            passed: true,
            next_due_on: Some(next_due_on.parse().unwrap()),
            done_by: None,
        }
    }

    /// Whether a reading counts as taken with a meter that is due again on 10 March.
    #[track_caller]
    fn check(zone: Tz, read_at: &str, hits: usize) {
        let period = Span::new(instant("2027-03-01T00:00:00Z"), instant("2027-04-01T00:00:00Z"));
        let found = room_compliance(&RoomRecords {
            period: period.unwrap(),
            zone,
            today: "2027-04-02".parse().unwrap(),
            longest_gap: TimeDelta::hours(36),
            readings: vec![reading(read_at)],
            additions: Vec::new(),
            changes: Vec::new(),
            changes_due: Vec::new(),
            checks: Vec::new(),
            calibrations: vec![calibration("2027-02-10T08:00:00Z", "2027-03-10")],
        });
        assert_eq!(found.calibrated, Share { hits, n: 1 });
    }

    #[test]
    fn a_meter_is_in_calibration_to_the_end_of_the_local_day_it_is_due_on() {
        check(chrono_tz::UTC, "2027-03-10T23:30:00Z", 1);
        check(chrono_tz::UTC, "2027-03-11T00:00:00Z", 0);
        // Half past midnight of the 11th in Berlin, seven in the evening of the 10th in Chicago.
        check(chrono_tz::Europe::Berlin, "2027-03-10T23:30:00Z", 0);
        check(chrono_tz::America::Chicago, "2027-03-11T01:00:00Z", 1);
    }
}
