//! Whether a plan keeps the hard rules, told from the day's facts alone.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::Id;
use fillmark_domain::work::{Check, Span};

use crate::rounds::{
    Assignment, DueCheck, Move, PlannedRound, PlannedStep, Published, Replanned, WorkDay, Worker,
};

#[track_caller]
pub(super) fn check_rounds(day: &WorkDay, plan: &Assignment) {
    let mut times: BTreeMap<Id<Check>, Vec<DateTime<Utc>>> = BTreeMap::new();
    for round in &plan.rounds {
        check_round(day, round);
        for step in &round.steps {
            times.entry(step.check).or_default().push(step.starts_at);
            check_together(plan, round, due_of(day, step), step);
        }
    }
    for due in &day.checks {
        let done = times.get(&due.check).map_or(0, Vec::len);
        let left = plan.left.iter().filter(|left| left.check == due.check && !left.reasons.is_empty());
        let people = if due.two_people { 2 } else { 1 };
        assert!([(people, 0), (0, 1)].contains(&(done, left.count())), "done or left, once: {due:?}");
    }
    check_meters(day, &times);
}

fn due_of<'a>(day: &'a WorkDay, step: &PlannedStep) -> &'a DueCheck {
    day.checks.iter().find(|due| due.check == step.check).unwrap()
}

fn work(due: &DueCheck, starts: DateTime<Utc>) -> Span {
    Span { from: starts, until: starts + TimeDelta::minutes(due.minutes.into()) }
}

#[track_caller]
fn check_round(day: &WorkDay, round: &PlannedRound) {
    let worker = day.workers.iter().find(|worker| worker.person == round.person).unwrap();
    let mut before: Option<(&DueCheck, DateTime<Utc>)> = None;
    for step in &round.steps {
        let due = due_of(day, step);
        let own = work(due, step.starts_at);
        check_alone(day, worker, due, own);
        assert!(worker.been_in.is_none_or(|been| been <= due.hygiene), "hygiene since before");
        if let Some((last, ended)) = before {
            assert!(last.hygiene <= due.hygiene, "hygiene");
            let walk = if last.room == due.room {
                0
            } else if last.building == due.building {
                day.walks.rooms_min
            } else {
                day.walks.buildings_min
            };
            assert!(ended + TimeDelta::minutes(walk.into()) <= own.from, "walk");
        }
        before = Some((due, own.until));
    }
}

#[track_caller]
fn check_alone(day: &WorkDay, worker: &Worker, due: &DueCheck, own: Span) {
    let latest = due.limit.map_or(due.window.until, |limit| limit.max(due.window.until));
    assert!(due.window.from <= own.from && own.until <= latest, "window");
    assert!(worker.shifts.iter().any(|shift| shift.from <= own.from && own.until <= shift.until), "shift");
    let mut away = worker.absences.iter().chain(&worker.breaks);
    assert!(away.all(|away| away.overlap(own).is_none()), "absence or break");
    let good = |wanted| {
        worker.held.iter().any(|held| {
            let ends_later = held.until.is_none_or(|until| day.date <= until);
            held.qualification == wanted && held.from <= day.date && ends_later
        })
    };
    assert!(due.qualification.is_none_or(good), "qualification");
}

#[track_caller]
fn check_together(plan: &Assignment, round: &PlannedRound, due: &DueCheck, step: &PlannedStep) {
    assert_eq!(due.two_people, step.with.is_some(), "people");
    let Some(with) = step.with else { return };
    let other = plan.rounds.iter().find(|round| round.person == with).unwrap();
    let meets = |own: &PlannedStep| {
        own.check == step.check && own.starts_at == step.starts_at && own.with == Some(round.person)
    };
    assert!(with != round.person && other.steps.iter().any(meets), "together");
}

/// At the begin of each check no more are under way that want the same kind of meter than there are; two people
/// together use one.
#[track_caller]
fn check_meters(day: &WorkDay, times: &BTreeMap<Id<Check>, Vec<DateTime<Utc>>>) {
    for meters in &day.meters {
        let wanting = day.checks.iter().filter(|due| due.meter == Some(meters.kind));
        let used: Vec<Span> =
            wanting.filter_map(|due| times.get(&due.check).map(|starts| work(due, starts[0]))).collect();
        for one in &used {
            let at_once = used.iter().filter(|other| other.holds(one.from)).count();
            assert!(at_once <= meters.count as usize, "meters");
        }
    }
}

/// The rest of a day, shared out anew: the rules hold, nothing begun is in it, and each change has its reason.
#[track_caller]
pub(super) fn check_moves(day: &WorkDay, published: &Published, again: &Replanned) {
    let is_begun = |check: Id<Check>| published.begun.iter().any(|begun| begun.check == check);
    let mut rest = day.clone();
    rest.checks.retain(|due| !is_begun(due.check));
    check_rounds(&rest, &again.assignment);
    for round in &again.assignment.rounds {
        let busy = published.begun.iter().filter(|begun| begun.person == round.person);
        let busy: Vec<(Span, &DueCheck)> = busy
            .map(|begun| {
                let due = day.checks.iter().find(|due| due.check == begun.check).unwrap();
                let ends = work(due, begun.at).until.max(published.now);
                (Span { from: begun.at, until: begun.done_at.unwrap_or(ends) }, due)
            })
            .collect();
        for step in &round.steps {
            assert!(published.now <= step.starts_at, "before now");
            let due = due_of(day, step);
            let is_free = |(span, _): &(Span, &DueCheck)| span.until <= step.starts_at;
            assert!(busy.iter().all(is_free), "busy with what is begun");
            assert!(busy.iter().all(|(_, been)| been.hygiene <= due.hygiene), "hygiene since the begin");
        }
    }
    for due in &rest.checks {
        let who = |rounds: &[PlannedRound]| {
            let has = |round: &&PlannedRound| round.steps.iter().any(|step| step.check == due.check);
            let mut people: Vec<_> = rounds.iter().filter(has).map(|round| round.person).collect();
            people.sort_unstable();
            people
        };
        let (from, to) = (who(&published.rounds), who(&again.assignment.rounds));
        let told: Vec<&Move> = again.moves.iter().filter(|moved| moved.check == due.check).collect();
        assert_eq!(told.len(), usize::from(from != to), "told once when it moves");
        assert!(told.iter().all(|moved| moved.from == from && moved.to == to), "told rightly");
    }
    assert!(again.moves.iter().all(|moved| !is_begun(moved.check)), "what is begun stays");
}
