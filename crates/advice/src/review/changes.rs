//! Which tank changes fell due in a period.

use chrono::NaiveDate;
use fillmark_domain::Days;
use fillmark_domain::entries::TankChange;
use fillmark_domain::places::TankId;
use fillmark_domain::plan::SitePlan;

use super::ChangeDue;

/// The changes of some tanks that fell due in a period: those that were done, by the day they were due, and those
/// that still are on the day of the review.
pub fn changes_due(
    plan: &SitePlan,
    tanks: &[TankId],
    changes: &[TankChange],
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
        let last = full.map(|change| plan.day(change.recorded_at)).max()?;
        let due = plan.due_changes(tank, Some(last), last.succ_opt()?, until).into_iter().next()?;
        days.hold(due).then_some(ChangeDue { due, done: None })
    });
    done.chain(open).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::testing::{Site, day, north_tank, tank_change};

    /// Changes as the day done and the day due, of a tank that is changed every seven days.
    #[track_caller]
    fn check(changes: &[(&str, &str)], reviewed: &str, expected: &[(&str, Option<&str>)]) {
        let changes: Vec<TankChange> =
            changes.iter().map(|(done, due)| tank_change(done, Some(due))).collect();
        let march = Days { from: day("03-01"), until: day("03-31") };
        let found = changes_due(&Site::default().0, &[north_tank()], &changes, march, day(reviewed));
        let expected: Vec<ChangeDue> =
            expected.iter().map(|(due, done)| ChangeDue { due: day(due), done: done.map(day) }).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn a_change_done_counts_by_the_day_it_was_due() {
        check(&[("03-02", "02-28"), ("03-09", "03-09")], "03-12", &[("03-09", Some("03-09"))]);
    }

    #[test]
    fn a_change_that_is_still_due_counts_as_not_done() {
        check(&[("03-09", "03-09")], "03-20", &[("03-09", Some("03-09")), ("03-16", None)]);
    }
}
