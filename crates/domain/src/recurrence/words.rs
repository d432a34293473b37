//! A recurrence rule in words, for whoever reads no RFC 5545.

use chrono::{Datelike, NaiveDateTime, NaiveTime};

/// A rule in words with the times it comes at. What has no plain words is told as the rule it is.
pub fn in_words(rule: &str, start: NaiveDateTime) -> String {
    told(rule, start).unwrap_or_else(|| format!("by the rule {}", rule.trim()))
}

/// Parts that words are found for, by their names.
#[derive(Default)]
struct Parts<'a> {
    freq: &'a str,
    interval: u32,
    by_day: Vec<&'a str>,
    by_month_day: Vec<i32>,
    by_hour: Vec<u32>,
    by_minute: Vec<u32>,
    count: Option<&'a str>,
    until: Option<&'a str>,
}

impl<'a> Parts<'a> {
    /// The parts of a rule; nothing when one of them has no words here.
    fn of(rule: &'a str) -> Option<Parts<'a>> {
        let rule = rule.trim();
        let rule = rule.strip_prefix("RRULE:").unwrap_or(rule);
        let mut parts = Parts { interval: 1, ..Parts::default() };
        for part in rule.split(';').filter(|part| !part.is_empty()) {
            let (name, value) = part.split_once('=')?;
            match name {
                "FREQ" => parts.freq = value,
                "INTERVAL" => parts.interval = value.parse().ok()?,
                "BYDAY" => parts.by_day = value.split(',').collect(),
                "BYMONTHDAY" => parts.by_month_day = numbers(value)?,
                "BYHOUR" => parts.by_hour = numbers(value)?,
                "BYMINUTE" => parts.by_minute = numbers(value)?,
                "COUNT" => parts.count = Some(value),
                "UNTIL" => parts.until = Some(value),
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

fn told(rule: &str, start: NaiveDateTime) -> Option<String> {
    let parts = Parts::of(rule)?;
    let days = match parts.freq {
        "MINUTELY" | "HOURLY" => return within_a_day(&parts, start),
        "DAILY" if parts.by_month_day.is_empty() => {
            format!("{}{}", every(parts.interval, "day"), on_days(&parts)?)
        }
        "WEEKLY" if parts.by_month_day.is_empty() => {
            let own = weekday(code(start))?.to_owned();
            let days = if parts.by_day.is_empty() { format!(" on {own}") } else { on_days(&parts)? };
            format!("{}{days}", every(parts.interval, "week"))
        }
        "MONTHLY" => format!("{} on {}", every(parts.interval, "month"), of_month(&parts, start)?),
        "YEARLY" if parts.by_day.is_empty() && parts.by_month_day.is_empty() => {
            format!("{} on {}", every(parts.interval, "year"), start.format("%-d %B"))
        }
        _ => return None,
    };
    Some(format!("{days} at {}{}", times(&parts, start.time()), end(&parts)?))
}

fn within_a_day(parts: &Parts, start: NaiveDateTime) -> Option<String> {
    let plain = parts.by_hour.is_empty() && parts.by_minute.is_empty() && parts.by_month_day.is_empty();
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
    if parts.by_day == ["MO", "TU", "WE", "TH", "FR"] {
        return Some(" from Monday to Friday".to_owned());
    }
    let days: Vec<&str> = parts.by_day.iter().map(|day| weekday(day)).collect::<Option<_>>()?;
    Some(format!(" on {}", listed(&days)))
}

fn of_month(parts: &Parts, start: NaiveDateTime) -> Option<String> {
    match (&parts.by_day[..], &parts.by_month_day[..]) {
        ([], []) => Some(format!("the {}", ordinal(start.day().try_into().ok()?)?)),
        ([], days) => {
            let days: Vec<String> =
                days.iter().map(|day| Some(format!("the {}", ordinal(*day)?))).collect::<Option<_>>()?;
            Some(listed(&days.iter().map(String::as_str).collect::<Vec<_>>()))
        }
        ([day], []) => {
            let (number, name) = day.split_at_checked(day.len().checked_sub(2)?)?;
            let number = number.parse().ok().filter(|number: &i32| number.abs() <= 5)?;
            let which = if number == -1 { "last".to_owned() } else { ordinal(number)? };
            Some(format!("the {which} {}", weekday(name)?))
        }
        _ => None,
    }
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
        (None, Some(until)) => {
            let (year, month, day) = (until.get(..4)?, until.get(4..6)?, until.get(6..8)?);
            Some(format!(", until {year}-{month}-{day}"))
        }
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

fn code(at: NaiveDateTime) -> &'static str {
    ["MO", "TU", "WE", "TH", "FR", "SA", "SU"][at.weekday().num_days_from_monday() as usize]
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Of a rule that starts on Tuesday, 24 November 2026, at eight.
    #[track_caller]
    fn check(rule: &str, words: &str) {
        assert_eq!(in_words(rule, "2026-11-24T08:00:00".parse().unwrap()), words);
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
        check("FREQ=DAILY;UNTIL=20261231T235959Z", "every day at 08:00, until 2026-12-31");
    }

    #[test]
    fn what_has_no_plain_words_is_told_as_it_is() {
        let rule = "FREQ=MONTHLY;BYDAY=MO,TU;BYSETPOS=-1";
        check(rule, &format!("by the rule {rule}"));
        check("FREQ=YEARLY;BYWEEKNO=20", "by the rule FREQ=YEARLY;BYWEEKNO=20");
        check("daily", "by the rule daily");
    }
}
