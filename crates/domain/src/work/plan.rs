//! Check plans: what is to be looked at, where, how often and by when.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use chrono_tz::Tz;

use crate::code::coded;
use crate::entries::{Meter, MeterKind, NotMeasuredThere, SamplePoint};
use crate::places::{Room, Tank};
use crate::recurrence::{NotARecurrence, TooManySteps, in_words};
use crate::work::{Cause, Check, CheckState, Qualification};
use crate::{Days, Id, Metric, Recurrence};

/// The longest limit: a check that may still be done after a week is no check of its day.
pub const LONGEST_LIMIT_MIN: u32 = 7 * 24 * 60;

/// The most checks that one plan may have on a day: one every half hour.
pub const MOST_A_DAY: usize = 48;

coded! {
    /// What kind of work a check is.
    TaskKind {
        /// Metrics are read.
        Measure = "measure",
        /// Somebody looks.
        Inspect = "inspect",
        /// A meter is calibrated.
        Calibrate = "calibrate",
        /// A tank is changed; made by the feeding programme, never by a check plan.
        ChangeTank = "change_tank",
    }
}

/// What a check is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Task {
    /// These metrics are read.
    Measure {
        /// What is measured.
        metrics: BTreeSet<Metric>,
        /// Where the sample is taken.
        point: SamplePoint,
    },
    /// Somebody looks.
    Inspect,
    /// A meter is calibrated.
    Calibrate {
        /// Which. Not known of what was planned before plans named it.
        meter: Option<Id<Meter>>,
    },
    /// A tank is changed.
    ChangeTank,
}

impl Task {
    /// What kind of work it is.
    pub fn kind(&self) -> TaskKind {
        match self {
            Task::Measure { .. } => TaskKind::Measure,
            Task::Inspect => TaskKind::Inspect,
            Task::Calibrate { .. } => TaskKind::Calibrate,
            Task::ChangeTank => TaskKind::ChangeTank,
        }
    }

    /// What is measured; nothing for other work.
    pub fn metrics(&self) -> impl Iterator<Item = Metric> {
        let metrics = match self {
            Task::Measure { metrics, .. } => Some(metrics),
            Task::Inspect | Task::Calibrate { .. } | Task::ChangeTank => None,
        };
        metrics.into_iter().flatten().copied()
    }
}

impl Task {
    /// The meter that is calibrated, where that is the work and it is known.
    pub fn calibrates(&self) -> Option<Id<Meter>> {
        if let Task::Calibrate { meter } = self { *meter } else { None }
    }

    /// The kind of meter it takes in hand; none for what no pen measures.
    pub fn meter(&self) -> Option<MeterKind> {
        let Task::Measure { metrics, .. } = self else { return None };
        match (metrics.contains(&Metric::Ph), metrics.contains(&Metric::Ec)) {
            (true, true) => Some(MeterKind::PhAndEc),
            (true, false) => Some(MeterKind::Ph),
            (false, true) => Some(MeterKind::Ec),
            (false, false) => None,
        }
    }
}

/// What counts when a check is shared out among people.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sharing {
    /// How much it matters that it is done, from 1 to [`MOST_WEIGHT`]: two of 1 are left for one of 2.
    pub weight: u32,
    /// Whether nobody likes to do it, so that its minutes are shared fairly too.
    pub is_unpleasant: bool,
}

impl Default for Sharing {
    /// One check as any.
    fn default() -> Sharing {
        Sharing { weight: 1, is_unpleasant: false }
    }
}

/// The most that a check can matter beside others: a scale that people can still think in (our own judgement).
pub const MOST_WEIGHT: u32 = 9;

/// Where a check is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Place {
    /// In a room.
    Room(Id<Room>),
    /// At a tank.
    Tank(Id<Tank>),
}

/// A plan from which checks are made. Editing it remakes only future checks that nobody opened, so each
/// check carries what it was made with.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckPlan {
    /// Its name on the round.
    pub name: String,
    /// What is done.
    pub task: Task,
    /// Where.
    pub place: Place,
    /// When: the text of an RFC 5545 rule, in the time of the site.
    pub rule: String,
    /// The wall-clock time the rule starts from.
    pub start: NaiveDateTime,
    /// Minutes from when it is due in which it is in time.
    pub window_min: u32,
    /// Minutes from when it is due after which it is missed for good.
    pub limit_min: u32,
    /// Minutes of work.
    pub work_min: u32,
    /// What a person must be qualified in to do it.
    pub qualification: Option<Id<Qualification>>,
    /// Whether two people must do it together.
    pub two_people: bool,
    /// What counts when it is shared out.
    pub sharing: Sharing,
}

