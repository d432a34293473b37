//! What is poured on advice is measured again once it has mixed: a check that nobody planned.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Timelike, Utc};
use chrono_tz::Tz;

use crate::Metric;
use crate::entries::{Addition, SamplePoint};
use crate::places::TankId;
use crate::work::{Cause, Check, CheckState, Place, Sharing, Task};

/// What was poured has mixed, and the pump has turned the tank over (common practice, no source).
const MIXED_MIN: i64 = 30;
/// Within so long it tells what the dose did, and not what plants did meanwhile (common practice, no source).
const WINDOW_MIN: i64 = 90;
/// Whoever measures later measures the next day's tank.
const LIMIT_H: i64 = 5;
/// To the tank, two pens, a note: common practice, no source.
const WORK_MIN: u32 = 5;

/// The check that follows an addition; none where it followed no advice, went in with a tank change, whose readings are entered
/// with it, or was entered when it is too late to measure.
pub fn follow_up_check(addition: &Addition, zone: Tz, now: DateTime<Utc>) -> Option<Check> {
    let is_followed = addition.advice.is_some() && addition.change.is_none();
    is_followed.then(|| measure_again((addition.tank, addition.recorded_at), zone, now)).flatten()
}

/// The check that a tank is measured again after something was poured at an instant; none when it is too late to measure. Acid
/// moves the EC too, and nutrients the pH.
pub fn measure_again(
    (tank, poured_at): (TankId, DateTime<Utc>),
    zone: Tz,
    now: DateTime<Utc>,
) -> Option<Check> {
    let due_at = poured_at + TimeDelta::minutes(MIXED_MIN);
    let limit = due_at + TimeDelta::hours(LIMIT_H);
    if limit <= now {
        return None;
    }
    let metrics = BTreeSet::from([Metric::Ec, Metric::Ph]);
    let local = due_at.with_timezone(&zone).naive_local();
    // To the minute: what is poured one after the other is measured once.
    let time = local.time().with_second(0).and_then(|time| time.with_nanosecond(0)).unwrap_or_default();
    Some(Check {
        cause: Cause::Advice,
        date: local.date(),
        time,
        name: "Measure again".into(),
        task: Task::Measure { metrics, point: SamplePoint::Tank },
        place: Place::Tank(tank),
        due_at,
        window_until: due_at + TimeDelta::minutes(WINDOW_MIN),
        limit,
        work_min: WORK_MIN,
        qualification: None,
        two_people: false,
        sharing: Sharing::default(),
        state: CheckState::Planned,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Id;
    use crate::entries::{AdditionReason, Poured};
    use uuid::Uuid;

    const NOON: DateTime<Utc> = DateTime::from_timestamp(1_795_000_000, 0).unwrap();

    fn addition(reason: AdditionReason) -> Addition {
        let id = Uuid::from_u128(1);
        Addition {
            client_id: id,
            tank: Id::new(id),
            poured: Poured::Water { litres: 1.0 },
            reason,
            change: None,
            advice: Some(Id::new(id)),
            recorded_at: NOON,
            received_at: NOON,
            done_by: None,
            entered_by: None,
            reverses: None,
            reversed: None,
        }
    }

    #[track_caller]
    fn check(addition: &Addition, hours_later: i64, metrics: Option<&[Metric]>) {
        let now = NOON + TimeDelta::hours(hours_later);
        let found = follow_up_check(addition, chrono_tz::Europe::Berlin, now);
        let measured = found.as_ref().map(|check| match &check.task {
            Task::Measure { metrics, .. } => metrics.iter().copied().collect::<Vec<_>>(),
            other => panic!("{other:?}"),
        });
        assert_eq!(measured.as_deref(), metrics);
    }

    #[test]
    fn what_follows_advice_is_measured_again() {
        check(&addition(AdditionReason::Ph), 0, Some(&[Metric::Ec, Metric::Ph]));
        check(&addition(AdditionReason::Strength), 0, Some(&[Metric::Ec, Metric::Ph]));
        check(&addition(AdditionReason::Strength), 6, None);
        check(&Addition { advice: None, ..addition(AdditionReason::Ph) }, 0, None);
        let change = Some(Id::new(Uuid::from_u128(2)));
        check(&Addition { change, ..addition(AdditionReason::Change) }, 0, None);
    }
}
