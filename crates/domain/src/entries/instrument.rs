//! Meters and their calibrations.

use chrono::{DateTime, NaiveDate, Utc};

use crate::code::coded;
use crate::people::PersonId;
use crate::{Id, Metric};

coded! {
    /// What a meter measures.
    MeterKind {
        /// A pH electrode.
        Ph = "ph",
        /// A conductivity cell.
        Ec = "ec",
        /// Both in one.
        PhAndEc = "ph_and_ec",
        /// Anything else.
        Other = "other",
    }
}

impl MeterKind {
    /// Whether a meter of this kind can have shown a metric. Electrodes and cells measure the temperature that they
    /// compensate for.
    pub fn measures(self, metric: Metric) -> bool {
        match self {
            MeterKind::Ph => matches!(metric, Metric::Ph | Metric::SolutionTemperature),
            MeterKind::Ec => matches!(metric, Metric::Ec | Metric::SolutionTemperature),
            MeterKind::PhAndEc => matches!(metric, Metric::Ph | Metric::Ec | Metric::SolutionTemperature),
            MeterKind::Other => true,
        }
    }
}

/// An instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct Meter {
    /// Unique in the site.
    pub name: String,
    /// What it measures.
    pub kind: MeterKind,
    /// Serial number.
    pub serial: Option<String>,
    /// Days between calibrations.
    pub calibrate_every_days: Option<u32>,
}

/// One calibration of a meter.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// The meter.
    pub meter: Id<Meter>,
    /// When.
    pub calibrated_at: DateTime<Utc>,
    /// Who.
    pub done_by: Option<PersonId>,
    /// The buffers or standards used, in the grower's words ("pH 4.01 and 7.00", "1413 µS/cm").
    pub standards: String,
    /// Slope, % of the theoretical one (pH) or of the nominal cell constant (EC).
    pub slope_percent: Option<f64>,
    /// Offset, mV (pH) or mS/cm (EC).
    pub offset: Option<f64>,
    /// Whether the meter may be used.
    pub passed: bool,
    /// When the next is due.
    pub next_due_on: Option<NaiveDate>,
}

/// What a meter's calibrations say of it at an instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MeterStanding {
    /// The last one was passed, and the next is not due yet.
    InCalibration,
    /// There is none.
    NeverCalibrated,
    /// The last one was not passed.
    Failed {
        /// When it was made.
        at: DateTime<Utc>,
    },
    /// The last one was passed, and the next should have been made.
    Overdue {
        /// On which day.
        since: NaiveDate,
    },
}

impl MeterStanding {
    /// Whether what it shows may be gone by, as far as anybody knows.
    pub const fn may_be_used(self) -> bool {
        matches!(self, MeterStanding::InCalibration | MeterStanding::NeverCalibrated)
    }

    /// Of a meter at an instant, which falls on this day of the site, by the site's calibrations in the order they were made. A meter
    /// is in calibration to the end of the day on which it is due again.
    pub fn of<'a>(
        meter: Id<Meter>,
        (at, day): (DateTime<Utc>, NaiveDate),
        calibrations: impl DoubleEndedIterator<Item = &'a Calibration>,
    ) -> MeterStanding {
        let last = calibrations.rev().find(|one| one.meter == meter && one.calibrated_at <= at);
        match last {
            None => MeterStanding::NeverCalibrated,
            Some(last) if !last.passed => MeterStanding::Failed { at: last.calibrated_at },
            Some(Calibration { next_due_on: Some(due), .. }) if day > *due => {
                MeterStanding::Overdue { since: *due }
            }
            Some(_) => MeterStanding::InCalibration,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_meter_shows_what_it_was_made_for() {
        let check = |kind: MeterKind, metrics: [bool; 4]| {
            let asked = [Metric::Ph, Metric::Ec, Metric::SolutionTemperature, Metric::Co2];
            assert_eq!(asked.map(|metric| kind.measures(metric)), metrics, "{kind:?}");
        };
        check(MeterKind::Ph, [true, false, true, false]);
        check(MeterKind::Ec, [false, true, true, false]);
        check(MeterKind::PhAndEc, [true, true, true, false]);
        check(MeterKind::Other, [true; 4]);
    }
}