impl CheckPlan {
    /// This plan, when its numbers are in order.
    /// # Errors
    /// [`NotAPlan`] names the field that is wrong.
    pub fn checked(self) -> Result<CheckPlan, NotAPlan> {
        if self.name.trim().is_empty() {
            return Err(NotAPlan::NoName);
        }
        match &self.task {
            Task::Measure { metrics, .. } if metrics.is_empty() => return Err(NotAPlan::NothingToMeasure),
            Task::ChangeTank => return Err(NotAPlan::TankChange),
            Task::Measure { metrics, point } => {
                for metric in metrics {
                    point.of(*metric)?;
                }
            }
            Task::Calibrate { meter: None } => return Err(NotAPlan::NoMeter),
            Task::Inspect | Task::Calibrate { .. } => {}
        }
        let (work_min, window_min, limit_min) = (self.work_min, self.window_min, self.limit_min);
        let in_order = 0 < work_min && work_min <= window_min && window_min <= limit_min;
        if !in_order || limit_min > LONGEST_LIMIT_MIN {
            return Err(NotAPlan::Minutes { work_min, window_min, limit_min });
        }
        if !(1..=MOST_WEIGHT).contains(&self.sharing.weight) {
            return Err(NotAPlan::Weight(self.sharing.weight));
        }
        Ok(self)
    }

    /// How often it comes, in words, by the clock of a zone.
    pub fn in_words(&self, zone: Tz) -> String {
        in_words(&self.rule, self.start, zone)
    }

    /// When it is due by the clock of a zone.
    /// # Errors
    /// [`NotARecurrence`] when its rule is none, never comes, or comes more than [`MOST_A_DAY`] times on its first days.
    pub fn recurrence(&self, zone: Tz) -> Result<Recurrence, NotARecurrence> {
        let recurrence = Recurrence::new(&self.rule, self.start, zone)?;
        if !recurrence.comes() {
            return Err(NotARecurrence::Rule { why: "it never comes".to_owned() });
        }
        let far = self.start.date() + TimeDelta::days(DAYS_LOOKED_AT);
        let due = recurrence.due_on(Days { from: self.start.date(), until: far });
        let most = due.map(|due| most_on_a_day(due.into_iter().map(|one| one.date)));
        match most {
            Ok(most) if most <= MOST_A_DAY => Ok(recurrence),
            _ => Err(NotARecurrence::Rule { why: format!("it comes more than {MOST_A_DAY} times a day") }),
        }
    }

    /// The checks of these local days, planned. Each is claimed by plan, date and time, so asking twice, or
    /// after new zone rules, doubles none.
    /// # Errors
    /// [`NotDue`] when the rule is none, or comes too often to be followed that far.
    pub fn checks(&self, plan: Id<CheckPlan>, zone: Tz, days: Days) -> Result<Vec<Check>, NotDue> {
        let due = self.recurrence(zone)?.due_on(days)?;
        let after = |at: DateTime<Utc>, minutes: u32| at + TimeDelta::minutes(minutes.into());
        Ok(due
            .into_iter()
            .map(|one| Check {
                cause: Cause::Plan(plan),
                date: one.date,
                time: one.time,
                name: self.name.clone(),
                task: self.task.clone(),
                place: self.place,
                due_at: one.at,
                window_until: after(one.at, self.window_min),
                limit: after(one.at, self.limit_min),
                work_min: self.work_min,
                qualification: self.qualification,
                two_people: self.two_people,
                sharing: self.sharing,
                state: CheckState::Planned,
            })
            .collect())
    }
}

/// A rule that comes too often shows it within a fortnight, or is thinned by what comes seldom.
const DAYS_LOOKED_AT: i64 = 14;

fn most_on_a_day(dates: impl Iterator<Item = chrono::NaiveDate>) -> usize {
    let mut count = std::collections::BTreeMap::<_, usize>::new();
    for date in dates {
        *count.entry(date).or_default() += 1;
    }
    count.into_values().max().unwrap_or_default()
}

