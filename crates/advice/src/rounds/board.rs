//! The day in whole minutes, in an order of its own, so that the search is about numbers alone.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::places::Room;
use fillmark_domain::work::Span;

use crate::rounds::plan::Plan;
use crate::rounds::{
    Assignment, DueCheck, Left, PlannedRound, PlannedStep, WorkDay, Worker, is_qualified, reasons,
};

/// Of a shift, the share that checks may take at most before it counts as unfair: people have other work (our own
/// judgement).
const CHECKS_OF_SHIFT: f64 = 0.9;

/// Jobs of a small day.
const SMALL: usize = 80;

/// A day to be searched.
pub(super) struct Board<'a> {
    pub(super) day: &'a WorkDay,
    pub(super) jobs: Vec<Job<'a>>,
    pub(super) hands: Vec<Hand<'a>>,
    /// The jobs of each room.
    pub(super) rooms: Vec<Vec<usize>>,
    /// Who had a job before, where the day is shared out anew, by job.
    pub(super) had_by: Vec<Vec<usize>>,
    is_anew: bool,
    /// Meters of each kind that is scarce.
    pub(super) pools: Vec<u32>,
    /// The first and the last minute of anybody.
    pub(super) hull: (i64, i64),
}

/// A check, in minutes since 1970.
pub(super) struct Job<'a> {
    pub(super) due: &'a DueCheck,
    pub(super) slot: Slot,
    /// The end of a window that may be passed at a price.
    pub(super) late_closes: i64,
    pub(super) room: usize,
    /// The first job that is the same in all but its name.
    pub(super) twin: usize,
    /// Who may do it and has time in its window, by person.
    pub(super) able: Vec<usize>,
}

/// When a check may be done, in minutes since 1970. Where two people must meet, the window is narrowed to
/// the minutes agreed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Slot {
    pub(super) job: usize,
    pub(super) opens: i64,
    pub(super) closes: i64,
    pub(super) minutes: i64,
    /// The scarce kind of meter it wants.
    pub(super) pool: Option<usize>,
}

impl Slot {
    pub(super) fn latest_start(&self) -> i64 {
        self.closes - self.minutes
    }
}

/// A person, in minutes since 1970.
pub(super) struct Hand<'a> {
    pub(super) worker: &'a Worker,
    /// Shifts, absences, breaks and what is begun taken out.
    pub(super) free: Vec<(i64, i64)>,
    /// Minutes that would be fair, what is begun included.
    pub(super) fair: i64,
    /// Unpleasant minutes that would be fair; none when there are none today.
    pub(super) fair_unpleasant: Option<i64>,
    /// Whether they are qualified, by job.
    pub(super) qualified: Vec<bool>,
    /// Whether they are qualified and have not been anywhere dirtier, by job.
    pub(super) may: Vec<bool>,
    /// Whether others know a room that they do not, by room.
    pub(super) strange: Vec<bool>,
    /// The rooms they have been in already.
    pub(super) begun_rooms: Vec<usize>,
}

impl<'a> Board<'a> {
    pub(super) fn of(day: &'a WorkDay) -> Board<'a> {
        let mut checks: Vec<&DueCheck> = day.checks.iter().collect();
        checks.sort_by_key(|due| (due.hygiene, due.room, due.window.until, &due.name, due.check));
        let mut workers: Vec<&Worker> = day.workers.iter().collect();
        workers.sort_by_key(|worker| worker.person);
        let frees: Vec<Vec<(i64, i64)>> = workers.iter().map(|worker| free(worker)).collect();

        let room_ids = room_ids(&checks);
        let there = frees.iter().filter(|free| !free.is_empty()).count();
        let scarce: Vec<_> = day.meters.iter().filter(|meters| (meters.count as usize) < there).collect();
        let pool =
            |due: &DueCheck| due.meter.and_then(|kind| scarce.iter().position(|meters| meters.kind == kind));
        let numbered = checks.into_iter().enumerate();
        let mut jobs: Vec<Job> =
            numbered.map(|(index, due)| job(index, due, room_ids[&due.room], pool(due))).collect();
        set_twins(&mut jobs);

        let mut hands: Vec<Hand> = workers
            .into_iter()
            .zip(frees)
            .map(|(worker, free)| hand(worker, free, &jobs, &room_ids, day))
            .collect();
        fair::set(&mut hands, &jobs);
        let mut rooms = vec![Vec::new(); room_ids.len()];
        for (index, job) in jobs.iter_mut().enumerate() {
            let able = able(&hands, job, index);
            job.able = able;
            rooms[job.room].push(index);
        }
        Board {
            day,
            had_by: vec![Vec::new(); jobs.len()],
            is_anew: false,
            pools: scarce.iter().map(|meters| meters.count).collect(),
            hull: hull(&hands),
            jobs,
            hands,
            rooms,
        }
    }

    /// Whether the day is shared out anew, so that it is best to change little.
    pub(super) fn is_anew(&self) -> bool {
        self.is_anew
    }

    /// The board of a day that people have on paper already.
    pub(super) fn with_paper(self, had_by: Vec<Vec<usize>>) -> Board<'a> {
        let is_anew = had_by.iter().any(|had| !had.is_empty());
        Board { had_by, is_anew, ..self }
    }

