//! Wall-clock times of a zone and the instants they are: once, twice or never, where clocks are changed.

use std::ops::Range;

use chrono::{DateTime, Days, LocalResult, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;

/// What a wall-clock time is in a zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wall {
    /// One instant.
    Once(DateTime<Utc>),
    /// Two instants, since clocks went back over it.
    Twice {
        /// Before clocks went back.
        first: DateTime<Utc>,
        /// After they went back.
        second: DateTime<Utc>,
    },
    /// None, since clocks went forward over it.
    Never {
        /// The first instant after the gap.
        after: DateTime<Utc>,
    },
}

impl Wall {
    /// What this wall-clock time is in the zone.
    pub fn of(zone: Tz, wall: NaiveDateTime) -> Wall {
        match zone.from_local_datetime(&wall) {
            LocalResult::Single(at) => Wall::Once(at.to_utc()),
            LocalResult::Ambiguous(first, second) => {
                Wall::Twice { first: first.to_utc(), second: second.to_utc() }
            }
            LocalResult::None => Wall::Never { after: first_instant_after(zone, wall) },
        }
    }

    /// The instant, the first of two; none in a gap.
    pub fn instant(self) -> Option<DateTime<Utc>> {
        match self {
            Wall::Once(at) | Wall::Twice { first: at, .. } => Some(at),
            Wall::Never { .. } => None,
        }
    }

    /// The instant, the first of two, and in a gap the first one after it.
    pub fn instant_or_after(self) -> DateTime<Utc> {
        match self {
            Wall::Once(at) | Wall::Twice { first: at, .. } | Wall::Never { after: at } => at,
        }
    }
}

/// An instant in words, by the clock of a zone: for people, who read no UTC.
pub fn clock_and_day(zone: Tz, at: DateTime<Utc>) -> String {
    at.with_timezone(&zone).format("%H:%M on %-d %B").to_string()
}

/// The instants of a local day, from its first up to that of the next day. Empty for a date that the zone
/// skipped whole, as islands did that moved across the date line.
pub fn local_day(zone: Tz, date: NaiveDate) -> Range<DateTime<Utc>> {
    let midnight = |date: NaiveDate| Wall::of(zone, date.and_time(NaiveTime::MIN)).instant_or_after();
    let next = date.checked_add_days(Days::new(1)).unwrap_or(date);
    midnight(date)..midnight(next)
}

/// The first instant whose wall-clock time is later than `wall`, by halving. Offsets lie between −12 and
/// +14 h, so one hour more on both sides holds the instant, whatever the change was.
fn first_instant_after(zone: Tz, wall: NaiveDateTime) -> DateTime<Utc> {
    let passed = |at: DateTime<Utc>| at.with_timezone(&zone).naive_local() > wall;
    let mut before = wall.and_utc() - TimeDelta::hours(15);
    let mut after = wall.and_utc() + TimeDelta::hours(13);
    while after - before > TimeDelta::seconds(1) {
        let middle = before + TimeDelta::seconds((after - before).num_seconds() / 2);
        if passed(middle) {
            after = middle;
        } else {
            before = middle;
        }
    }
    after
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::{Africa, America, Australia, Europe, Pacific};

    #[track_caller]
    fn check(zone: Tz, wall: &str, utc: &[&str]) {
        let instants: Vec<DateTime<Utc>> = utc.iter().map(|at| at.parse().unwrap()).collect();
        let expected = match instants[..] {
            [at] => Wall::Once(at),
            [first, second] => Wall::Twice { first, second },
            _ => panic!("one or two instants"),
        };
        assert_eq!(Wall::of(zone, wall.parse().unwrap()), expected);
    }

    #[track_caller]
    fn check_gap(zone: Tz, wall: &str, after: &str) {
        let expected = Wall::Never { after: after.parse().unwrap() };
        assert_eq!(Wall::of(zone, wall.parse().unwrap()), expected);
    }

    #[test]
    fn a_time_in_an_hour_that_comes_twice_is_two_instants() {
        check(Europe::Berlin, "2026-10-25T01:59:59", &["2026-10-24T23:59:59Z"]);
        check(Europe::Berlin, "2026-10-25T02:30:00", &["2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z"]);
        check(Europe::Berlin, "2026-10-25T03:00:00", &["2026-10-25T02:00:00Z"]);
        check(Australia::Lord_Howe, "2026-04-05T01:45:00", &["2026-04-04T14:45:00Z", "2026-04-04T15:15:00Z"]);
    }

    #[test]
    fn a_time_in_a_gap_has_the_first_instant_after_it() {
        check(Europe::Berlin, "2026-03-29T03:00:00", &["2026-03-29T01:00:00Z"]);
        check_gap(Europe::Berlin, "2026-03-29T02:00:00", "2026-03-29T01:00:00Z");
        check_gap(Europe::Berlin, "2026-03-29T02:59:59", "2026-03-29T01:00:00Z");
        check_gap(America::New_York, "2026-03-08T02:30:00", "2026-03-08T07:00:00Z");
        check_gap(Australia::Lord_Howe, "2026-10-04T02:15:00", "2026-10-03T15:30:00Z");
        check_gap(Pacific::Apia, "2011-12-30T08:00:00", "2011-12-30T10:00:00Z");
    }

    #[test]
    fn a_local_day_is_as_long_as_its_clocks_say() {
        let minutes = |zone, date: &str| {
            let day = local_day(zone, date.parse().unwrap());
            (day.end - day.start).num_minutes()
        };
        assert_eq!(minutes(Europe::Berlin, "2026-03-29"), 1380);
        assert_eq!(minutes(Europe::Berlin, "2026-10-25"), 1500);
        assert_eq!(minutes(Australia::Lord_Howe, "2026-10-04"), 1410);
        assert_eq!(minutes(Africa::Cairo, "2026-04-24"), 1380);
        assert_eq!(minutes(Pacific::Apia, "2011-12-30"), 0);
    }
}
