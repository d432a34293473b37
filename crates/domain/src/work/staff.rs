//! Who is there: shifts, absences, and what people are qualified in.

use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;

use crate::Id;
use crate::code::coded;
use crate::local::Wall;
use crate::people::Person;

/// Time from an instant up to another, the second not included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Span {
    /// First instant.
    pub from: DateTime<Utc>,
    /// The instant after the last.
    pub until: DateTime<Utc>,
}

impl Span {
    /// A span, when it has any time in it.
    /// # Errors
    /// [`NotASpan`] unless it ends after it starts.
    pub fn new(from: DateTime<Utc>, until: DateTime<Utc>) -> Result<Span, NotASpan> {
        if from < until { Ok(Span { from, until }) } else { Err(NotASpan { from, until }) }
    }

    /// Whether an instant lies in it; its end does not.
    pub fn holds(self, at: DateTime<Utc>) -> bool {
        self.from <= at && at < self.until
    }

    /// Whole minutes.
    pub fn minutes(self) -> i64 {
        (self.until - self.from).num_minutes()
    }

    /// What both have in common.
    pub fn overlap(self, other: Span) -> Option<Span> {
        Span::new(self.from.max(other.from), self.until.min(other.until)).ok()
    }
}

/// Something a person must have learnt for some checks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Qualification {
    /// Its name.
    pub name: String,
}

/// A qualification that a person holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Held {
    /// Who.
    pub person: Id<Person>,
    /// Which.
    pub qualification: Id<Qualification>,
    /// The first day it is good.
    pub from: NaiveDate,
    /// The last day it is good, if it ends.
    pub until: Option<NaiveDate>,
}

impl Held {
    /// Whether it is good on this day.
    pub fn is_good_on(&self, day: NaiveDate) -> bool {
        self.from <= day && self.until.is_none_or(|last| day <= last)
    }
}

/// Hours a person works at a site, by the site's clock. Across midnight it belongs to the day it starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shift {
    /// Who.
    pub person: Id<Person>,
    /// The local day it belongs to.
    pub day: NaiveDate,
    /// When it starts.
    pub starts: NaiveTime,
    /// When it ends: on the next day when that is no later than it starts.
    pub ends: NaiveTime,
    /// When whoever works it rests, if that is known.
    pub rest: Option<Break>,
}

/// A break within a shift, by the site's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Break {
    /// When it starts: on the next day when that is earlier than the shift starts.
    pub starts: NaiveTime,
    /// Minutes it lasts.
    pub minutes: u32,
}

impl Shift {
    /// From when until when it is in a zone. A start or end in a gap of the clock is the first instant after it.
    /// # Errors
    /// [`NotASpan`] when a change of the clock leaves no time in it.
    pub fn span(&self, zone: Tz) -> Result<Span, NotASpan> {
        let next = self.day.checked_add_days(Days::new(1)).unwrap_or(self.day);
        let last = if self.ends <= self.starts { next } else { self.day };
        let instant = |date: NaiveDate, time| Wall::of(zone, date.and_time(time)).instant_or_after();
        Span::new(instant(self.day, self.starts), instant(last, self.ends))
    }

    /// From when until when its break is in a zone, where it has one.
    pub fn rests(&self, zone: Tz) -> Option<Span> {
        let rest = self.rest?;
        let next = self.day.checked_add_days(Days::new(1)).unwrap_or(self.day);
        let day = if rest.starts < self.starts { next } else { self.day };
        let from = Wall::of(zone, day.and_time(rest.starts)).instant_or_after();
        Span::new(from, from + TimeDelta::minutes(rest.minutes.into())).ok()
    }

    /// Whether its break, if it has one, lies within it.
    pub fn holds_its_break(&self, zone: Tz) -> bool {
        let (Some(rest), Ok(span)) = (self.rests(zone), self.span(zone)) else { return self.rest.is_none() };
        rest.overlap(span) == Some(rest)
    }
}

/// The first of a person's other shifts that they would work at once with a new one, each by the clock of its site's zone. Those
/// that only touch follow one another.
pub fn overlaps<'a>(
    (new, zone): (&Shift, Tz),
    others: impl IntoIterator<Item = (&'a Shift, Tz)>,
) -> Option<Span> {
    let span = new.span(zone).ok()?;
    let own = others.into_iter().filter(|(other, _)| other.person == new.person);
    let spans = own.filter_map(|(other, zone)| other.span(zone).ok());
    spans.filter(|other| span.overlap(*other).is_some()).min()
}

coded! {
    /// Why a person is away.
    AbsenceReason {
        /// Ill, or caring for somebody who is.
        Sick = "sick",
        /// On leave.
        Leave = "leave",
        /// Learning elsewhere.
        Training = "training",
        /// Anything else: nobody has to say why.
        Other = "other",
    }
}

