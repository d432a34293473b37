//! Minutes of each person and week, and what would have been fair over the four weeks up to it.

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike, Days as ChronoDays, NaiveDate, Utc};
use fillmark_domain::people::PersonId;

use crate::rounds::Worked;

/// Fairness rolls over so many weeks.
const WEEKS: u64 = 4;

/// A shift that somebody had.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Attended {
    /// Who.
    pub person: PersonId,
    /// The local day it belongs to.
    pub day: NaiveDate,
    /// Minutes without breaks and absences.
    pub minutes: i64,
}

/// Minutes of checks and of shifts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Load {
    /// Minutes of checks done.
    pub minutes: i64,
    /// Of those, minutes that nobody likes.
    pub unpleasant_min: i64,
    /// Minutes of shifts.
    pub shift_min: i64,
}

/// What somebody did in a week.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeekOfWork {
    /// Who.
    pub person: PersonId,
    /// Its Monday.
    pub week: NaiveDate,
    /// In the week.
    pub own: Load,
    /// In the four weeks that end with it.
    pub four_weeks: Load,
    /// Minutes of those four weeks that would have been fair: of all that was done, the share that one's shifts are of all
    /// shifts.
    pub fair_min: i64,
    /// The same of what nobody likes.
    pub fair_unpleasant_min: i64,
}

/// The Monday of a day's week (ISO 8601).
pub fn monday(day: NaiveDate) -> NaiveDate {
    back(day, day.weekday().num_days_from_monday().into())
}

/// The first day of what weeks from this Monday on are held against.
pub fn looked_at_from(week: NaiveDate) -> NaiveDate {
    back(week, 7 * (WEEKS - 1))
}

/// The weeks from one Monday to another, week by week and by person: those who had a shift or did a check in the four weeks
/// up to it. `day_of` tells the local day of an instant.
pub fn fairness(
    worked: &[Worked],
    attended: &[Attended],
    (first, last): (NaiveDate, NaiveDate),
    day_of: impl Fn(DateTime<Utc>) -> NaiveDate,
) -> Vec<WeekOfWork> {
    let mut loads: BTreeMap<(NaiveDate, PersonId), Load> = BTreeMap::new();
    for one in worked {
        let load = loads.entry((monday(day_of(one.at)), one.person)).or_default();
        load.minutes += one.minutes;
        load.unpleasant_min += if one.is_unpleasant { one.minutes } else { 0 };
    }
    for one in attended {
        loads.entry((monday(one.day), one.person)).or_default().shift_min += one.minutes;
    }
    let mut weeks = Vec::new();
    let mut week = first;
    while week <= last {
        weeks.extend(of_week(&loads, week));
        let Some(next) = week.checked_add_days(ChronoDays::new(7)) else { break };
        week = next;
    }
    weeks
}

fn of_week(loads: &BTreeMap<(NaiveDate, PersonId), Load>, week: NaiveDate) -> Vec<WeekOfWork> {
    let mut four_weeks: BTreeMap<PersonId, Load> = BTreeMap::new();
    for ((_, person), load) in loads.iter().filter(|((of, _), _)| (looked_at_from(week)..=week).contains(of))
    {
        let sum = four_weeks.entry(*person).or_default();
        sum.minutes += load.minutes;
        sum.unpleasant_min += load.unpleasant_min;
        sum.shift_min += load.shift_min;
    }
    let all = |of: fn(&Load) -> i64| four_weeks.values().map(of).sum::<i64>();
    let (minutes, unpleasant, shifts) =
        (all(|load| load.minutes), all(|load| load.unpleasant_min), all(|load| load.shift_min));
    let fair = |total: i64, own: &Load| match shifts {
        0 => 0,
        shifts => (total as f64 * own.shift_min as f64 / shifts as f64).round() as i64,
    };
    let of = |(person, sum): (&PersonId, &Load)| WeekOfWork {
        person: *person,
        week,
        own: loads.get(&(week, *person)).copied().unwrap_or_default(),
        four_weeks: *sum,
        fair_min: fair(minutes, sum),
        fair_unpleasant_min: fair(unpleasant, sum),
    };
    four_weeks.iter().map(of).collect()
}

fn back(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_sub_days(ChronoDays::new(days)).unwrap_or(day)
}

#[cfg(test)]
mod tests {
    use super::*;
    use fillmark_domain::Id;
    use uuid::Uuid;

    fn day(text: &str) -> NaiveDate {
        format!("2027-05-{text}").parse().unwrap()
    }

    /// Of the week from 24 May: person, minutes, those of four weeks, fair ones.
    #[track_caller]
    fn check(
        worked: &[(u128, &str, i64)],
        attended: &[(u128, &str, i64)],
        expected: &[(u128, i64, i64, i64)],
    ) {
        let person = |number: u128| Id::new(Uuid::from_u128(number));
        let worked: Vec<Worked> = worked
            .iter()
            .map(|(who, on, minutes)| Worked {
                person: person(*who),
                at: day(on).and_hms_opt(12, 0, 0).unwrap().and_utc(),
                minutes: *minutes,
                is_unpleasant: false,
                room: None,
            })
            .collect();
        let attended: Vec<Attended> = attended
            .iter()
            .map(|(who, on, minutes)| Attended { person: person(*who), day: day(on), minutes: *minutes })
            .collect();
        let week = day("24");
        let found: Vec<_> = fairness(&worked, &attended, (week, week), |at| at.date_naive())
            .into_iter()
            .map(|one| (one.person.uuid().as_u128(), one.own.minutes, one.four_weeks.minutes, one.fair_min))
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn who_is_there_half_the_time_has_half_the_checks() {
        check(
            &[(1, "24", 60), (2, "25", 30)],
            &[(1, "24", 480), (2, "24", 240)],
            &[(1, 60, 60, 60), (2, 30, 30, 30)],
        );
    }

    #[test]
    fn four_weeks_roll_from_monday_to_sunday() {
        let there = [(1, "03", 480), (2, "24", 480)];
        check(&[(1, "03", 40), (2, "30", 20)], &there, &[(1, 0, 40, 30), (2, 20, 20, 30)]);
        // The Sunday before is of the week that has rolled out.
        check(&[(1, "02", 40), (2, "31", 20)], &there, &[(1, 0, 0, 0), (2, 0, 0, 0)]);
    }

    #[test]
    fn without_shifts_nothing_is_fair() {
        check(&[(1, "24", 60)], &[], &[(1, 60, 60, 0)]);
    }
}
