//! A recurrence rule in words, for whoever reads no RFC 5545.

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDateTime, NaiveTime};
use chrono_tz::Tz;

/// Days that every month has.
const SURE_DAYS: i32 = 28;
/// Of a day of the week, as many as every month has.
const SURE_WEEKDAYS: i32 = 4;
/// Of the days from Monday to Friday, as many as every month has.
const SURE_WORKDAYS: i32 = 20;

/// A rule in words with the times it comes at, by the clock of a zone. What has no plain words is told as the rule it is.
pub fn in_words(rule: &str, start: NaiveDateTime, zone: Tz) -> String {
    // RFC 5545, section 2: names and values are the same in either case.
    let told = told(&rule.to_ascii_uppercase(), start, zone);
    told.unwrap_or_else(|| format!("by the rule {}", rule.trim()))
}

/// Parts that words are found for, by their names.
#[derive(Default)]
struct Parts<'a> {
    freq: &'a str,
    interval: u32,
    by_day: Vec<&'a str>,
    by_month: Vec<u32>,
    by_month_day: Vec<i32>,
    by_set_pos: Option<i32>,
    by_hour: Vec<u32>,
    by_minute: Vec<u32>,
    count: Option<&'a str>,
    until: Option<NaiveDateTime>,
}

impl<'a> Parts<'a> {
    /// The parts of a rule; nothing when one of them has no words here.
    fn of(rule: &'a str, zone: Tz) -> Option<Parts<'a>> {
        let rule = rule.trim();
        let rule = rule.strip_prefix("RRULE:").unwrap_or(rule);
        let mut parts = Parts { interval: 1, ..Parts::default() };
        for part in rule.split(';').filter(|part| !part.is_empty()) {
            let (name, value) = part.split_once('=')?;
            match name {
                "FREQ" => parts.freq = value,
                "INTERVAL" => parts.interval = value.parse().ok()?,
                "BYDAY" => parts.by_day = value.split(',').collect(),
                "BYMONTH" => parts.by_month = numbers(value)?,
                "BYSETPOS" => parts.by_set_pos = Some(value.parse().ok()?),
                "BYMONTHDAY" => parts.by_month_day = numbers(value)?,
                "BYHOUR" => parts.by_hour = numbers(value)?,
                "BYMINUTE" => parts.by_minute = numbers(value)?,
                "COUNT" => parts.count = Some(value),
                "UNTIL" => parts.until = Some(by_clock(value, zone)?),
                // Where a week begins says nothing where every week is alike.
                "WKST" if parts.interval == 1 => {}
                _ => return None,
            }
        }
        Some(parts)
    }
}

fn numbers<N: std::str::FromStr>(value: &str) -> Option<Vec<N>> {
    value.split(',').map(|one| one.parse().ok()).collect()
}

/// An instant of a rule, which is in UTC there, by the clock of a zone.
fn by_clock(value: &str, zone: Tz) -> Option<NaiveDateTime> {
    let at = NaiveDateTime::parse_from_str(value, "%Y%m%dT%H%M%SZ").ok()?;
    Some(at.and_utc().with_timezone(&zone).naive_local())
}

fn told(rule: &str, start: NaiveDateTime, zone: Tz) -> Option<String> {
    let parts = Parts::of(rule, zone)?;
    if parts.by_set_pos.is_some() && parts.freq != "MONTHLY" {
        return None;
    }
    let days = match parts.freq {
        "MINUTELY" | "HOURLY" => return within_a_day(&parts, start),
        "DAILY" if parts.by_month_day.is_empty() => {
            let every = every(parts.interval, "day");
            let days = if parts.by_day.is_empty() { every } else { each_week(&parts)? };
            format!("{days}{}", in_months(&parts)?)
        }
        "WEEKLY" if parts.by_month_day.is_empty() => {
            let own = weekday(code(start))?.to_owned();
            let days = if parts.by_day.is_empty() { format!(" on {own}") } else { on_days(&parts)? };
            format!("{}{days}{}", every(parts.interval, "week"), in_months(&parts)?)
        }
        "MONTHLY" if parts.by_month.is_empty() => each_month(&parts, start)?,
        "YEARLY" if parts.by_day.is_empty() => {
            format!("{} on {}", every(parts.interval, "year"), of_year(&parts, start)?)
        }
        _ => return None,
    };
    Some(format!("{days} at {}{}", times(&parts, start.time()), end(&parts)?))
}

/// A day of the week each week; where days are counted by twos it comes when it happens to be one of them.
fn each_week(parts: &Parts) -> Option<String> {
    let days = on_days(parts)?;
    (parts.interval == 1).then(|| format!("every week{days}"))
}

fn in_months(parts: &Parts) -> Option<String> {
    if parts.by_month.is_empty() {
        return Some(String::new());
    }
    let months: Vec<&str> = parts.by_month.iter().map(|month| month_name(*month)).collect::<Option<_>>()?;
    Some(format!(" in {}", listed(&months)))
}

fn each_month(parts: &Parts, start: NaiveDateTime) -> Option<String> {
    let is_plain = !parts.by_day.is_empty() && parts.by_day.iter().all(|day| weekday(day).is_some());
    if is_plain && parts.by_month_day.is_empty() && parts.by_set_pos.is_none() {
        return each_week(parts);
    }
    let (days, is_sure) = of_month(parts, start)?;
    let where_there = if is_sure { "" } else { WHERE_THERE };
    Some(format!("{} on {days}{where_there}", every(parts.interval, "month")))
}

const WHERE_THERE: &str = ", where there is one,";

fn of_year(parts: &Parts, start: NaiveDateTime) -> Option<String> {
    // Without months, the days would be those of every month.
    if parts.by_month.is_empty() && !parts.by_month_day.is_empty() {
        return None;
    }
    let months = if parts.by_month.is_empty() { vec![start.month()] } else { parts.by_month.clone() };
    let own = start.day().try_into().ok()?;
    let days = if parts.by_month_day.is_empty() { vec![own] } else { parts.by_month_day.clone() };
    let dates = || months.iter().flat_map(|month| days.iter().map(move |day| (*month, *day)));
    let told: Vec<String> = dates()
        .map(|(month, day)| (1..=31).contains(&day).then_some(format!("{day} {}", month_name(month)?)))
        .collect::<Option<_>>()?;
    let is_sure =
        |(month, day)| day <= if month == 2 { SURE_DAYS } else { 30 } || day == 31 && is_long(month);
    let where_there = if dates().all(is_sure) { "" } else { WHERE_THERE };
    Some(format!("{}{where_there}", listed(&told.iter().map(String::as_str).collect::<Vec<_>>())))
}

fn is_long(month: u32) -> bool {
    matches!(month, 1 | 3 | 5 | 7 | 8 | 10 | 12)
}

fn within_a_day(parts: &Parts, start: NaiveDateTime) -> Option<String> {
    let plain = parts.by_hour.is_empty()
        && parts.by_minute.is_empty()
        && parts.by_month_day.is_empty()
        && parts.by_month.is_empty();
    let unit = if parts.freq == "HOURLY" { "hour" } else { "minute" };
    let days = if parts.by_day.is_empty() { String::new() } else { on_days(parts)? };
    let from = start.format("%Y-%m-%d %H:%M");
    plain.then(|| {
        format!("{}{days} from {from} on{}", every(parts.interval, unit), end(parts).unwrap_or_default())
    })
}

fn every(interval: u32, unit: &str) -> String {
    match interval {
        1 => format!("every {unit}"),
        2 => format!("every second {unit}"),
        other => format!("every {other} {unit}s"),
    }
}

fn on_days(parts: &Parts) -> Option<String> {
    if parts.by_day.is_empty() {
        return Some(String::new());
    }
    if is_workdays(parts) {
        return Some(" from Monday to Friday".to_owned());
    }
    let mut codes = parts.by_day.clone();
    codes.sort_by_key(|code| CODES.iter().position(|one| one == code));
    let days: Vec<&str> = codes.iter().map(|day| weekday(day)).collect::<Option<_>>()?;
    Some(format!(" on {}", listed(&days)))
}

fn is_workdays(parts: &Parts) -> bool {
    let days: BTreeSet<&str> = parts.by_day.iter().copied().collect();
    days == CODES[..5].iter().copied().collect()
}

/// Days of a month, and whether every month has them.
fn of_month(parts: &Parts, start: NaiveDateTime) -> Option<(String, bool)> {
    let all = |told: Vec<String>| listed(&told.iter().map(String::as_str).collect::<Vec<_>>());
    match (&parts.by_day[..], &parts.by_month_day[..], parts.by_set_pos) {
        ([], days, None) => {
            let own = [start.day().try_into().ok()?];
            let days = if days.is_empty() { &own[..] } else { days };
            let told =
                days.iter().map(|day| Some(format!("the {}", ordinal(*day)?))).collect::<Option<_>>()?;
            Some((all(told), days.iter().all(|day| *day <= SURE_DAYS)))
        }
        (days, [], None) => {
            let numbered: Vec<(i32, &str)> = days.iter().map(|day| numbered(day)).collect::<Option<_>>()?;
            let told = numbered.iter().map(|(number, name)| nth(*number, name)).collect::<Option<_>>()?;
            Some((all(told), numbered.iter().all(|(number, _)| *number <= SURE_WEEKDAYS)))
        }
        // Of several hours the last of a month is one hour of a day.
        (days, [], Some(number)) if parts.by_hour.len() < 2 && parts.by_minute.len() < 2 => match days {
            [day] => Some((nth(number, weekday(day)?)?, number <= SURE_WEEKDAYS)),
            _ if is_workdays(parts) => {
                Some((nth(number, "day from Monday to Friday")?, number <= SURE_WORKDAYS))
            }
            _ => None,
        },
        _ => None,
    }
}

/// The number and the name of a day like `2FR`.
fn numbered(day: &str) -> Option<(i32, &'static str)> {
    let (number, code) = day.split_at_checked(day.len().checked_sub(2)?)?;
    let number = number.parse().ok().filter(|number: &i32| number.abs() <= 5)?;
    Some((number, weekday(code)?))
}

fn nth(number: i32, name: &str) -> Option<String> {
    let which = if number == -1 { "last".to_owned() } else { ordinal(number)? };
    Some(format!("the {which} {name}"))
}

fn ordinal(number: i32) -> Option<String> {
    if number == -1 {
        return Some("last day".to_owned());
    }
    let ending = match (number % 10, number % 100) {
        _ if number < 1 => return None,
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    Some(format!("{number}{ending}"))
}

fn times(parts: &Parts, start: NaiveTime) -> String {
    let own = |time: NaiveTime, format: &str| time.format(format).to_string();
    let hours: Vec<String> = match parts.by_hour.is_empty() {
        true => vec![own(start, "%H")],
        false => parts.by_hour.iter().map(|hour| format!("{hour:02}")).collect(),
    };
    let minutes: Vec<String> = match parts.by_minute.is_empty() {
        true => vec![own(start, "%M")],
        false => parts.by_minute.iter().map(|minute| format!("{minute:02}")).collect(),
    };
    let times: Vec<String> =
        hours.iter().flat_map(|hour| minutes.iter().map(move |minute| format!("{hour}:{minute}"))).collect();
    listed(&times.iter().map(String::as_str).collect::<Vec<_>>())
}

fn end(parts: &Parts) -> Option<String> {
    match (parts.count, parts.until) {
        (None, None) => Some(String::new()),
        (Some("1"), None) => Some(", once".to_owned()),
        (Some(count), None) => Some(format!(", {count} times")),
        (None, Some(until)) => Some(format!(", until {}", until.format("%Y-%m-%d %H:%M"))),
        (Some(_), Some(_)) => None,
    }
}

fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// The days of the week in their order.
const CODES: [&str; 7] = ["MO", "TU", "WE", "TH", "FR", "SA", "SU"];

fn code(at: NaiveDateTime) -> &'static str {
    CODES[at.weekday().num_days_from_monday() as usize]
}

fn weekday(code: &str) -> Option<&'static str> {
    Some(match code {
        "MO" => "Monday",
        "TU" => "Tuesday",
        "WE" => "Wednesday",
        "TH" => "Thursday",
        "FR" => "Friday",
        "SA" => "Saturday",
        "SU" => "Sunday",
        _ => return None,
    })
}