/// Time in which a person is away, whatever their shifts say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Absence {
    /// Who.
    pub person: Id<Person>,
    /// From when until when.
    pub span: Span,
    /// Why.
    pub reason: AbsenceReason,
}

/// No time between these instants.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("nobody works or is away from {from} until {until}")]
pub struct NotASpan {
    /// As given.
    pub from: DateTime<Utc>,
    /// As given.
    pub until: DateTime<Utc>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::Europe::{Berlin, Helsinki};
    use uuid::Uuid;

    #[track_caller]
    fn check(day: &str, starts: &str, ends: &str, from: &str, until: &str) {
        let shift = Shift {
            person: Id::new(Uuid::from_u128(1)),
            day: day.parse().unwrap(),
            starts: starts.parse().unwrap(),
            ends: ends.parse().unwrap(),
            rest: None,
        };
        let expected = Span { from: from.parse().unwrap(), until: until.parse().unwrap() };
        assert_eq!(shift.span(Berlin), Ok(expected));
    }

    #[test]
    fn a_shift_across_midnight_belongs_to_the_day_it_starts() {
        check("2027-05-03", "07:00:00", "15:30:00", "2027-05-03T05:00:00Z", "2027-05-03T13:30:00Z");
        check("2027-05-03", "22:00:00", "06:00:00", "2027-05-03T20:00:00Z", "2027-05-04T04:00:00Z");
        check("2027-05-03", "00:00:00", "00:00:00", "2027-05-02T22:00:00Z", "2027-05-03T22:00:00Z");
    }

    #[test]
    fn a_night_shift_is_as_long_as_its_clocks_say() {
        check("2027-03-27", "22:00:00", "06:00:00", "2027-03-27T21:00:00Z", "2027-03-28T04:00:00Z");
        check("2027-10-30", "22:00:00", "06:00:00", "2027-10-30T20:00:00Z", "2027-10-31T05:00:00Z");
    }

    #[test]
    fn a_break_lies_within_its_shift() {
        let shift = |starts: &str, ends: &str, rest: &str, minutes| Shift {
            person: Id::new(Uuid::from_u128(1)),
            day: "2027-05-03".parse().unwrap(),
            starts: starts.parse().unwrap(),
            ends: ends.parse().unwrap(),
            rest: Some(Break { starts: rest.parse().unwrap(), minutes }),
        };
        let check =
            |shift: Shift, is_within| assert_eq!(shift.holds_its_break(Berlin), is_within, "{shift:?}");
        check(shift("07:00:00", "15:30:00", "12:00:00", 30), true);
        check(shift("07:00:00", "12:00:00", "11:45:00", 30), false);
        check(shift("22:00:00", "06:00:00", "01:00:00", 30), true);
        check(shift("07:00:00", "15:30:00", "06:00:00", 30), false);
        check(shift("07:00:00", "15:30:00", "12:00:00", 0), false);
    }

    #[test]
    fn shifts_of_a_person_that_touch_follow_one_another() {
        let shift = |person, day: &str, starts: &str, ends: &str| Shift {
            person: Id::new(Uuid::from_u128(person)),
            day: day.parse().unwrap(),
            starts: starts.parse().unwrap(),
            ends: ends.parse().unwrap(),
            rest: None,
        };
        let night = [shift(1, "2027-05-03", "22:00:00", "06:00:00")];
        let early = |person, starts| shift(person, "2027-05-04", starts, "14:00:00");
        let check = |new: Shift, zone, is_at_once| {
            let others = night.iter().map(|night| (night, Berlin));
            let span = night[0].span(Berlin).unwrap();
            assert_eq!(overlaps((&new, zone), others), Some(span).filter(|_| is_at_once), "{new:?}");
        };
        check(early(1, "05:59:00"), Berlin, true);
        check(early(1, "06:00:00"), Berlin, false);
        check(early(2, "05:59:00"), Berlin, false);
        // An hour later on the clock is the same instant.
        check(early(1, "06:59:00"), Helsinki, true);
        check(early(1, "07:00:00"), Helsinki, false);
    }

    #[test]
    fn a_qualification_is_good_from_its_first_day_to_its_last() {
        let held = |until: Option<&str>| Held {
            person: Id::new(Uuid::from_u128(1)),
            qualification: Id::new(Uuid::from_u128(3)),
            from: "2027-05-01".parse().unwrap(),
            until: until.map(|day| day.parse().unwrap()),
        };
        let day = "2027-05-03".parse().unwrap();
        assert!(held(None).is_good_on(day));
        assert!(held(Some("2027-05-03")).is_good_on(day));
        assert!(!held(Some("2027-05-02")).is_good_on(day));
        assert!(!held(None).is_good_on("2027-04-30".parse().unwrap()));
    }
}
