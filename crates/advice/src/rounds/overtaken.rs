//! What a day has overtaken of the rounds published for it, so that it is to be shared out anew.

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::Id;
use fillmark_domain::people::PersonId;
use fillmark_domain::work::{Absence, Check, CheckState, Span};

use crate::rounds::{PlannedRound, PlannedStep};

/// A check that does not stand in the rounds as it should.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Overtaken {
    /// It came since, and nobody has it.
    New(Id<Check>),
    /// It is there no more.
    Gone(Id<Check>),
    /// Who has it works there no more.
    Left(Id<Check>),
    /// Who has it is away at the time they have it at or has no shift any more, or its own time is another by now.
    Moved(Id<Check>),
}

/// What is known of a day whose rounds are published.
pub struct Known<'a> {
    /// Its checks, and those of other days that are in its rounds or shall be.
    pub checks: HashMap<Id<Check>, &'a Check>,
    /// Checks of which it was told that nobody can do them.
    pub left: BTreeSet<Id<Check>>,
    /// Who works there.
    pub people: &'a BTreeSet<PersonId>,
    /// Who of them has a shift that may reach into the day.
    pub on_shift: &'a BTreeSet<PersonId>,
    /// When they are away.
    pub absences: &'a [Absence],
    /// The present.
    pub now: DateTime<Utc>,
}

impl Known<'_> {
    /// What of these rounds does not hold any more. What is settled stands wherever it is, and what somebody has begun stays
    /// with them unless they have left.
    pub fn overtaken(&self, rounds: &[PlannedRound]) -> BTreeSet<Overtaken> {
        let steps = || rounds.iter().flat_map(|round| round.steps.iter().map(|step| (round.person, step)));
        let told: BTreeSet<Id<Check>> =
            steps().map(|(_, step)| step.check).chain(self.left.iter().copied()).collect();
        let is_new = |(id, check): &(&Id<Check>, &&Check)| !check.is_settled() && !told.contains(id);
        let new = self.checks.iter().filter(is_new).map(|(id, _)| Overtaken::New(*id));
        new.chain(steps().filter_map(|(person, step)| self.of_step(person, step))).collect()
    }

    fn of_step(&self, person: PersonId, step: &PlannedStep) -> Option<Overtaken> {
        let Some(check) = self.checks.get(&step.check) else { return Some(Overtaken::Gone(step.check)) };
        if check.is_settled() {
            return None;
        }
        let mut people = std::iter::once(person).chain(step.with);
        if people.clone().any(|person| !self.people.contains(&person)) {
            return Some(Overtaken::Left(step.check));
        }
        let is_planned = check.state == CheckState::Planned;
        let is_timely = (check.due_at..check.limit).contains(&step.starts_at);
        let is_off = |person| !self.on_shift.contains(&person) || self.is_away(person, check, step.starts_at);
        let is_moved = !is_timely || people.any(is_off);
        (is_planned && is_moved).then_some(Overtaken::Moved(step.check))
    }

    /// Whether somebody is away while they would do a check; one whose time has come is done now at the earliest.
    fn is_away(&self, person: PersonId, check: &Check, starts_at: DateTime<Utc>) -> bool {
        let from = starts_at.max(self.now);
        let work = Span { from, until: from + TimeDelta::minutes(check.work_min.into()) };
        self.absences.iter().any(|away| away.person == person && away.span.overlap(work).is_some())
    }
}

#[cfg(test)]
mod tests {
    use fillmark_domain::work::{AbsenceReason, Cause, Place, Sharing, Task};
    use uuid::Uuid;

    use super::*;

    const ADA: u128 = 1;
    const BEN: u128 = 2;

    fn at(text: &str) -> DateTime<Utc> {
        format!("2027-05-03T{text}:00Z").parse().unwrap()
    }

