//! The day in whole minutes, in an order of its own, so that the search is about numbers alone.

use chrono::{DateTime, Utc};
use fillmark_domain::work::Span;

use crate::rounds::search::Plan;
use crate::rounds::timetable::Slot;
use crate::rounds::{Assignment, DueCheck, Left, PlannedRound, PlannedStep, WorkDay, Worker, reasons};

/// Of a shift, the share that checks may take at most before it counts as unfair: people have other work.
const CHECKS_OF_SHIFT: f64 = 0.9;

/// A day to be searched.
pub(super) struct Board<'a> {
    pub(super) jobs: Vec<Job<'a>>,
    pub(super) hands: Vec<Hand<'a>>,
}

/// A check, in minutes since 1970.
pub(super) struct Job<'a> {
    pub(super) due: &'a DueCheck,
    pub(super) slot: Slot,
}

/// A person, in minutes since 1970.
pub(super) struct Hand<'a> {
    pub(super) worker: &'a Worker,
    /// Shifts, absences taken out.
    pub(super) free: Vec<(i64, i64)>,
    /// Minutes that would be fair.
    pub(super) fair: i64,
    /// Whether they are qualified, by job.
    pub(super) qualified: Vec<bool>,
    /// Whether they are qualified and have not been anywhere dirtier, by job.
    pub(super) may: Vec<bool>,
}

impl<'a> Board<'a> {
    pub(super) fn of(day: &'a WorkDay) -> Board<'a> {
        let mut checks: Vec<&DueCheck> = day.checks.iter().collect();
        checks.sort_by_key(|due| (due.hygiene, due.room, due.window.until, &due.name, due.check));
        let jobs: Vec<Job> =
            checks.into_iter().enumerate().map(|(index, due)| Job { due, slot: slot(index, due) }).collect();

        let mut workers: Vec<&Worker> = day.workers.iter().collect();
        workers.sort_by_key(|worker| worker.person);
        let mut hands: Vec<Hand> = workers
            .into_iter()
            .map(|worker| Hand {
                worker,
                free: free(worker),
                fair: 0,
                qualified: jobs.iter().map(|job| is_qualified(worker, job.due, day)).collect(),
                may: jobs
                    .iter()
                    .map(|job| is_qualified(worker, job.due, day) && is_clean_for(worker, job.due))
                    .collect(),
            })
            .collect();
        set_fair_minutes(&mut hands, &jobs);
        Board { jobs, hands }
    }

    pub(super) fn assignment(&self, plan: &Plan) -> Assignment {
        let rounds = (0..self.hands.len()).filter_map(|hand| self.round(plan, hand)).collect();
        let left = plan
            .left(self)
            .into_iter()
            .map(|job| Left { check: self.jobs[job].due.check, reasons: reasons::reasons(self, plan, job) });
        let mut left: Vec<Left> = left.collect();
        left.sort_by_key(|left| left.check);
        Assignment { rounds, left }
    }

    fn round(&self, plan: &Plan, hand: usize) -> Option<PlannedRound> {
        let times = plan.times(self, hand)?;
        if times.is_empty() {
            return None;
        }
        let steps = times.iter().map(|(job, start)| PlannedStep {
            check: self.jobs[*job].due.check,
            starts_at: instant(*start),
            with: plan.other(*job, hand).map(|other| self.hands[other].worker.person),
        });
        Some(PlannedRound {
            person: self.hands[hand].worker.person,
            steps: steps.collect(),
            minutes: times.iter().map(|(job, _)| self.jobs[*job].slot.minutes).sum(),
            fair_minutes: self.hands[hand].fair,
        })
    }
}

/// Rounded inwards, so that what fits the minutes fits the instants.
fn slot(job: usize, due: &DueCheck) -> Slot {
    let Inward(opens, closes) = inward(due.window);
    Slot { job, opens, closes, minutes: due.minutes.max(1).into() }
}

struct Inward(i64, i64);

fn inward(span: Span) -> Inward {
    Inward(-(-span.from.timestamp()).div_euclid(60), span.until.timestamp().div_euclid(60))
}

fn instant(minute: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(minute * 60, 0).unwrap_or(DateTime::UNIX_EPOCH)
}

fn is_qualified(worker: &Worker, due: &DueCheck, day: &WorkDay) -> bool {
    due.qualification.is_none_or(|wanted| {
        worker.held.iter().any(|held| held.qualification == wanted && held.is_good_on(day.date))
    })
}

fn is_clean_for(worker: &Worker, due: &DueCheck) -> bool {
    worker.been_in.is_none_or(|been| been <= due.hygiene)
}

/// The shifts without the absences, rounded inwards.
fn free(worker: &Worker) -> Vec<(i64, i64)> {
    let mut spans = worker.shifts.clone();
    for away in &worker.absences {
        let around = |shift: Span| {
            let before = Span::new(shift.from, shift.until.min(away.from)).ok();
            let after = Span::new(shift.from.max(away.until), shift.until).ok();
            before.into_iter().chain(after)
        };
        spans = spans.into_iter().flat_map(around).collect();
    }
    let mut minutes: Vec<(i64, i64)> = spans
        .into_iter()
        .map(inward)
        .filter(|Inward(from, until)| from < until)
        .map(|Inward(from, until)| (from, until))
        .collect();
    minutes.sort_unstable();
    minutes
}

/// Each who is there works the same share of their time over the four weeks, so far as this day can mend it.
fn set_fair_minutes(hands: &mut [Hand], jobs: &[Job]) {
    let there = |hand: &&Hand| !hand.free.is_empty();
    let known = |hand: &Hand| hand.worker.available_min.max(1) as f64;
    let people = |job: &Job| if job.due.two_people { 2 } else { 1 };
    let today: i64 = jobs.iter().map(|job| job.slot.minutes * people(job)).sum();
    let worked: i64 = hands.iter().filter(there).map(|hand| hand.worker.worked_min).sum();
    let available: f64 = hands.iter().filter(there).map(known).sum();

    let share = (worked + today) as f64 / available.max(1.0);
    for hand in hands.iter_mut().filter(|hand| !hand.free.is_empty()) {
        let on_shift: i64 = hand.free.iter().map(|(from, until)| until - from).sum();
        let most = on_shift as f64 * CHECKS_OF_SHIFT;
        let fair = known(hand) * share - hand.worker.worked_min as f64;
        hand.fair = fair.clamp(0.0, most).round() as i64;
    }
}
