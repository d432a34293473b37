//! The checks that the feeding programme makes: one for each tank change that is due.

use chrono::{NaiveDate, NaiveTime, TimeDelta};
use chrono_tz::Tz;

use crate::Kept;
use crate::local::Wall;
use crate::places::Tank;
use crate::work::{Cause, Check, CheckState, Place, Sharing, Task};

/// Due when staff have begun, common practice; to be done by the end of the working day.
const DUE_HOUR: u32 = 8;
const WINDOW_H: i64 = 10;
/// After so many days it is missed: the next change is nearer than the last then.
const LIMIT_DAYS: i64 = 3;
/// Drain, rinse, fill, dose, wait, read: common practice, no source.
const WORK_MIN: u32 = 45;

/// The check of a tank change that is due on a day.
pub fn change_check(tank: &Kept<Tank>, day: NaiveDate, zone: Tz) -> Check {
    let time = NaiveTime::from_hms_opt(DUE_HOUR, 0, 0).unwrap_or_default();
    let due_at = Wall::of(zone, day.and_time(time)).instant_or_after();
    Check {
        cause: Cause::Programme,
        date: day,
        time,
        name: "Tank change".into(),
        task: Task::ChangeTank,
        place: Place::Tank(tank.id),
        due_at,
        window_until: due_at + TimeDelta::hours(WINDOW_H),
        limit: due_at + TimeDelta::days(LIMIT_DAYS),
        work_min: WORK_MIN,
        qualification: None,
        two_people: tank.content.two_people_change,
        // Wet, heavy and long: shared fairly, our own judgement.
        sharing: Sharing { is_unpleasant: true, ..Sharing::default() },
        state: CheckState::Planned,
    }
}
