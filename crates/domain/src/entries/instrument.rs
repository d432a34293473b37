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
