//! Which tank changes fell due in a period.

use std::collections::HashMap;

use chrono::{Days as ChronoDays, NaiveDate};
use fillmark_domain::Days;
use fillmark_domain::entries::{EARLY, TankChange};
use fillmark_domain::places::TankId;
use fillmark_domain::plan::SitePlan;

use super::ChangeDue;

/// Days after the due day on which a change is still on time; common practice, no source.
pub const CHANGE_GRACE: ChronoDays = ChronoDays::new(1);

/// The days on which changes may be done that fall due in a period: some are done early, some with grace.
pub fn days_of_changes(due: Days) -> Days {
    Days {
        from: due.from.checked_sub_days(EARLY).unwrap_or(due.from),
        until: due.until.checked_add_days(CHANGE_GRACE).unwrap_or(due.until),
    }
}

/// The changes of some tanks that fell due in a period: those that were done, by the day they were due, and those
/// that still are on the day of the review. A change that was overdue when the period began and was not done in it
/// counts as due on its first day: a tank that nobody changes must not vanish from the reports that follow.
///
/// It wants the changes of [`days_of_changes`], and of each tank the day of its last full change before the period.
pub fn changes_due(
    plan: &SitePlan,
    tanks: &[TankId],
    changes: &[TankChange],
    last_before: &HashMap<TankId, NaiveDate>,
    days: Days,
    reviewed: NaiveDate,
) -> Vec<ChangeDue> {
    let done = changes.iter().filter_map(|change| {
        let due = change.due_on.filter(|due| days.hold(*due))?;
        Some(ChangeDue { due, done: Some(plan.day(change.recorded_at)) })
    });
    let until = days.until.min(reviewed);
    let open = plan.tanks.iter().filter(|tank| tanks.contains(&tank.id)).filter_map(|tank| {
        let full = changes.iter().filter(|change| change.tank == tank.id && change.is_full());
        let last = full.map(|change| plan.day(change.recorded_at)).max();
        let last = last.or_else(|| last_before.get(&tank.id).copied());
        let next = last.and_then(|last| last.succ_opt());
        let from = next.map_or(days.from, |next| next.max(days.from));
        let due = plan.due_changes(tank, last, from, until).into_iter().next().filter(|_| from <= until)?;
        Some(ChangeDue { due: due.max(days.from), done: None })
    });
    done.chain(open).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::testing::{Site, day, north_tank, tank_change};

    /// What fell due in March of a tank that is changed every seven days, from the day of its last full change
    /// before, and its changes by the day done and the day due.
    #[track_caller]
    fn check(
        last_before: Option<&str>,
        changes: &[(&str, &str)],
        reviewed: &str,
        expected: &[(&str, Option<&str>)],
    ) {
        let changes: Vec<TankChange> =
            changes.iter().map(|(done, due)| tank_change(done, Some(due))).collect();
        let before = last_before.map(|last| (north_tank(), day(last))).into_iter().collect();
        let march = Days { from: day("03-01"), until: day("03-31") };
        let found = changes_due(&Site::default().0, &[north_tank()], &changes, &before, march, day(reviewed));
        let expected: Vec<ChangeDue> =
            expected.iter().map(|(due, done)| ChangeDue { due: day(due), done: done.map(day) }).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn a_change_done_counts_by_the_day_it_was_due() {
        let done = [("02-28", "02-28"), ("03-07", "03-07")];
        check(Some("02-21"), &done, "03-12", &[("03-07", Some("03-07"))]);
        check(Some("02-24"), &[("02-28", "03-03")], "03-05", &[("03-03", Some("02-28"))]);
    }

    #[test]
    fn a_change_that_is_still_due_counts_as_not_done() {
        let done = [("03-09", "03-09")];
        check(Some("03-02"), &done, "03-20", &[("03-09", Some("03-09")), ("03-16", None)]);
    }

    #[test]
    fn a_tank_that_is_neglected_all_period_counts_as_due() {
        check(Some("02-26"), &[], "04-10", &[("03-05", None)]);
        check(Some("01-10"), &[], "04-10", &[("03-01", None)]);
        check(None, &[], "04-10", &[("03-01", None)]);
    }

    #[test]
    fn what_is_to_come_is_not_due_yet() {
        check(Some("02-26"), &[], "03-04", &[]);
        check(Some("01-10"), &[], "02-20", &[]);
    }

    #[test]
    fn a_change_due_on_the_last_day_may_be_done_on_the_next() {
        let done = [("03-24", "03-24"), ("04-01", "03-31")];
        let both = [("03-24", Some("03-24")), ("03-31", Some("04-01"))];
        check(Some("03-17"), &done, "04-10", &both);
    }
}
