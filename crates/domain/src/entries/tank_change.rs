//! Tank changes: drain, clean, refill, dose, set the pH.

use chrono::{DateTime, Days, NaiveDate, Utc};
use uuid::Uuid;

use crate::Id;
use crate::code::coded;
use crate::entries::Doubt;
use crate::people::PersonId;
use crate::places::TankId;

/// One tank change. What went in stands in its additions.
#[derive(Debug, Clone, PartialEq)]
pub struct TankChange {
    /// Made by the client that entered it.
    pub client_id: Uuid,
    /// Which tank.
    pub tank: TankId,
    /// Part drained, above 0 to 1. Only a full change (1) starts the interval anew; a partial one dilutes.
    pub fraction: f64,
    /// Drained, L.
    pub drained_l: f64,
    /// Where it went.
    pub drained_to: Option<String>,
    /// Water filled in, L.
    pub water_in_l: f64,
    /// The day it was due, where one was.
    pub due_on: Option<NaiveDate>,
    /// When it was done.
    pub recorded_at: DateTime<Utc>,
    /// When the server got it.
    pub received_at: DateTime<Utc>,
    /// Who did it.
    pub done_by: Option<PersonId>,
    /// Who typed it.
    pub entered_by: Option<PersonId>,
    /// The change it takes back, and why: then every volume is an opposite.
    pub reverses: Option<(Id<TankChange>, String)>,
    /// The change that took it back.
    pub reversed: Option<Id<TankChange>>,
}

impl TankChange {
    /// Whether the interval counts from it.
    pub fn is_full(&self) -> bool {
        self.fraction >= 1.0
    }

    /// What is doubtful about a full change in which nothing was moved. An empty tank is filled and a tank to be cleaned is
    /// drained without the other, but a change that did neither starts an interval for nothing.
    pub fn doubts_of_nothing(&self) -> Option<Doubt> {
        let nothing = self.drained_l == 0.0 && self.water_in_l == 0.0;
        (self.is_full() && nothing).then_some(Doubt::NothingMoved)
    }

    /// What is doubtful about a change in which less than half of its fraction of what the tank holds went out and came in, or more
    /// than twice as much: whoever left out the fraction would have a recall call the tank clean, or the next change come early.
    pub fn doubts_of_part(&self, mark_l: f64) -> Option<Doubt> {
        let both = self.drained_l > 0.0 && self.water_in_l > 0.0;
        let little = self.drained_l.max(self.water_in_l) < 0.5 * self.fraction * mark_l;
        let much = self.drained_l.min(self.water_in_l) > 2.0 * self.fraction * mark_l;
        let fraction = self.fraction;
        match (both && little, both && much) {
            (true, _) => Some(Doubt::LessThanItsPart { fraction, mark_l }),
            (_, true) => Some(Doubt::MoreThanItsPart { fraction, mark_l }),
            _ => None,
        }
    }
}

/// Cautions that travel with every tank change, in our own words; label, safety data sheet and local codes go first.
pub const CHANGE_CAUTIONS: &[&str] = &[
    "Switch pumps and lamps off before hands go into the tank.",
    "Acids and alkalis burn: protect eyes and hands, and pour acid into water, never water into acid.",
    "Never pour A and B together undiluted; mix each into the full tank.",
    "Never bring acid together with a chlorine cleaner: toxic gas forms. Rinse between them.",
    "Let drained solution go only where local rules allow it.",
    "Label and safety data sheet first: they and local codes decide.",
];

coded! {
    /// What a person decided about a tank's next changes.
    ChangePlanKind {
        /// A change is to be done on this day, whatever the interval says.
        On = "on",
        /// The change that would be due on this day is left out.
        Skipped = "skipped",
    }
}

/// A person's word about a day on which a tank is, or is not, changed. While days of the kind `On` lie ahead
/// they are the plan; after the last of them the programme's interval goes on.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangePlan {
    /// The tank.
    pub tank: TankId,
    /// What was decided.
    pub kind: ChangePlanKind,
    /// The day.
    pub on: NaiveDate,
    /// Why.
    pub reason: String,
}

/// A due change may be done so many days early and still be the due one; common practice, no source.
pub const EARLY: Days = Days::new(3);

