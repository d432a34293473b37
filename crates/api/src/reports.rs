//! The report of a room.

mod yields;

use chrono::NaiveDate;
use fillmark_advice::review as answers;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

pub use yields::{ReportComparison, ReportFigure, ReportYield};

use crate::entries::spot_ids;
use crate::{Calibration, Code, Harvest, Instant, Metric, Reading, SamplePoint, TankChange};

/// So many of so many, with the 95 % interval of E. B. Wilson (1927).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReportShare {
    /// Cases that were so.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub hit_count: u64,
    /// All cases.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub case_count: u64,
    /// The share, %; null of no cases.
    #[schema(minimum = 0, maximum = 100)]
    pub percent: Option<f64>,
    /// Lower end of the interval, %.
    #[schema(minimum = 0, maximum = 100)]
    pub low_percent: Option<f64>,
    /// Upper end of the interval, %.
    #[schema(minimum = 0, maximum = 100)]
    pub high_percent: Option<f64>,
}

/// Estimated time in and out of band: linear between readings, a step at an addition or change, nothing across gaps
/// longer than a day and a half.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReportTime {
    /// Share of the known time in band, %; null when nothing is known.
    #[schema(minimum = 0, maximum = 100)]
    pub in_band_percent: Option<f64>,
    /// Hours in band.
    #[schema(minimum = 0, maximum = 1e9)]
    pub in_band_h: f64,
    /// Hours below it.
    #[schema(minimum = 0, maximum = 1e9)]
    pub below_h: f64,
    /// Hours above it.
    #[schema(minimum = 0, maximum = 1e9)]
    pub above_h: f64,
    /// Hours of which readings say nothing.
    #[schema(minimum = 0, maximum = 1e9)]
    pub unknown_h: f64,
    /// Readings behind it.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub reading_count: u64,
}

/// What became of the checks that were due.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReportChecks {
    /// Done in time, of those due.
    pub in_time: ReportShare,
    /// Done after the window.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub late_count: u64,
    /// Not done.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub missed_count: u64,
    /// Excused: not due after all.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub excused_count: u64,
    /// Not settled yet.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub unsettled_count: u64,
}

/// A time out of band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReportExcursion {
    /// Below or above.
    pub side: ExcursionSide,
    /// When it began, on the line between readings.
    pub from_at: Instant,
    /// When it ended, or when it was last known.
    pub until_at: Instant,
    /// Whether readings do not show its end.
    pub open: bool,
    /// The value farthest out, in the metric's canonical unit.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub peak: f64,
    /// How far beyond the edge that was.
    #[schema(minimum = 0, maximum = 1e12)]
    pub depth: f64,
    /// How long it lasted as far as known, h.
    #[schema(minimum = 0, maximum = 1e9)]
    pub duration_h: f64,
    /// Hours from its beginning to the first addition or change before it ended; null when there was none.
    #[schema(minimum = 0, maximum = 1e9)]
    pub corrected_after_h: Option<f64>,
    /// Readings within it.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub reading_count: u64,
}

/// Which side of the band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ExcursionSide {
    /// Below the band.
    Below,
    /// Above the band.
    Above,
}

/// What a metric was at one place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReportSeries {
    /// The tank, or null for the room itself.
    pub tank_id: Option<Uuid>,
    /// The tank's or room's name.
    #[schema(max_length = 120)]
    pub place: String,
    /// Where the samples were taken.
    pub sample_point: SamplePoint,
    /// What was measured.
    pub metric: Metric,
    /// Readings in the band in force when they were taken.
    pub in_band: ReportShare,
    /// Readings below it.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub below_count: u64,
    /// Readings above it.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub above_count: u64,
    /// Estimated time in and out of band.
    pub time: ReportTime,
    /// The times out of band.
    #[schema(max_items = 100000)]
    pub excursions: Vec<ReportExcursion>,
}

/// A check that was late or missed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReportCheck {
    /// The check.
    pub check_id: Uuid,
    /// Its name on the round.
    #[schema(max_length = 120)]
    pub name: String,
    /// When it was due.
    pub due_at: Instant,
    /// What became of it: done (late) or missed.
    #[schema(max_length = 20)]
    pub state: String,
}

