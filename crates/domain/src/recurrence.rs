//! How often something is due: RFC 5545 recurrence rules in the wall-clock time of a zone.
//!
//! The rule is expanded in wall-clock time and each time is then taken to its instant here, because COUNT,
//! UNTIL and gaps of the clock need the zone, and because work and calendars want different answers of a
//! gap: see [`Recurrence::expand`] and [`Recurrence::due`].

mod words;

use std::collections::BTreeSet;
use std::ops::Range;

use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, NaiveTime, Utc};
use chrono_tz::Tz;
use rrule::{RRule, RRuleError, RRuleSet, Unvalidated};

use crate::local::{Wall, local_day};

pub use words::in_words;

/// The most times a rule is stepped in one answer: a check each hour for eleven years.
pub const MOST_STEPS: usize = 100_000;

/// A recurrence rule with its start, in the wall-clock time of a zone.
#[derive(Debug, Clone, PartialEq)]
pub struct Recurrence {
    text: String,
    rule: RRule,
    count: Option<usize>,
    until: Option<DateTime<Utc>>,
    start: NaiveDateTime,
    zone: Tz,
    except: BTreeSet<NaiveDateTime>,
    extra: BTreeSet<NaiveDateTime>,
}

/// One time of a recurrence. Date and time are those of the rule, so they name the occurrence even where
/// new zone rules move its instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Occurrence {
    /// When it is.
    pub at: DateTime<Utc>,
    /// The local date the rule names.
    pub date: NaiveDate,
    /// The local time the rule names.
    pub time: NaiveTime,
}

/// What becomes of a local time in a gap of the clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Gap {
    /// It is no occurrence.
    Skips,
    /// It comes at the first instant after the gap.
    Delays,
}

impl Recurrence {
    /// A recurrence from the text of an RRULE (with or without `RRULE:` before it).
    /// # Errors
    /// [`NotARecurrence`] names the part that is wrong. An UNTIL must be in UTC, as RFC 5545 3.3.10 wants
    /// it of rules with a zone; COUNT and UNTIL exclude each other there.
    pub fn new(rule: &str, start: NaiveDateTime, zone: Tz) -> Result<Recurrence, NotARecurrence> {
        let parts = Parts::split(rule)?;
        let parsed: RRule<Unvalidated> = parts.rest.parse().map_err(refused)?;
        if parsed.get_interval() == 0 {
            return Err(NotARecurrence::Part { part: "INTERVAL", value: "0".into(), expected: "at least 1" });
        }
        let rule = parsed.validate(start.and_utc().with_timezone(&rrule::Tz::UTC)).map_err(refused)?;

        Ok(Recurrence {
            text: parts.text,
            rule,
            count: parts.count,
            until: parts.until,
            start,
            zone,
            except: BTreeSet::new(),
            extra: BTreeSet::new(),
        })
    }

    /// Without these wall-clock times (EXDATE). They still use up COUNT, as in RFC 5545.
    #[must_use]
    pub fn except(mut self, times: impl IntoIterator<Item = NaiveDateTime>) -> Recurrence {
        self.except.extend(times);
        self
    }

    /// With these wall-clock times besides (RDATE), whatever COUNT and UNTIL say.
    #[must_use]
    pub fn with(mut self, times: impl IntoIterator<Item = NaiveDateTime>) -> Recurrence {
        self.extra.extend(times);
        self
    }

    /// Whether it comes at all, as far as the library that steps rules looks.
    pub fn comes(&self) -> bool {
        let set = RRuleSet::new(self.start.and_utc().with_timezone(&rrule::Tz::UTC));
        let walls = set.rrule(self.rule.clone()).limit().into_iter().take(MOST_STEPS);
        let first = walls.filter_map(|wall| self.occurrence(wall.naive_utc(), Gap::Delays)).next();
        let in_time = |first: &Occurrence| self.until.is_none_or(|until| first.at <= until);
        first.as_ref().is_some_and(in_time) || !self.extra.is_empty()
    }

