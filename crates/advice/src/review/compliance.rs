//! Compliance of a room over a period: counts of what was as it should be, each a share with its interval.

use chrono::{Days, NaiveDate};
use fillmark_domain::Band;
use fillmark_domain::work::{Check, CheckState};

use crate::review::Share;

/// Readings in and out of band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct InBand {
    /// Readings in band, of all.
    pub share: Share,
    /// Below.
    pub low: usize,
    /// Above.
    pub high: usize,
}

/// How many readings were in the band in force when they were taken. Readings without a band do not belong
/// here: nothing was asked of them.
pub fn readings_in_band<'a>(readings: impl IntoIterator<Item = (f64, &'a Band)>) -> InBand {
    let mut found = InBand::default();
    for (value, band) in readings {
        found.share.n += 1;
        found.share.hits += usize::from(band.holds(value));
        found.low += usize::from(value < band.low);
        found.high += usize::from(value > band.high);
    }
    found
}

/// What became of the checks that were due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Punctuality {
    /// Done in their window.
    pub in_time: usize,
    /// Done after it.
    pub late: usize,
    /// Not done.
    pub missed: usize,
    /// Excused: they were not due, and leave the share.
    pub excused: usize,
    /// Not settled yet, so nothing can be said.
    pub unsettled: usize,
}

impl Punctuality {
    /// Checks in time, of those that were due.
    pub fn share(&self) -> Share {
        Share { hits: self.in_time, n: self.in_time + self.late + self.missed }
    }
}

/// Counts checks in time, late and missed.
pub fn punctuality<'a>(checks: impl IntoIterator<Item = &'a Check>) -> Punctuality {
    let mut found = Punctuality::default();
    for check in checks {
        let count = match check.state {
            CheckState::Done { late: false, .. } => &mut found.in_time,
            CheckState::Done { late: true, .. } => &mut found.late,
            CheckState::Missed { .. } => &mut found.missed,
            CheckState::Excused { .. } => &mut found.excused,
            CheckState::Planned | CheckState::Open { .. } => &mut found.unsettled,
        };
        *count += 1;
    }
    found
}

/// A tank change that fell due.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChangeDue {
    /// The local day it was due.
    pub due: NaiveDate,
    /// The local day it was done, if it was.
    pub done: Option<NaiveDate>,
}

/// Tank changes done at most so many days after they were due, of those of which that can be said on the
/// day of the review. Done early is in time.
pub fn changes_on_time(changes: &[ChangeDue], grace: Days, reviewed: NaiveDate) -> Share {
    let last = |change: &ChangeDue| change.due.checked_add_days(grace).unwrap_or(NaiveDate::MAX);
    let known = changes.iter().filter(|change| change.done.is_some() || last(change) < reviewed);
    Share::of(known.map(|change| change.done.is_some_and(|done| done <= last(change))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use fillmark_domain::work::{Cause, Place, Sharing, Task};
    use fillmark_domain::{Id, Metric};

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2027, 5, day).unwrap()
    }

    #[track_caller]
    fn check(changes: &[(u32, Option<u32>)], reviewed: u32, hits: usize, n: usize) {
        let changes: Vec<ChangeDue> =
            changes.iter().map(|(due, done)| ChangeDue { due: day(*due), done: done.map(day) }).collect();
        assert_eq!(changes_on_time(&changes, Days::new(1), day(reviewed)), Share { hits, n });
    }

    #[test]
    fn a_change_is_on_time_up_to_its_grace() {
        check(&[(3, Some(2)), (3, Some(4)), (3, Some(5))], 20, 2, 3);
    }

    #[test]
    fn a_change_that_can_still_be_on_time_does_not_count_yet() {
        check(&[(3, None)], 4, 0, 0);
        check(&[(3, None)], 5, 0, 1);
    }

    #[test]
    fn readings_on_the_edge_are_in_band() {
        let band = Band::new(Metric::Ph, 5.8, 6.0, 6.4).unwrap();
        let found = readings_in_band([5.79, 5.8, 6.4, 6.41, 7.0].map(|value| (value, &band)));
        assert_eq!(found, InBand { share: Share { hits: 2, n: 5 }, low: 1, high: 2 });
    }

    #[test]
    fn excused_checks_were_not_due() {
        let at = "2027-05-03T08:00:00Z".parse().unwrap();
        let by = Id::new(uuid_of(1));
        let done = |late| CheckState::Done { at, by, with: None, evidence: vec![], late };
        let states = [
            done(false),
            done(true),
            CheckState::Missed { at },
            CheckState::Excused { at, by: None, reason: "tank out of use".into() },
            CheckState::Planned,
        ];
        let checks = states.map(|state| Check {
            cause: Cause::Plan(Id::new(uuid_of(2))),
            name: "EC and pH".into(),
            task: Task::Inspect,
            place: Place::Room(Id::new(uuid_of(3))),
            work_min: 10,
            qualification: None,
            date: day(3),
            time: chrono::NaiveTime::MIN,
            due_at: at,
            window_until: at,
            limit: at,
            two_people: false,
            sharing: Sharing::default(),
            state,
        });
        let found = punctuality(&checks);
        assert_eq!(found, Punctuality { in_time: 1, late: 1, missed: 1, excused: 1, unsettled: 1 });
        assert_eq!(found.share(), Share { hits: 1, n: 3 });
    }

    fn uuid_of(value: u128) -> uuid::Uuid {
        uuid::Uuid::from_u128(value)
    }
}
