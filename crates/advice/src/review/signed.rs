//! Which days were reviewed, and which stand open: with nothing signed, or with something entered since.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use fillmark_domain::entries::{Calibration, Meter, Reading};
use fillmark_domain::work::Review;
use fillmark_domain::{Days, Id, Kept};

use super::Share;

/// What changed what is on record of a local day: a record that was made or settled, or one that went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Touch {
    /// The day.
    pub day: NaiveDate,
    /// When the server got it.
    pub at: DateTime<Utc>,
    /// Whether it is a record that stands. What was corrected or taken back changed the day, and is none of its records.
    pub stands: bool,
}

/// How a day stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DayStanding {
    /// Nothing was ever recorded of it.
    Empty,
    /// It has not been reviewed.
    Open,
    /// Something was entered, corrected or taken back after its review.
    Reopened,
    /// It has been reviewed, and nothing came after.
    Reviewed,
}

/// A day's records and its last review.
#[derive(Debug, Clone, PartialEq)]
pub struct DayReviewed {
    /// The day.
    pub day: NaiveDate,
    /// How many records it has that stand.
    pub records: usize,
    /// When the last record came in, or was corrected or taken back.
    pub last_at: Option<DateTime<Utc>>,
    /// The last review.
    pub review: Option<Review>,
}

impl DayReviewed {
    /// How it stands.
    pub fn standing(&self) -> DayStanding {
        match (self.last_at, &self.review) {
            (None, _) => DayStanding::Empty,
            (Some(_), None) => DayStanding::Open,
            (Some(last_at), Some(review)) if review.reviewed_at < last_at => DayStanding::Reopened,
            (Some(_), Some(_)) => DayStanding::Reviewed,
        }
    }
}

/// Each day of a period with its records and its last review; reviews of other places are left out before.
pub fn days_reviewed(days: Days, touches: &[Touch], reviews: &[Review]) -> Vec<DayReviewed> {
    let mut touched: BTreeMap<NaiveDate, Vec<Touch>> = BTreeMap::new();
    for touch in touches {
        touched.entry(touch.day).or_default().push(*touch);
    }
    let of_day = |day| {
        let touches = touched.get(&day).map(Vec::as_slice).unwrap_or_default();
        DayReviewed {
            day,
            records: touches.iter().filter(|touch| touch.stands).count(),
            last_at: touches.iter().map(|touch| touch.at).max(),
            review: reviews
                .iter()
                .filter(|review| review.day == day)
                .max_by_key(|one| one.reviewed_at)
                .cloned(),
        }
    };
    days.each().map(of_day).collect()
}

/// What calibrations change of days: that of the calibration, and those of readings taken with its meter until the next. One
/// that is archived was in force until then.
pub fn touched_by_calibrations(
    mut calibrations: Vec<Kept<Calibration>>,
    readings: &[Reading],
    zone: Tz,
) -> Vec<Touch> {
    let day = |at: DateTime<Utc>| at.with_timezone(&zone).date_naive();
    calibrations.sort_by_key(|kept| kept.content.calibrated_at);
    let touch = |at, calibration: &Kept<Calibration>, stands| Touch {
        day: day(at),
        at: calibration.updated_at,
        stands,
    };
    let own = |one: &Kept<Calibration>| touch(one.content.calibrated_at, one, one.archived_at.is_none());
    let mut touches: Vec<Touch> = calibrations.iter().map(own).collect();
    let mut of_meter: BTreeMap<Id<Meter>, Vec<&Kept<Calibration>>> = BTreeMap::new();
    for one in &calibrations {
        of_meter.entry(one.content.meter).or_default().push(one);
    }
    for reading in readings {
        let made =
            reading.meter.and_then(|meter| of_meter.get(&meter)).map(Vec::as_slice).unwrap_or_default();
        let before = made.partition_point(|one| one.content.calibrated_at <= reading.recorded_at);
        for one in made[..before].iter().rev() {
            touches.push(touch(reading.recorded_at, one, false));
            if one.archived_at.is_none() {
                break;
            }
        }
    }
    touches
}

/// Days reviewed, of those that have records.
pub fn share_reviewed(days: &[DayReviewed]) -> Share {
    let standings = days.iter().map(DayReviewed::standing);
    Share::of(
        standings.filter(|standing| *standing != DayStanding::Empty).map(|one| one == DayStanding::Reviewed),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn review(on: &str, reviewed_at: &str) -> Review {
        Review {
            client_id: Uuid::nil(),
            day: day(on),
            room: None,
            note: None,
            reviewed_by: None,
            reviewed_at: at(reviewed_at),
            journal_id: None,
        }
    }

    fn made(on: &str, received_at: &str) -> Touch {
        Touch { day: day(on), at: at(received_at), stands: true }
    }

    #[test]
    fn a_day_stands_reviewed_until_something_comes_after() {
        let touches = [
            made("2026-11-20", "2026-11-20T08:00:00Z"),
            made("2026-11-21", "2026-11-21T08:00:00Z"),
            made("2026-11-21", "2026-11-23T08:00:00Z"),
            made("2026-11-22", "2026-11-22T08:00:00Z"),
        ];
        let reviews = [
            review("2026-11-20", "2026-11-20T18:00:00Z"),
            review("2026-11-21", "2026-11-21T18:00:00Z"),
            review("2026-11-23", "2026-11-23T18:00:00Z"),
        ];
        let days = Days { from: day("2026-11-20"), until: day("2026-11-23") };
        let found = days_reviewed(days, &touches, &reviews);
        let standings: Vec<DayStanding> = found.iter().map(DayReviewed::standing).collect();
        use DayStanding::{Empty, Open, Reopened, Reviewed};
        assert_eq!(standings, [Reviewed, Reopened, Open, Empty]);
        assert_eq!(share_reviewed(&found), Share { hits: 1, n: 3 });

        let again = [reviews[1].clone(), review("2026-11-21", "2026-11-23T09:00:00Z")];
        let found = days_reviewed(days, &touches, &again);
        assert_eq!((found[1].standing(), found[1].records), (Reviewed, 2));
    }

    #[test]
    fn a_record_that_went_opens_its_day_and_is_none_of_it() {
        let went = |on, at| Touch { stands: false, ..made(on, at) };
        let touches = [
            made("2026-11-20", "2026-11-20T08:00:00Z"),
            went("2026-11-20", "2026-11-20T09:00:00Z"),
            went("2026-11-20", "2026-11-21T09:00:00Z"),
        ];
        let days = Days { from: day("2026-11-20"), until: day("2026-11-20") };
        let found = days_reviewed(days, &touches, &[review("2026-11-20", "2026-11-20T18:00:00Z")]);
        assert_eq!((found[0].standing(), found[0].records), (DayStanding::Reopened, 1));
    }

    #[test]
    fn what_comes_in_the_instant_of_the_review_was_seen() {
        let touch = made("2026-11-20", "2026-11-20T18:00:00Z");
        let days = Days { from: touch.day, until: touch.day };
        let found = days_reviewed(days, &[touch], &[review("2026-11-20", "2026-11-20T18:00:00Z")]);
        assert_eq!(found[0].standing(), DayStanding::Reviewed);
    }
}
