//! Half a year of days, each fair by the four weeks before it.

use std::collections::VecDeque;

use super::any_day::{any_day, any_worker, at, id};
use crate::rounds::chance::Chance;
use crate::rounds::{DueCheck, Effort, Hygiene, Span, WorkDay, Worker, assign_with};

const PEOPLE: usize = 4;
const DAYS: usize = 26 * 5;
/// Working days of four weeks.
const LOOKED_AT: usize = 20;

/// Eighteen checks of five to thirty-five minutes in six rooms, other ones every day.
fn checks(chance: &mut Chance, template: &DueCheck) -> Vec<DueCheck> {
    let mut checks = Vec::new();
    for number in 0..18 {
        checks.push(DueCheck {
            check: id(number),
            room: id(number / 3),
            hygiene: Hygiene { quarantine: number / 3 == 5, rank: 1 },
            window: Span { from: at(420), until: at(900) },
            minutes: 5 + 5 * chance.below(7) as u32,
            qualification: None,
            two_people: false,
            limit: None,
            weight: 1,
            meter: None,
            building: 0,
            is_unpleasant: number / 3 == 5,
            ..template.clone()
        });
    }
    checks
}

fn people(template: &Worker, worked: &VecDeque<Vec<(i64, i64)>>) -> Vec<Worker> {
    let of = |number: usize| Worker {
        person: id(number),
        shifts: vec![Span { from: at(420), until: at(900) }],
        absences: vec![],
        breaks: vec![],
        been_in: None,
        familiar: vec![],
        worked_min: worked.iter().map(|day| day[number].0).sum(),
        unpleasant_min: worked.iter().map(|day| day[number].1).sum(),
        available_min: 480 * (worked.len() as i64 + 1),
        ..template.clone()
    };
    (0..PEOPLE).map(of).collect()
}

/// Minutes of each, all and unpleasant, over the half year.
fn half_a_year() -> Vec<(i64, i64)> {
    let mut chance = Chance::seeded(7);
    let template = loop {
        let day = any_day(&mut chance);
        if let Some(due) = day.checks.first() {
            break WorkDay { checks: vec![due.clone()], meters: vec![], ..day };
        }
    };
    let worker = any_worker(&mut chance, 0);
    let mut worked: VecDeque<Vec<(i64, i64)>> = VecDeque::new();
    let mut totals = vec![(0, 0); PEOPLE];
    for _ in 0..DAYS {
        let checks = checks(&mut chance, &template.checks[0]);
        let day = WorkDay { checks, workers: people(&worker, &worked), ..template.clone() };
        let plan = assign_with(&day, Effort { iterations: 120, seed: 1 });
        assert!(plan.left.is_empty(), "all is done");
        let mut today = vec![(0, 0); PEOPLE];
        for round in &plan.rounds {
            let person = round.person.uuid().as_u128() as usize;
            let unpleasant = |check| day.checks.iter().find(|due| due.check == check && due.is_unpleasant);
            let own = round.steps.iter().filter_map(|step| unpleasant(step.check));
            today[person] = (round.minutes, own.map(|due| i64::from(due.minutes)).sum());
            totals[person].0 += today[person].0;
            totals[person].1 += today[person].1;
        }
        worked.push_back(today);
        if worked.len() >= LOOKED_AT {
            worked.pop_front();
        }
    }
    totals
}

/// The largest less the smallest, as a share of the mean.
fn spread(minutes: impl Iterator<Item = i64> + Clone) -> f64 {
    let mean = minutes.clone().sum::<i64>() as f64 / PEOPLE as f64;
    let (most, least) = (minutes.clone().max().unwrap(), minutes.min().unwrap());
    (most - least) as f64 / mean
}

#[test]
fn over_half_a_year_minutes_of_equal_shifts_differ_by_less_than_five_percent() {
    let totals = half_a_year();
    let all = spread(totals.iter().map(|(all, _)| *all));
    assert!(all < 0.05, "{all}: {totals:?}");
    let unpleasant = spread(totals.iter().map(|(_, unpleasant)| *unpleasant));
    // An hour or so that goes to one person whole, some thirty times each: two of them are a tenth.
    assert!(unpleasant < 0.12, "{unpleasant} of unpleasant work: {totals:?}");
}
