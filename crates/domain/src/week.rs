//! Working weeks and spans of days.

use chrono::{Datelike, Days as ChronoDays, NaiveDate, Weekday};

/// The weekdays on which something happens: staff work, a supplier takes orders.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Week([bool; 7]);

impl Week {
    /// All seven days.
    pub const EVERY_DAY: Week = Week([true; 7]);

    /// A week of these days.
    pub fn of(days: impl IntoIterator<Item = Weekday>) -> Week {
        let mut week = [false; 7];
        for day in days {
            week[day.num_days_from_monday() as usize] = true;
        }
        Week(week)
    }

    /// Whether this date falls on one of its days.
    pub fn has(&self, date: NaiveDate) -> bool {
        self.0[date.weekday().num_days_from_monday() as usize]
    }

    /// Its days, Monday first.
    pub fn days(&self) -> impl Iterator<Item = Weekday> + '_ {
        const ALL: [Weekday; 7] = [
            Weekday::Mon,
            Weekday::Tue,
            Weekday::Wed,
            Weekday::Thu,
            Weekday::Fri,
            Weekday::Sat,
            Weekday::Sun,
        ];
        ALL.into_iter().filter(|day| self.0[day.num_days_from_monday() as usize])
    }

    /// Whether it has no day at all.
    pub fn is_empty(&self) -> bool {
        self.0 == [false; 7]
    }
}

/// Dates from a first to a last, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Days {
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub until: NaiveDate,
}

impl Days {
    /// Whether the date lies within.
    pub fn hold(&self, date: NaiveDate) -> bool {
        (self.from..=self.until).contains(&date)
    }

    /// Whether they have a day in common with a span whose end may be open.
    pub fn meet(&self, from: NaiveDate, until: Option<NaiveDate>) -> bool {
        from <= self.until && until.is_none_or(|until| self.from <= until)
    }

    /// Each date, in order.
    pub fn each(self) -> impl Iterator<Item = NaiveDate> {
        let until = self.until;
        std::iter::successors(Some(self.from), |day| day.checked_add_days(ChronoDays::new(1)))
            .take_while(move |day| *day <= until)
    }
}

crate::code::coded! {
    /// A weekday with a code.
    Day {
        /// Monday.
        Monday = "monday",
        /// Tuesday.
        Tuesday = "tuesday",
        /// Wednesday.
        Wednesday = "wednesday",
        /// Thursday.
        Thursday = "thursday",
        /// Friday.
        Friday = "friday",
        /// Saturday.
        Saturday = "saturday",
        /// Sunday.
        Sunday = "sunday",
    }
}

impl Day {
    /// As chrono has it.
    pub fn weekday(self) -> Weekday {
        match self {
            Day::Monday => Weekday::Mon,
            Day::Tuesday => Weekday::Tue,
            Day::Wednesday => Weekday::Wed,
            Day::Thursday => Weekday::Thu,
            Day::Friday => Weekday::Fri,
            Day::Saturday => Weekday::Sat,
            Day::Sunday => Weekday::Sun,
        }
    }
}

impl From<Weekday> for Day {
    fn from(day: Weekday) -> Day {
        match day {
            Weekday::Mon => Day::Monday,
            Weekday::Tue => Day::Tuesday,
            Weekday::Wed => Day::Wednesday,
            Weekday::Thu => Day::Thursday,
            Weekday::Fri => Day::Friday,
            Weekday::Sat => Day::Saturday,
            Weekday::Sun => Day::Sunday,
        }
    }
}