    /// Whether a few jobs decide, so that they are worth trying one by one and from the start again.
    pub(super) fn is_small(&self) -> bool {
        self.jobs.len() <= SMALL
    }

    /// People that a job wants.
    pub(super) fn people(&self, job: usize) -> usize {
        if self.jobs[job].due.two_people { 2 } else { 1 }
    }

    /// Whether there are people enough who could do it, were there nothing else to do.
    pub(super) fn is_possible(&self, job: usize) -> bool {
        self.jobs[job].able.len() >= self.people(job)
    }

    /// Minutes from one job's room to the next one's.
    pub(super) fn walk_min(&self, from: usize, to: usize) -> i64 {
        let (from, to) = (&self.jobs[from], &self.jobs[to]);
        let walks = self.day.walks;
        if from.room == to.room {
            0
        } else if from.due.building == to.due.building {
            walks.rooms_min.into()
        } else {
            // Never shorter than within a building: a way round by a third room is never a short cut.
            walks.buildings_min.max(walks.rooms_min).into()
        }
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

    pub(super) fn round(&self, plan: &Plan, hand: usize) -> Option<PlannedRound> {
        let steps = plan.steps(hand);
        if steps.is_empty() {
            return None;
        }
        let planned = steps.iter().map(|step| PlannedStep {
            check: self.jobs[step.slot.job].due.check,
            starts_at: instant(step.starts),
            with: plan.other(step.slot.job, hand).map(|other| self.hands[other].worker.person),
        });
        Some(PlannedRound {
            person: self.hands[hand].worker.person,
            steps: planned.collect(),
            minutes: steps.iter().map(|step| step.slot.minutes).sum(),
            fair_minutes: (self.hands[hand].fair - self.hands[hand].worker.begun_min).max(0),
        })
    }
}

fn hull(hands: &[Hand]) -> (i64, i64) {
    let spans = || hands.iter().flat_map(|hand| &hand.free);
    let first = spans().map(|(from, _)| *from).min().unwrap_or_default();
    (first, spans().map(|(_, until)| *until).max().unwrap_or_default())
}

fn room_ids(checks: &[&DueCheck]) -> BTreeMap<Id<Room>, usize> {
    let mut rooms: BTreeMap<Id<Room>, usize> = checks.iter().map(|due| (due.room, 0)).collect();
    for (index, number) in rooms.values_mut().enumerate() {
        *number = index;
    }
    rooms
}

/// Rounded inwards, so that what fits the minutes fits the instants.
fn job(index: usize, due: &DueCheck, room: usize, pool: Option<usize>) -> Job<'_> {
    let (opens, closes) = whole_minutes(due.window);
    let slot = Slot { job: index, opens, closes, minutes: due.minutes.max(1).into(), pool };
    let limit = due.limit.map_or(closes, |limit| limit.timestamp().div_euclid(60));
    Job { due, slot, late_closes: limit.max(closes), room, twin: index, able: Vec::new() }
}

/// Twins follow one another in the order of the board or nearly so: it is enough to look within a room.
fn set_twins(jobs: &mut [Job]) {
    let mut firsts: BTreeMap<_, usize> = BTreeMap::new();
    for (index, job) in jobs.iter_mut().enumerate() {
        let (due, slot) = (job.due, job.slot);
        let when = (slot.opens, slot.closes, job.late_closes, slot.minutes, slot.pool);
        let what = (due.qualification, due.two_people, due.weight, due.is_unpleasant, due.hygiene);
        job.twin = *firsts.entry((job.room, when, what)).or_insert(index);
    }
}

fn hand<'a>(
    worker: &'a Worker,
    free: Vec<(i64, i64)>,
    jobs: &[Job],
    rooms: &BTreeMap<Id<Room>, usize>,
    day: &WorkDay,
) -> Hand<'a> {
    let is_known = |room: &Id<Room>| day.workers.iter().any(|worker| worker.familiar.contains(room));
    let qualified: Vec<bool> =
        jobs.iter().map(|job| is_qualified(&worker.held, job.due.qualification, day.date)).collect();
    Hand {
        worker,
        free,
        fair: 0,
        fair_unpleasant: None,
        may: jobs.iter().zip(&qualified).map(|(job, is)| *is && is_clean_for(worker, job.due)).collect(),
        qualified,
        strange: rooms.keys().map(|room| !worker.familiar.contains(room) && is_known(room)).collect(),
        begun_rooms: worker.begun_rooms.iter().filter_map(|room| rooms.get(room).copied()).collect(),
    }
}