    /// The occurrences of these instants as RFC 5545 has them: a local time that does not exist is no
    /// occurrence and does not count (3.3.10), of one that comes twice it is the first (3.3.5).
    /// # Errors
    /// [`TooManySteps`] when the rule is stepped more than [`MOST_STEPS`] times to get there.
    pub fn expand(&self, within: Range<DateTime<Utc>>) -> Result<Vec<Occurrence>, TooManySteps> {
        self.occurrences(within, Gap::Skips)
    }

    /// The times of these instants at which work is due: as [`expand`](Self::expand), but a local time in a
    /// gap of the clock is due at the first instant after it, since plants want their check on that day
    /// too. Each local day once: what falls on an instant that has its occurrence already is not due
    /// again, and a date that the zone skipped whole has nothing due.
    /// # Errors
    /// [`TooManySteps`] when the rule is stepped more than [`MOST_STEPS`] times to get there.
    pub fn due(&self, within: Range<DateTime<Utc>>) -> Result<Vec<Occurrence>, TooManySteps> {
        self.occurrences(within, Gap::Delays)
    }

    /// What is [`due`](Self::due) with a local date in these days, wherever its instant lies.
    /// # Errors
    /// As [`due`](Self::due).
    pub fn due_on(&self, days: crate::Days) -> Result<Vec<Occurrence>, TooManySteps> {
        // A gap before midnight puts its occurrence on the first instant of the next day.
        let (first, last) = (local_day(self.zone, days.from), local_day(self.zone, days.until));
        let within = first.start..last.end + chrono::TimeDelta::seconds(1);
        let mut due = self.due(within)?;
        due.retain(|occurrence| days.hold(occurrence.date));
        Ok(due)
    }

    fn occurrences(&self, within: Range<DateTime<Utc>>, gap: Gap) -> Result<Vec<Occurrence>, TooManySteps> {
        let mut found = self.by_rule(&within, gap)?;
        let extra = self.extra.iter().filter_map(|wall| self.occurrence(*wall, gap));
        found.extend(extra.filter(|occurrence| within.contains(&occurrence.at)));
        found.retain(|occurrence| !self.except.contains(&occurrence.date.and_time(occurrence.time)));

        // Of several at one instant the one whose wall-clock time is really then stays.
        found.sort_by_key(|occurrence| (occurrence.at, !self.is_really_then(occurrence), *occurrence));
        found.dedup_by_key(|occurrence| occurrence.at);
        Ok(found)
    }

    /// The occurrences by the rule alone. Wall-clock order is the order of instants, since of a time that
    /// comes twice only the first is taken, so the first one past the end is the last to be looked at.
    fn by_rule(&self, within: &Range<DateTime<Utc>>, gap: Gap) -> Result<Vec<Occurrence>, TooManySteps> {
        let mut found: Vec<Occurrence> = Vec::new();
        let mut counted = 0;
        let mut last_at = None;
        let set = RRuleSet::new(self.step_from(within).and_utc().with_timezone(&rrule::Tz::UTC));
        for (step, wall) in set.rrule(self.rule.clone()).limit().into_iter().enumerate() {
            if step >= MOST_STEPS {
                return Err(TooManySteps { rule: self.text.clone() });
            }
            let Some(occurrence) = self.occurrence(wall.naive_utc(), gap) else { continue };
            if occurrence.at >= within.end || self.until.is_some_and(|until| occurrence.at > until) {
                break;
            }
            counted += usize::from(last_at.replace(occurrence.at) != Some(occurrence.at));
            if self.count.is_some_and(|count| counted > count) {
                break;
            }
            if occurrence.at >= within.start {
                found.push(occurrence);
            }
        }
        Ok(found)
    }

    fn occurrence(&self, wall: NaiveDateTime, gap: Gap) -> Option<Occurrence> {
        let (date, time) = (wall.date(), wall.time());
        let at = match Wall::of(self.zone, wall) {
            Wall::Never { .. } if gap == Gap::Skips || local_day(self.zone, date).is_empty() => return None,
            wall => wall.instant_or_after(),
        };
        Some(Occurrence { at, date, time })
    }

    fn is_really_then(&self, occurrence: &Occurrence) -> bool {
        occurrence.at.with_timezone(&self.zone).naive_local() == occurrence.date.and_time(occurrence.time)
    }

