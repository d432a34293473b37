//! Days on which a site works: its week without its closures.

use chrono::NaiveDate;

use crate::{Days, Week};

/// A closure longer than this is a site out of use, so looking further for an open day would find nothing useful.
const LOOK_AHEAD_DAYS: usize = 366;

/// The working week of a site and the spans on which it is closed all the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenDays {
    /// Weekdays on which staff work.
    pub week: Week,
    /// Holidays and other closures.
    pub closures: Vec<Days>,
}

impl OpenDays {
    /// Open on each day of the year.
    pub const EVERY_DAY: OpenDays = OpenDays { week: Week::EVERY_DAY, closures: Vec::new() };

    /// Whether staff work on this date.
    pub fn has(&self, date: NaiveDate) -> bool {
        self.week.has(date) && !self.closures.iter().any(|closure| closure.hold(date))
    }

    /// The first open day on or after a date; none within a year of closed days.
    pub fn on_or_after(&self, date: NaiveDate) -> Option<NaiveDate> {
        date.iter_days().take(LOOK_AHEAD_DAYS).find(|day| self.has(*day))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Weekday;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[track_caller]
    fn check(from: &str, expected: Option<&str>) {
        let week = Week::of([Weekday::Mon, Weekday::Tue, Weekday::Wed, Weekday::Thu, Weekday::Fri]);
        let closures = vec![Days { from: day("2031-03-10"), until: day("2031-03-11") }];
        assert_eq!(OpenDays { week, closures }.on_or_after(day(from)), expected.map(day));
    }

    #[test]
    fn the_next_open_day_lies_after_weekend_and_closure() {
        check("2031-03-07", Some("2031-03-07"));
        check("2031-03-08", Some("2031-03-12"));
        check("2031-03-11", Some("2031-03-12"));
    }

    #[test]
    fn a_site_that_never_opens_has_no_next_open_day() {
        let never = OpenDays { week: Week::of([]), closures: Vec::new() };
        assert_eq!(never.on_or_after(day("2031-03-07")), None);
    }
}