fn able(hands: &[Hand], job: &Job, index: usize) -> Vec<usize> {
    let slot = Slot { closes: job.late_closes, ..job.slot };
    let can = |hand: &Hand| hand.may[index] && first_start(&hand.free, &slot, slot.opens).is_some();
    (0..hands.len()).filter(|hand| can(&hands[*hand])).collect()
}

/// The first start from `earliest` on that leaves the work within one stretch of free time.
pub(super) fn first_start(free: &[(i64, i64)], slot: &Slot, earliest: i64) -> Option<i64> {
    let from = earliest.max(slot.opens);
    let ends_in_time = free.iter().find(|(begin, end)| (*begin).max(from) + slot.minutes <= *end);
    ends_in_time.map(|(begin, _)| (*begin).max(from)).filter(|start| *start <= slot.latest_start())
}

/// The first and the last minute of a span, rounded inwards.
pub(super) fn whole_minutes(span: Span) -> (i64, i64) {
    (-(-span.from.timestamp()).div_euclid(60), span.until.timestamp().div_euclid(60))
}

pub(super) fn minute(instant: DateTime<Utc>) -> i64 {
    instant.timestamp().div_euclid(60)
}

pub(super) fn instant(minute: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(minute * 60, 0).unwrap_or(DateTime::UNIX_EPOCH)
}

fn is_clean_for(worker: &Worker, due: &DueCheck) -> bool {
    worker.been_in.is_none_or(|been| been <= due.hygiene)
}

/// The shifts without absences, breaks and what is begun, rounded inwards.
pub(super) fn free(worker: &Worker) -> Vec<(i64, i64)> {
    free_from(worker, &[&worker.absences, &worker.breaks, &worker.busy])
}

/// The shifts without these, rounded inwards.
pub(super) fn free_from(worker: &Worker, taken: &[&[Span]]) -> Vec<(i64, i64)> {
    let mut spans = worker.shifts.clone();
    for away in taken.iter().copied().flatten() {
        let around = |shift: Span| {
            let before = Span::new(shift.from, shift.until.min(away.from)).ok();
            let after = Span::new(shift.from.max(away.until), shift.until).ok();
            before.into_iter().chain(after)
        };
        spans = spans.into_iter().flat_map(around).collect();
    }
    let mut minutes: Vec<(i64, i64)> =
        spans.into_iter().map(whole_minutes).filter(|(from, until)| from < until).collect();
    minutes.sort_unstable();
    minutes
}

/// What is fair.
mod fair {
    use super::{CHECKS_OF_SHIFT, Hand, Job};

    /// Each who is there works the same share of their time over the four weeks, so far as this day can mend it.
    pub(super) fn set(hands: &mut [Hand], jobs: &[Job]) {
        let people = |job: &&Job| if job.due.two_people { 2 } else { 1 };
        let minutes = |job: &Job| job.slot.minutes * people(&job);
        let all = jobs.iter().map(minutes).sum();
        let unpleasant = jobs.iter().filter(|job| job.due.is_unpleasant).map(minutes).sum();
        let worked = |hand: &Hand| (hand.worker.worked_min, hand.worker.begun_min);
        let shares = shares(hands, all, 0.0, worked);
        let worked = |hand: &Hand| (hand.worker.unpleasant_min, hand.worker.begun_unpleasant_min);
        let unpleasant_shares = shares_if_any(hands, unpleasant, worked);
        for (hand, share) in hands.iter_mut().zip(shares) {
            hand.fair = share;
        }
        for (hand, share) in hands.iter_mut().zip(unpleasant_shares.into_iter().flatten()) {
            hand.fair_unpleasant = Some(share);
        }
    }

    fn shares_if_any(hands: &[Hand], today: i64, worked: impl Fn(&Hand) -> (i64, i64)) -> Option<Vec<i64>> {
        // Who has had more than their share owes none: each more is one too many, however few they are today.
        (today > 0).then(|| shares(hands, today, f64::NEG_INFINITY, worked))
    }

    /// Minutes of today for each, at least so many, of those to be done and those begun; 0 for who is not there.
    fn shares(hands: &[Hand], today: i64, least: f64, worked: impl Fn(&Hand) -> (i64, i64)) -> Vec<i64> {
        let there = |hand: &&Hand| !hand.free.is_empty();
        let known = |hand: &Hand| hand.worker.available_min.max(1) as f64;
        let before: i64 = hands.iter().filter(there).map(|hand| worked(hand).0 + worked(hand).1).sum();
        let available: f64 = hands.iter().filter(there).map(known).sum();
        let share = (before + today) as f64 / available.max(1.0);
        let fair = |hand: &Hand| {
            if hand.free.is_empty() {
                return 0;
            }
            let on_shift: i64 = hand.free.iter().map(|(from, until)| until - from).sum();
            let most = on_shift as f64 * CHECKS_OF_SHIFT + worked(hand).1 as f64;
            (known(hand) * share - worked(hand).0 as f64).clamp(least, most).round() as i64
        };
        hands.iter().map(fair).collect()
    }
}