/// The days on which changes are due from `from` to `until`: those a person set while any lie ahead, after them
/// at the programme's interval counted from the last full change done or the last day set; days a person skipped
/// left out, and once past they count like a change done. `interval_on` tells the interval in force on a day, nothing while the tank is not fed.
pub fn due_days(
    last_done: Option<NaiveDate>,
    plans: &[ChangePlan],
    from: NaiveDate,
    until: NaiveDate,
    interval_on: impl Fn(NaiveDate) -> Option<u32>,
) -> Vec<NaiveDate> {
    let of = |kind: ChangePlanKind| plans.iter().filter(move |plan| plan.kind == kind).map(|plan| plan.on);
    let done = |day: NaiveDate| last_done.is_some_and(|done| day <= done);
    let mut due: Vec<NaiveDate> = of(ChangePlanKind::On).filter(|day| !done(*day) && *day <= until).collect();
    due.sort_unstable();
    due.dedup();
    let last_set = of(ChangePlanKind::On).max();
    let last_skipped = of(ChangePlanKind::Skipped).filter(|day| *day < from).max();
    let mut last = last_done.max(last_set).max(last_skipped);
    let mut day = last_set.map_or(from, |set| set.max(from)).min(until);
    while day <= until {
        if let Some(interval) = interval_on(day) {
            let is_due = last.is_none_or(|last| (day - last).num_days() >= i64::from(interval.max(1)));
            if is_due {
                due.push(day);
                last = Some(day);
            }
        }
        let Some(next) = day.succ_opt() else { break };
        day = next;
    }
    due.retain(|day| !of(ChangePlanKind::Skipped).any(|skipped| skipped == *day));
    due.dedup();
    due
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_moves_half_of_its_part_at_least_and_no_more_than_twice() {
        let doubted = |fraction: f64, litres: f64| {
            let change = TankChange {
                client_id: uuid::Uuid::nil(),
                tank: TankId::new(uuid::Uuid::nil()),
                fraction,
                drained_l: litres,
                drained_to: None,
                water_in_l: litres,
                due_on: None,
                recorded_at: DateTime::UNIX_EPOCH,
                received_at: DateTime::UNIX_EPOCH,
                done_by: None,
                entered_by: None,
                reverses: None,
                reversed: None,
            };
            change.doubts_of_part(100.0).map(|doubt| doubt.to_string())
        };
        assert!(doubted(0.9, 10.0).is_some_and(|told| told.contains("90 % of a tank that holds 100 L")));
        assert!(doubted(0.1, 62.0).is_some_and(|told| told.contains("fewer litres for a change of 10 %")));
        assert_eq!((doubted(0.2, 10.0), doubted(1.0, 50.0), doubted(0.2, 40.0)), (None, None, None));
    }

    fn day(text: &str) -> NaiveDate {
        format!("2026-{text}").parse().unwrap()
    }

    fn plan(kind: ChangePlanKind, on: &str) -> ChangePlan {
        ChangePlan { tank: TankId::new(Uuid::nil()), kind, on: day(on), reason: "as planned".into() }
    }

    #[track_caller]
    fn check(last: Option<&str>, plans: &[ChangePlan], from: &str, until: &str, expected: &[&str]) {
        let due = due_days(last.map(day), plans, day(from), day(until), |_| Some(7));
        assert_eq!(due, expected.iter().map(|text| day(text)).collect::<Vec<_>>());
    }

    #[test]
    fn the_interval_counts_from_the_last_change_done() {
        check(Some("03-01"), &[], "03-02", "03-20", &["03-08", "03-15"]);
        check(Some("03-01"), &[], "03-10", "03-20", &["03-10", "03-17"]); // overdue: due at once
        check(None, &[], "03-02", "03-10", &["03-02", "03-09"]);
    }

    #[test]
    fn days_a_person_set_are_the_plan_while_they_last() {
        let plans = [plan(ChangePlanKind::On, "03-05"), plan(ChangePlanKind::On, "03-11")];
        check(Some("03-01"), &plans, "03-02", "03-26", &["03-05", "03-11", "03-18", "03-25"]);
    }

    #[test]
    fn a_skipped_day_is_left_out_and_the_rhythm_goes_on() {
        check(Some("03-01"), &[plan(ChangePlanKind::Skipped, "03-08")], "03-02", "03-20", &["03-15"]);
        check(Some("03-01"), &[plan(ChangePlanKind::Skipped, "03-08")], "03-10", "03-20", &["03-15"]);
    }
}
