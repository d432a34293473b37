//! Days to be shared out from a file: planned with the product's functions, judged by the file's own rules.

mod instance;
mod judge;

use std::time::Instant;

use fillmark_advice::rounds::{Assignment, Effort, assign_with, replan};

pub use instance::{Case, Instance, NotACase, read};
pub use judge::{Judged, judge};

/// How one case came out.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The case's name.
    pub name: String,
    /// Who is away of a published day; nobody where a day is planned.
    pub sick: Option<String>,
    /// What the plan costs, and which rules it breaks.
    pub judged: Judged,
    /// The least cost that the file knows.
    pub best: Option<i64>,
    /// Moves of the plan that costs so much.
    pub best_moves: Option<i64>,
    /// Wall time of planning, s.
    pub seconds: f64,
}

impl Outcome {
    /// Cost above the best known.
    pub fn excess(&self) -> i64 {
        self.best.map_or(0, |best| self.judged.cost - best)
    }
}

/// Plans a case with one part in so many of the effort that the bars on time allow: the day, then what becomes of it
/// when somebody falls ill.
pub fn play(case: &Case, part: u32) -> Vec<Outcome> {
    let instance = &case.instance;
    let day = instance.day(None);
    let effort = effort(day.checks.len(), part);
    let begin = Instant::now();
    let plan = assign_with(&day, effort);
    let seconds = begin.elapsed().as_secs_f64();
    let mut outcomes = vec![Outcome {
        name: case.name.clone(),
        sick: None,
        judged: judge(instance, None, &instance.plan_of(&plan), None),
        best: case.result.as_ref().map(|result| result.best_cost),
        best_moves: None,
        seconds,
    }];
    if let Some(sick) = &case.sick {
        let day = instance.day(Some(&sick.who));
        let published = instance.published(&sick.base_plan);
        let begin = Instant::now();
        let plan: Assignment = replan(&day, &published, effort_of_a_call(day.checks.len(), part)).assignment;
        let seconds = begin.elapsed().as_secs_f64();
        outcomes.push(Outcome {
            name: case.name.clone(),
            sick: Some(sick.who.clone()),
            judged: judge(instance, Some(&sick.who), &instance.plan_of(&plan), Some(&sick.base_plan)),
            best: sick.result.as_ref().map(|result| result.best_cost),
            best_moves: sick
                .result
                .as_ref()
                .and_then(|result| result.parts.as_ref())
                .map(|parts| parts.moved),
            seconds,
        });
    }
    outcomes
}

/// A third to a half of what the bars on time allow on two cores with other work: 1 s for 30 checks, 2 s for 200, 10 s
/// for 1000.
fn effort(checks: usize, part: u32) -> Effort {
    let iterations = if checks <= 400 { 30_000 } else { 40_000 };
    Effort { iterations: iterations / part, seed: 1 }
}

/// The same of 1 s, whatever the day.
fn effort_of_a_call(checks: usize, part: u32) -> Effort {
    let iterations = match checks {
        0..=60 => 20_000,
        61..=400 => 30_000,
        _ => 8_000,
    };
    Effort { iterations: iterations / part, seed: 1 }
}

#[cfg(test)]
mod tests;