    /// Due at eight, until noon at the latest, twenty minutes of work.
    fn check(state: CheckState) -> Check {
        Check {
            cause: Cause::Programme,
            name: "Look round".into(),
            task: Task::Inspect,
            place: Place::Room(Id::new(Uuid::nil())),
            work_min: 20,
            qualification: None,
            date: "2027-05-03".parse().unwrap(),
            time: "08:00:00".parse().unwrap(),
            due_at: at("08:00"),
            window_until: at("09:00"),
            limit: at("12:00"),
            two_people: false,
            sharing: Sharing::default(),
            state,
        }
    }

    fn id<W>(number: u128) -> Id<W> {
        Id::new(Uuid::from_u128(number))
    }

    /// What of a round of Ada's, with check 11 at an instant, is overtaken at half past seven when she is away in a span.
    #[track_caller]
    fn check_step(state: CheckState, starts: &str, away: Option<(&str, &str)>, expected: Option<Overtaken>) {
        let kept = check(state);
        let absence = |(from, until)| Absence {
            person: id(ADA),
            span: Span { from: at(from), until: at(until) },
            reason: AbsenceReason::Sick,
        };
        let known = Known {
            checks: HashMap::from([(id(11), &kept)]),
            left: BTreeSet::new(),
            people: &BTreeSet::from([id(ADA)]),
            on_shift: &BTreeSet::from([id(ADA)]),
            absences: &away.map(absence).into_iter().collect::<Vec<_>>(),
            now: at("07:30"),
        };
        let found = known.overtaken(&[round(ADA, starts, None)]);
        assert_eq!(found.into_iter().collect::<Vec<_>>(), expected.into_iter().collect::<Vec<_>>());
    }

    fn round(person: u128, starts: &str, with: Option<u128>) -> PlannedRound {
        let step = PlannedStep { check: id(11), starts_at: at(starts), with: with.map(id) };
        PlannedRound { person: id(person), steps: vec![step], minutes: 20, fair_minutes: 20 }
    }

    #[test]
    fn whoever_is_away_when_they_have_it_does_not_do_it() {
        let planned = || CheckState::Planned;
        check_step(planned(), "08:00", None, None);
        check_step(planned(), "08:00", Some(("08:20", "18:00")), None);
        check_step(planned(), "08:00", Some(("08:19", "18:00")), Some(Overtaken::Moved(id(11))));
        check_step(planned(), "08:00", Some(("07:00", "08:00")), None);
        let begun = CheckState::Open { at: at("07:55"), by: id(ADA) };
        check_step(begun, "08:00", Some(("08:00", "18:00")), None);
        check_step(CheckState::Missed { at: at("12:00") }, "08:00", Some(("08:00", "18:00")), None);
    }

    #[test]
    fn a_step_lies_within_the_time_of_its_check() {
        check_step(CheckState::Planned, "07:59", None, Some(Overtaken::Moved(id(11))));
        check_step(CheckState::Planned, "11:59", None, None);
        check_step(CheckState::Planned, "12:00", None, Some(Overtaken::Moved(id(11))));
    }

    #[test]
    fn what_came_went_or_is_had_by_who_has_left_is_told() {
        let open = check(CheckState::Open { at: at("07:55"), by: id(BEN) });
        let known = |numbers: &[u128], left: &[u128]| {
            Known {
                checks: numbers.iter().map(|number| (id(*number), &open)).collect(),
                left: left.iter().map(|number| id(*number)).collect(),
                people: &BTreeSet::from([id(ADA)]),
                on_shift: &BTreeSet::from([id(ADA)]),
                absences: &[],
                now: at("07:30"),
            }
            .overtaken(&[round(BEN, "08:00", None)])
        };
        assert_eq!(known(&[11], &[]), BTreeSet::from([Overtaken::Left(id(11))]));
        assert_eq!(
            known(&[11, 12, 13], &[13]),
            BTreeSet::from([Overtaken::New(id(12)), Overtaken::Left(id(11))])
        );
        assert_eq!(known(&[], &[]), BTreeSet::from([Overtaken::Gone(id(11))]));
    }
}