/// Why the checks of a plan cannot be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotDue {
    /// Its rule is none.
    #[error(transparent)]
    Rule(#[from] NotARecurrence),
    /// Its rule cannot be followed that far.
    #[error(transparent)]
    TooManySteps(#[from] TooManySteps),
}

/// What a plan lacks.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAPlan {
    /// No name.
    #[error("a check plan needs a name")]
    NoName,
    /// A measurement of nothing.
    #[error("a measurement needs at least one metric")]
    NothingToMeasure,
    /// A calibration of whatever meter: one of them would stand for all.
    #[error("a calibration needs the meter that is calibrated, one plan a meter")]
    NoMeter,
    /// A metric that is not measured where the sample is taken.
    #[error(transparent)]
    Elsewhere(#[from] NotMeasuredThere),
    /// The work of the feeding programme.
    #[error("tank changes are made by the feeding programme, check plans contain none")]
    TankChange,
    /// Minutes out of order: work has to fit the window, and the window ends before the limit.
    #[error(
        "expected 0 < work ≤ window ≤ limit ≤ {LONGEST_LIMIT_MIN} minutes, found {work_min}, {window_min}, {limit_min}"
    )]
    Minutes {
        /// Minutes of work.
        work_min: u32,
        /// Minutes of the window.
        window_min: u32,
        /// Minutes up to the limit.
        limit_min: u32,
    },
    /// A weight off the scale.
    #[error("expected a weight from 1 to {MOST_WEIGHT}, found {0}")]
    Weight(u32),
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::Europe::Berlin;
    use uuid::Uuid;

    fn ph_of_the_north_tank() -> CheckPlan {
        CheckPlan {
            name: "EC and pH".into(),
            task: Task::Measure { metrics: [Metric::Ec, Metric::Ph].into(), point: SamplePoint::Tank },
            place: Place::Tank(Id::new(Uuid::from_u128(1))),
            rule: "FREQ=DAILY".into(),
            start: "2026-03-01T02:30:00".parse().unwrap(),
            window_min: 60,
            limit_min: 240,
            work_min: 10,
            qualification: None,
            two_people: false,
            sharing: Sharing::default(),
        }
    }

    #[track_caller]
    fn check_refused(spoil: impl FnOnce(&mut CheckPlan), why: &str) {
        let mut plan = ph_of_the_north_tank();
        spoil(&mut plan);
        assert_eq!(plan.checked().unwrap_err().to_string(), why);
    }

    #[test]
    fn a_plan_with_its_numbers_in_order_is_one() {
        assert!(ph_of_the_north_tank().checked().is_ok());
    }

    #[test]
    fn refusals_name_the_field() {
        check_refused(|plan| plan.name = " ".into(), "a check plan needs a name");
        check_refused(
            |plan| plan.task = Task::Measure { metrics: BTreeSet::new(), point: SamplePoint::Tank },
            "a measurement needs at least one metric",
        );
        let no_meter = "a calibration needs the meter that is calibrated, one plan a meter";
        check_refused(|plan| plan.task = Task::Calibrate { meter: None }, no_meter);
        let programme = "tank changes are made by the feeding programme, check plans contain none";
        check_refused(|plan| plan.task = Task::ChangeTank, programme);
        let minutes = "expected 0 < work ≤ window ≤ limit ≤ 10080 minutes, found";
        check_refused(|plan| plan.work_min = 0, &format!("{minutes} 0, 60, 240"));
        check_refused(|plan| plan.work_min = 61, &format!("{minutes} 61, 60, 240"));
        check_refused(|plan| plan.limit_min = 59, &format!("{minutes} 10, 60, 59"));
        check_refused(|plan| plan.sharing.weight = 0, "expected a weight from 1 to 9, found 0");
    }

    #[test]
    fn a_check_made_after_the_clock_gap_keeps_the_time_of_its_plan() {
        let day = "2026-03-29".parse().unwrap();
        let checks = ph_of_the_north_tank()
            .checks(Id::new(Uuid::from_u128(2)), Berlin, Days { from: day, until: day })
            .unwrap();
        let [check] = &checks[..] else { panic!("one check") };
        assert_eq!((check.date, check.time), (day, "02:30:00".parse().unwrap()));
        assert_eq!(check.due_at, "2026-03-29T01:00:00Z".parse::<DateTime<Utc>>().unwrap());
        assert_eq!(check.limit, "2026-03-29T05:00:00Z".parse::<DateTime<Utc>>().unwrap());
    }

    #[test]
    fn a_rule_may_come_every_half_hour_and_no_more_often() {
        let plan = |rule: &str| CheckPlan { rule: rule.into(), ..ph_of_the_north_tank() };
        assert!(plan("FREQ=MINUTELY;INTERVAL=30").recurrence(Berlin).is_ok());
        assert!(plan("FREQ=MINUTELY;INTERVAL=29").recurrence(Berlin).is_err());
        assert!(plan("FREQ=SECONDLY").recurrence(Berlin).is_err());
    }
}
