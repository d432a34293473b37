//! Check plans: what is to be looked at, where, how often and by when.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};

use crate::places::{Room, Tank};
use crate::recurrence::TooManySteps;
use crate::work::{Check, CheckState, Qualification};
use crate::{Days, Id, Metric, Recurrence};

/// The longest limit: a check that may still be done after a week is no check of its day.
pub const LONGEST_LIMIT_MIN: u32 = 7 * 24 * 60;

/// What a check is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Task {
    /// These metrics are read.
    Measure(BTreeSet<Metric>),
    /// Somebody looks.
    Inspect,
    /// A meter is calibrated.
    Calibrate,
}

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
    /// When, in the time of the site.
    pub recurrence: Recurrence,
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
}

impl CheckPlan {
    /// This plan, when its numbers are in order.
    /// # Errors
    /// [`NotAPlan`] names the field that is wrong.
    pub fn checked(self) -> Result<CheckPlan, NotAPlan> {
        if self.name.trim().is_empty() {
            return Err(NotAPlan::NoName);
        }
        if matches!(&self.task, Task::Measure(metrics) if metrics.is_empty()) {
            return Err(NotAPlan::NothingToMeasure);
        }
        let (work_min, window_min, limit_min) = (self.work_min, self.window_min, self.limit_min);
        let in_order = 0 < work_min && work_min <= window_min && window_min <= limit_min;
        if !in_order || limit_min > LONGEST_LIMIT_MIN {
            return Err(NotAPlan::Minutes { work_min, window_min, limit_min });
        }
        Ok(self)
    }

    /// The checks of these local days, planned. Each is claimed by plan, date and time, so asking twice, or
    /// after new zone rules, doubles none.
    /// # Errors
    /// [`TooManySteps`] when the recurrence comes too often to be followed that far.
    pub fn checks(&self, plan: Id<CheckPlan>, days: Days) -> Result<Vec<Check>, TooManySteps> {
        let due = self.recurrence.due_on(days)?;
        let after = |at: DateTime<Utc>, minutes: u32| at + TimeDelta::minutes(minutes.into());
        Ok(due
            .into_iter()
            .map(|one| Check {
                plan,
                date: one.date,
                time: one.time,
                due_at: one.at,
                window_until: after(one.at, self.window_min),
                limit: after(one.at, self.limit_min),
                two_people: self.two_people,
                state: CheckState::Planned,
            })
            .collect())
    }
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
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::Europe::Berlin;
    use uuid::Uuid;

    fn ph_of_the_north_tank() -> CheckPlan {
        CheckPlan {
            name: "EC and pH".into(),
            task: Task::Measure([Metric::Ec, Metric::Ph].into()),
            place: Place::Tank(Id::new(Uuid::from_u128(1))),
            recurrence: Recurrence::new("FREQ=DAILY", "2026-03-01T02:30:00".parse().unwrap(), Berlin)
                .unwrap(),
            window_min: 60,
            limit_min: 240,
            work_min: 10,
            qualification: None,
            two_people: false,
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
            |plan| plan.task = Task::Measure(BTreeSet::new()),
            "a measurement needs at least one metric",
        );
        let minutes = "expected 0 < work ≤ window ≤ limit ≤ 10080 minutes, found";
        check_refused(|plan| plan.work_min = 0, &format!("{minutes} 0, 60, 240"));
        check_refused(|plan| plan.work_min = 61, &format!("{minutes} 61, 60, 240"));
        check_refused(|plan| plan.limit_min = 59, &format!("{minutes} 10, 60, 59"));
    }

    #[test]
    fn a_check_made_after_the_clock_gap_keeps_the_time_of_its_plan() {
        let day = "2026-03-29".parse().unwrap();
        let checks = ph_of_the_north_tank()
            .checks(Id::new(Uuid::from_u128(2)), Days { from: day, until: day })
            .unwrap();
        let [check] = &checks[..] else { panic!("one check") };
        assert_eq!((check.date, check.time), (day, "02:30:00".parse().unwrap()));
        assert_eq!(check.due_at, "2026-03-29T01:00:00Z".parse::<DateTime<Utc>>().unwrap());
        assert_eq!(check.limit, "2026-03-29T05:00:00Z".parse::<DateTime<Utc>>().unwrap());
    }
}