fn month_name(month: u32) -> Option<&'static str> {
    chrono::Month::try_from(u8::try_from(month).ok()?).ok().map(|month| month.name())
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::Europe::Berlin;

    /// Of a rule that starts in Berlin on Tuesday, 24 November 2026, at eight.
    #[track_caller]
    fn check(rule: &str, words: &str) {
        assert_eq!(in_words(rule, "2026-11-24T08:00:00".parse().unwrap(), Berlin), words);
    }

    #[test]
    fn a_rule_is_told_in_words() {
        check("FREQ=DAILY", "every day at 08:00");
        check("RRULE:FREQ=DAILY;INTERVAL=2", "every second day at 08:00");
        check("FREQ=DAILY;BYHOUR=8,14;BYMINUTE=0", "every day at 08:00 and 14:00");
        check("FREQ=WEEKLY", "every week on Tuesday at 08:00");
        check(
            "FREQ=WEEKLY;INTERVAL=3;BYDAY=MO,WE,SA",
            "every 3 weeks on Monday, Wednesday and Saturday at 08:00",
        );
        check("FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR", "every week from Monday to Friday at 08:00");
        check("FREQ=MONTHLY", "every month on the 24th at 08:00");
        check(
            "FREQ=MONTHLY;BYMONTHDAY=1,15,-1",
            "every month on the 1st, the 15th and the last day at 08:00",
        );
        check("FREQ=MONTHLY;BYDAY=2FR", "every month on the 2nd Friday at 08:00");
        check("FREQ=MONTHLY;BYDAY=-1MO", "every month on the last Monday at 08:00");
        check("FREQ=YEARLY", "every year on 24 November at 08:00");
        check("FREQ=HOURLY;INTERVAL=6", "every 6 hours from 2026-11-24 08:00 on");
    }

    #[test]
    fn an_end_is_told_too() {
        check("FREQ=DAILY;COUNT=10", "every day at 08:00, 10 times");
        check("FREQ=DAILY;COUNT=1", "every day at 08:00, once");
        check("FREQ=DAILY;UNTIL=20261231T225959Z", "every day at 08:00, until 2026-12-31 23:59");
        check("FREQ=DAILY;UNTIL=20260731T220000Z", "every day at 08:00, until 2026-08-01 00:00");
        check("FREQ=DAILY;UNTIL=20261231", "by the rule FREQ=DAILY;UNTIL=20261231");
    }

    #[test]
    fn names_and_values_are_the_same_in_either_case() {
        check("freq=weekly;byday=mo,th", "every week on Monday and Thursday at 08:00");
        check("rrule:Freq=Daily", "every day at 08:00");
        check("freq=yearly;byweekno=20", "by the rule freq=yearly;byweekno=20");
    }

    #[test]
    fn days_that_not_every_month_has_are_told_so() {
        check("FREQ=MONTHLY;BYMONTHDAY=28", "every month on the 28th at 08:00");
        check("FREQ=MONTHLY;BYMONTHDAY=31", "every month on the 31st, where there is one, at 08:00");
        check(
            "FREQ=MONTHLY;BYMONTHDAY=1,30",
            "every month on the 1st and the 30th, where there is one, at 08:00",
        );
        check("FREQ=MONTHLY;BYDAY=5MO", "every month on the 5th Monday, where there is one, at 08:00");
        let from_last = in_words("FREQ=MONTHLY", "2026-12-31T08:00:00".parse().unwrap(), Berlin);
        assert_eq!(from_last, "every month on the 31st, where there is one, at 08:00");
        check(
            "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29",
            "every year on 29 February, where there is one, at 08:00",
        );
        check("FREQ=YEARLY;BYMONTH=12;BYMONTHDAY=31", "every year on 31 December at 08:00");
    }

    #[test]
    fn a_day_of_the_week_comes_each_week_by_whatever_rule() {
        check("FREQ=DAILY;BYDAY=MO", "every week on Monday at 08:00");
        check("FREQ=DAILY;BYDAY=FR,TH,WE,TU,MO", "every week from Monday to Friday at 08:00");
        check("FREQ=MONTHLY;BYDAY=TH,MO", "every week on Monday and Thursday at 08:00");
        // Every second day is a Monday once in two weeks, but which?
        check("FREQ=DAILY;INTERVAL=2;BYDAY=MO", "by the rule FREQ=DAILY;INTERVAL=2;BYDAY=MO");
    }

    #[test]
    fn months_and_counted_days_are_told() {
        check("FREQ=DAILY;BYMONTH=6,7,8", "every day in June, July and August at 08:00");
        check("FREQ=WEEKLY;BYDAY=MO;BYMONTH=6", "every week on Monday in June at 08:00");
        check("FREQ=YEARLY;BYMONTH=3;BYMONTHDAY=1", "every year on 1 March at 08:00");
        check("FREQ=YEARLY;BYMONTH=3,9", "every year on 24 March and 24 September at 08:00");
        check("FREQ=YEARLY;BYMONTHDAY=1", "by the rule FREQ=YEARLY;BYMONTHDAY=1");
        check("FREQ=MONTHLY;BYDAY=1MO,3MO", "every month on the 1st Monday and the 3rd Monday at 08:00");
        check(
            "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1",
            "every month on the last day from Monday to Friday at 08:00",
        );
        check("FREQ=MONTHLY;BYDAY=FR;BYSETPOS=2", "every month on the 2nd Friday at 08:00");
        check("FREQ=WEEKLY;BYDAY=MO,TU;BYSETPOS=1", "by the rule FREQ=WEEKLY;BYDAY=MO,TU;BYSETPOS=1");
    }

    #[test]
    fn what_has_no_plain_words_is_told_as_it_is() {
        let rule = "FREQ=MONTHLY;BYDAY=MO,TU;BYSETPOS=-1";
        check(rule, &format!("by the rule {rule}"));
        check("FREQ=YEARLY;BYWEEKNO=20", "by the rule FREQ=YEARLY;BYWEEKNO=20");
        check("daily", "by the rule daily");
    }
}
