//! What holds of every plan: of days made by chance from a seed, judged without the planner's own arithmetic.

mod any_day;
mod fairness;
mod judge;

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};

use super::chance::Chance;
use super::*;
use any_day::{any_day, any_worker, at};
use judge::{check_moves, check_rounds};

const LITTLE: Effort = Effort { iterations: 12, seed: 1 };
const ENOUGH: Effort = Effort { iterations: 240, seed: 1 };

#[test]
fn no_hard_rule_is_broken_in_ten_thousand_random_days() {
    let mut chance = Chance::seeded(1);
    let mut done = 0;
    for _ in 0..10_000 {
        let day = any_day(&mut chance);
        let plan = assign_with(&day, LITTLE);
        check_rounds(&day, &plan);
        done += day.checks.len() - plan.left.len();
    }
    assert!(done > 15_000, "days with work in them: {done}");
}

#[test]
fn the_same_seed_gives_the_same_plan_in_whatever_order_it_is_told() {
    let mut chance = Chance::seeded(2);
    for _ in 0..300 {
        let mut day = any_day(&mut chance);
        let plan = assign_with(&day, LITTLE);
        day.checks.reverse();
        day.workers.reverse();
        assert_eq!(assign_with(&day, LITTLE), plan);
    }
}

#[test]
fn adding_a_person_never_leaves_more_undone() {
    let mut chance = Chance::seeded(3);
    for number in 0..400 {
        let mut day = any_day(&mut chance);
        let before = weight_left(&day, &assign_with(&day, ENOUGH));
        day.workers.push(any_worker(&mut chance, 99));
        let after = weight_left(&day, &assign_with(&day, ENOUGH));
        assert!(after <= before, "day {number}: {before} before, {after} with one more");
    }
}

fn weight_left(day: &WorkDay, plan: &Assignment) -> u32 {
    let weight = |left: &Left| day.checks.iter().find(|due| due.check == left.check).map(|due| due.weight);
    plan.left.iter().filter_map(weight).sum()
}

#[test]
fn a_replan_moves_nothing_that_started_and_says_why_the_rest_moves() {
    let mut chance = Chance::seeded(4);
    let mut moved = 0;
    for _ in 0..1_500 {
        let mut day = any_day(&mut chance);
        let plan = assign_with(&day, LITTLE);
        let now = at(400 + chance.below(500) as i64);
        let begun = begun(&day, &plan, now, &mut chance);
        if let Some(ill) = chance.one_of(&(0..day.workers.len()).collect::<Vec<_>>()) {
            let rest = Span { from: now, until: now + TimeDelta::days(1) };
            day.workers[ill].absences.push(rest);
        }
        let published = Published { rounds: plan.rounds, begun, now };
        let again = replan(&day, &published, LITTLE);
        moved += again.moves.len();
        check_moves(&day, &published, &again);
    }
    assert!(moved > 500, "days on which something moves: {moved}");
}

/// What was to begin before now has begun; of that, most is done.
fn begun(day: &WorkDay, plan: &Assignment, now: DateTime<Utc>, chance: &mut Chance) -> Vec<Begun> {
    let mut begun = Vec::new();
    for round in &plan.rounds {
        for step in round.steps.iter().filter(|step| step.starts_at < now) {
            let due = day.checks.iter().find(|due| due.check == step.check).unwrap();
            let ends = step.starts_at + TimeDelta::minutes(due.minutes.into());
            let done_at = (ends <= now && chance.below(8) > 0).then_some(ends);
            begun.push(Begun { check: step.check, person: round.person, at: step.starts_at, done_at });
        }
    }
    begun
}

#[test]
fn a_day_on_which_nothing_happened_is_replanned_as_it_was() {
    let mut chance = Chance::seeded(5);
    for _ in 0..200 {
        let day = any_day(&mut chance);
        let plan = assign_with(&day, ENOUGH);
        let published = Published { rounds: plan.rounds.clone(), begun: vec![], now: at(-3000) };
        let again = replan(&day, &published, LITTLE);
        let lost: Vec<&Move> = again.moves.iter().filter(|moved| moved.to.is_empty()).collect();
        assert_eq!(lost, Vec::<&Move>::new());
        assert!(again.assignment.left.len() <= plan.left.len());
    }
}

#[test]
fn whatever_is_left_has_a_cure() {
    let mut chance = Chance::seeded(6);
    for _ in 0..1_000 {
        let day = any_day(&mut chance);
        let plan = assign_with(&day, LITTLE);
        let undone = cures(&day, &plan);
        let told: BTreeSet<_> = undone.iter().map(|one| one.check).collect();
        assert_eq!(told, plan.left.iter().map(|left| left.check).collect());
        assert!(undone.iter().all(|one| !one.cures.is_empty() && !one.reasons.is_empty()));
    }
}
