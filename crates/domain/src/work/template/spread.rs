//! On which working day something comes that comes once a week.

use chrono::{Datelike, NaiveDate, Weekday};
use chrono_tz::Tz;

use super::{Template, hygiene, next};
use crate::places::Room;
use crate::work::{CheckPlan, Place};
use crate::{Days, Kept, Recurrence};

/// Gives what comes once a week its day: room by room from clean to dirty, each the working day that has the fewest minutes so
/// far.
pub(super) fn spread(made: &mut [&mut Template], rooms: &[Kept<Room>], filled: &mut Filled) {
    let mut weekly: Vec<&mut CheckPlan> = made.iter_mut().map(|one| &mut one.plan).collect();
    weekly.retain(|plan| plan.rule.starts_with("FREQ=WEEKLY") && !plan.rule.contains("BYDAY"));
    weekly.sort_by_key(|plan| rooms.iter().find(|room| Place::Room(room.id) == plan.place).map(hygiene));
    for plan in weekly {
        if let Some(day) = filled.emptiest() {
            plan.start = next(filled.looked_at.from, &[day]).and_time(plan.start.time());
            filled.add(plan);
        }
    }
}

/// So many weeks show what comes every second, third, fourth and sixth one by its part.
const WEEKS_LOOKED_AT: u64 = 12;

/// How working days are filled with work, in minutes over some weeks.
pub(super) struct Filled {
    looked_at: Days,
    minutes: Vec<(u32, Weekday)>,
}

impl Filled {
    /// By these plans, from a day on.
    pub(super) fn by(plans: &[CheckPlan], days: &[Weekday], from: NaiveDate) -> Filled {
        let until = from.checked_add_days(chrono::Days::new(7 * WEEKS_LOOKED_AT - 1)).unwrap_or(from);
        let minutes = days.iter().map(|day| (0, *day)).collect();
        let mut filled = Filled { looked_at: Days { from, until }, minutes };
        plans.iter().for_each(|plan| filled.add(plan));
        filled
    }

    /// A plan that cannot be followed fills no day.
    fn add(&mut self, plan: &CheckPlan) {
        let people = if plan.two_people { 2 } else { 1 };
        // The days of a rule are those of its own clock, whatever the zone.
        let rule = Recurrence::new(&plan.rule, plan.start, Tz::UTC).ok();
        let due = rule.and_then(|rule| rule.due_on(self.looked_at).ok()).unwrap_or_default();
        for day in due.iter().map(|one| one.date.weekday()) {
            let filled = self.minutes.iter_mut().filter(|(_, other)| *other == day);
            filled.for_each(|(minutes, _)| *minutes += plan.work_min * people);
        }
    }

    /// The first of the days with the fewest minutes.
    fn emptiest(&self) -> Option<Weekday> {
        self.minutes.iter().min_by_key(|(minutes, _)| *minutes).map(|(_, day)| *day)
    }
}