    /// Where stepping starts. Without COUNT and with an interval of one the years before do not matter, so
    /// a plan that has run for ten years answers as fast as a new one. The year before the range is
    /// stepped too: a set that BYSETPOS picks from is then never cut where it is wanted.
    fn step_from(&self, within: &Range<DateTime<Utc>>) -> NaiveDateTime {
        if self.count.is_some() || self.rule.get_interval() != 1 {
            return self.start;
        }
        let new_year = NaiveDate::from_ymd_opt(within.start.year() - 1, 1, 1);
        new_year.map_or(self.start, |date| self.start.max(date.and_time(NaiveTime::MIN)))
    }
}

/// A rule with COUNT and UNTIL taken out of it: both are about instants, which the zone decides.
struct Parts {
    text: String,
    rest: String,
    count: Option<usize>,
    until: Option<DateTime<Utc>>,
}

impl Parts {
    fn split(rule: &str) -> Result<Parts, NotARecurrence> {
        let text = rule.trim();
        let text = text.strip_prefix("RRULE:").unwrap_or(text);
        let strange = |c: &char| !(c.is_ascii_alphanumeric() || "=;,+-".contains(*c));
        if let Some(found) = text.chars().find(strange) {
            return Err(NotARecurrence::Strange { found });
        }

        let (mut rest, mut count, mut until) = (Vec::new(), None, None);
        for part in text.split(';').filter(|part| !part.is_empty()) {
            let (name, value) = part.split_once('=').unwrap_or((part, ""));
            let twice = match name.to_ascii_uppercase().as_str() {
                "COUNT" => count.replace(parse_count(value)?).is_some(),
                "UNTIL" => until.replace(parse_until(value)?).is_some(),
                _ => {
                    rest.push(part);
                    false
                }
            };
            if twice {
                return Err(NotARecurrence::Rule { why: format!("{name} is given twice") });
            }
        }
        if count.is_some() && until.is_some() {
            return Err(NotARecurrence::CountAndUntil);
        }
        Ok(Parts { text: text.to_owned(), rest: rest.join(";"), count, until })
    }
}

fn parse_count(value: &str) -> Result<usize, NotARecurrence> {
    match value.parse() {
        Ok(count) if count > 0 => Ok(count),
        _ => Err(NotARecurrence::Part { part: "COUNT", value: value.into(), expected: "at least 1" }),
    }
}

fn parse_until(value: &str) -> Result<DateTime<Utc>, NotARecurrence> {
    let until = NaiveDateTime::parse_from_str(value, "%Y%m%dT%H%M%SZ");
    until.map(|until| until.and_utc()).map_err(|_| NotARecurrence::Part {
        part: "UNTIL",
        value: value.into(),
        expected: "a time in UTC like 20271231T235959Z",
    })
}

fn refused(why: RRuleError) -> NotARecurrence {
    let why = match why {
        RRuleError::ParserError(why) => why.to_string(),
        RRuleError::ValidationError(why) => why.to_string(),
        RRuleError::IterError(why) => why,
    };
    NotARecurrence::Rule { why: why.trim_end_matches('.').to_owned() }
}

/// The text is no recurrence rule.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotARecurrence {
    /// A character that no rule has.
    #[error("a rule has letters, digits and = ; , + - only, found {found:?}")]
    Strange {
        /// The character.
        found: char,
    },
    /// A part with a value that cannot be.
    #[error("{part}={value} cannot be, expected {expected}")]
    Part {
        /// The part's name.
        part: &'static str,
        /// Its value as given.
        value: String,
        /// What it may be.
        expected: &'static str,
    },
    /// Both ends at once.
    #[error("COUNT and UNTIL exclude each other")]
    CountAndUntil,
    /// Whatever else is wrong, in the words of the library that reads rules.
    #[error("{why}")]
    Rule {
        /// What is wrong.
        why: String,
    },
}

/// The rule comes too often to be stepped that far.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{rule} comes more than {MOST_STEPS} times up to there")]
pub struct TooManySteps {
    /// The rule as given.
    pub rule: String,
}

#[cfg(test)]
mod tests;