/// A room's report over a period: compliance and yield, each figure with its n.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RoomReport {
    /// The room.
    pub room_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub room_name: String,
    /// First local day.
    pub from_on: NaiveDate,
    /// Last local day.
    pub until_on: NaiveDate,
    /// When it was made.
    pub made_at: Instant,
    /// The last entry of the site's journal when it was made: a later correction comes after it.
    pub journal_id: Option<Uuid>,
    /// What became of the checks.
    pub checks: ReportChecks,
    /// Readings in band over all places and metrics.
    pub in_band: ReportShare,
    /// Estimated time in band over all places and metrics.
    pub time: ReportTime,
    /// Tank changes done at most a day after they were due.
    pub changes_on_time: ReportShare,
    /// Readings with a meter in calibration, of those that name a meter.
    pub calibrated: ReportShare,
    /// Readings that say who took them and with which meter.
    pub complete: ReportShare,
    /// Days whose records a supervisor has reviewed with nothing entered or corrected since, of those with records.
    pub reviewed: ReportShare,
    /// The days with records that stand open.
    #[schema(max_items = 1000)]
    pub unreviewed_on: Vec<NaiveDate>,
    /// Place by place and metric by metric.
    #[schema(max_items = 1000)]
    pub series: Vec<ReportSeries>,
    /// Checks that were late or missed.
    #[schema(max_items = 100000)]
    pub late_or_missed: Vec<ReportCheck>,
    /// Tank changes done.
    #[schema(max_items = 100000)]
    pub changes: Vec<TankChange>,
    /// Calibrations made at the site.
    #[schema(max_items = 100000)]
    pub calibrations: Vec<Calibration>,
    /// Readings of the period that superseded others.
    #[schema(max_items = 100000)]
    pub corrections: Vec<Reading>,
    /// Harvests from the room.
    #[schema(max_items = 100000)]
    pub harvests: Vec<Harvest>,
    /// The yields of the cycles that were picked, each as a whole, wherever else it stood.
    #[schema(max_items = 1000)]
    pub yields: Vec<ReportYield>,
}

impl ExcursionSide {
    /// Its code, the same in CSV as in JSON.
    pub fn code(self) -> &'static str {
        match self {
            ExcursionSide::Below => "below",
            ExcursionSide::Above => "above",
        }
    }
}

fn hours(minutes: f64) -> f64 {
    (minutes / 60.0 * 100.0).round() / 100.0
}

fn percent(share: f64) -> f64 {
    (share * 10_000.0).round() / 100.0
}

impl From<answers::Share> for ReportShare {
    fn from(share: answers::Share) -> Self {
        let interval = share.interval();
        Self {
            hit_count: share.hits as u64,
            case_count: share.n as u64,
            percent: share.value().map(percent),
            low_percent: interval.map(|interval| percent(interval.low)),
            high_percent: interval.map(|interval| percent(interval.high)),
        }
    }
}

impl From<answers::TimeInBand> for ReportTime {
    fn from(time: answers::TimeInBand) -> Self {
        Self {
            in_band_percent: time.share().map(percent),
            in_band_h: hours(time.in_min),
            below_h: hours(time.low_min),
            above_h: hours(time.high_min),
            unknown_h: hours(time.unknown_min.max(0.0)),
            reading_count: time.n as u64,
        }
    }
}

impl From<answers::Punctuality> for ReportChecks {
    fn from(checks: answers::Punctuality) -> Self {
        Self {
            in_time: checks.share().into(),
            late_count: checks.late as u64,
            missed_count: checks.missed as u64,
            excused_count: checks.excused as u64,
            unsettled_count: checks.unsettled as u64,
        }
    }
}

impl From<&answers::Excursion> for ReportExcursion {
    fn from(out: &answers::Excursion) -> Self {
        Self {
            side: match out.side {
                answers::Side::Low => ExcursionSide::Below,
                answers::Side::High => ExcursionSide::Above,
            },
            from_at: out.from.into(),
            until_at: out.until.into(),
            open: out.open,
            peak: out.peak,
            depth: out.depth,
            duration_h: hours(out.minutes),
            corrected_after_h: out.corrected_after_min.map(hours),
            reading_count: out.n as u64,
        }
    }
}

impl ReportSeries {
    /// A series under the name of its place.
    pub fn of(series: &answers::Series, place: String) -> Self {
        Self {
            tank_id: spot_ids(series.spot).0,
            place,
            sample_point: Code(series.sample_point),
            metric: Code(series.metric),
            in_band: series.readings.share.into(),
            below_count: series.readings.low as u64,
            above_count: series.readings.high as u64,
            time: series.time.into(),
            excursions: series.excursions.iter().map(ReportExcursion::from).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_side_has_one_code_in_every_format() {
        for side in [ExcursionSide::Below, ExcursionSide::Above] {
            assert_eq!(serde_json::to_value(side).unwrap(), side.code());
        }
    }
}
