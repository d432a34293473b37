//! Checks that people hand to one another: whether the rules allow it, and the rounds that come of it.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use fillmark_domain::Id;
use fillmark_domain::people::Person;
use fillmark_domain::work::{Check, Held, Qualification};

use crate::rounds::board::{Board, Slot, first_start, minute};
use crate::rounds::plan::Plan;
use crate::rounds::tidy::by_name;
use crate::rounds::timetable::fits_without_hygiene;
use crate::rounds::{Hygiene, PlannedRound, PlannedStep, Published, WorkDay, still_to_do};

/// A check that shall go to somebody.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Handing {
    /// Which.
    pub check: Id<Check>,
    /// Who has it; nobody where it is left.
    pub from: Option<Id<Person>>,
    /// Who shall have it.
    pub to: Id<Person>,
}

/// A check that cannot go to somebody.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NotHanded {
    /// Which.
    pub check: Id<Check>,
    /// To whom.
    pub to: Id<Person>,
    /// Why not.
    pub why: WhyNot,
}

/// Why a check cannot go to somebody: the first rule that stands against it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyNot {
    /// It is begun, settled or withdrawn.
    NotToBeDone,
    /// Who was thought to have it has not, or somebody has what was thought to be nobody's.
    SomebodyElses,
    /// They have it already.
    HasIt,
    /// It wants two people, of whom it has none.
    WantsTwo,
    /// They are not there in its time.
    NotThere,
    /// They are not qualified for it.
    NotQualified,
    /// They have been, or would have been, in a dirtier room before.
    WouldBreakHygiene,
    /// They have no time for it beside what they have.
    NoTime,
}

impl WhyNot {
    /// Whether it is about who would get it, so that somebody else may still.
    pub fn is_about_them(self) -> bool {
        match self {
            WhyNot::NotThere | WhyNot::NotQualified | WhyNot::WouldBreakHygiene | WhyNot::NoTime => true,
            WhyNot::NotToBeDone | WhyNot::SomebodyElses | WhyNot::HasIt | WhyNot::WantsTwo => false,
        }
    }

    /// In words, after a name.
    pub fn text(self) -> &'static str {
        match self {
            WhyNot::NotToBeDone => "it is begun, settled or withdrawn",
            WhyNot::SomebodyElses => "somebody else has it by now",
            WhyNot::HasIt => "they have it already",
            WhyNot::WantsTwo => "it wants two people: publish the day again",
            WhyNot::NotThere => "they are not there in its time",
            WhyNot::NotQualified => "they are not qualified for it",
            WhyNot::WouldBreakHygiene => "they would go from a dirty room to a clean one",
            WhyNot::NoTime => "they have no time for it beside what they have",
        }
    }
}

/// What stands against somebody's beginning a check on a day: that they are not qualified for it, or where they have been.
pub fn hindrance(
    (check, hygiene): (&Check, Hygiene),
    held: &[Held],
    on: NaiveDate,
    been_in: Option<Hygiene>,
) -> Option<WhyNot> {
    if !is_qualified(held, check.qualification, on) {
        return Some(WhyNot::NotQualified);
    }
    been_in.is_some_and(|been| been > hygiene).then_some(WhyNot::WouldBreakHygiene)
}

/// Whether who holds these is qualified on a day in what is wanted, if anything is.
pub fn is_qualified(held: &[Held], wanted: Option<Id<Qualification>>, on: NaiveDate) -> bool {
    wanted.is_none_or(|wanted| held.iter().any(|held| held.qualification == wanted && held.is_good_on(on)))
}

/// What is still to do of everybody's rounds when checks go to other people: only those who get something are planned
/// anew, with all they had. Everybody else keeps their times.
/// # Errors
/// [`NotHanded`] for the first check that a rule stands against; then nothing is handed.
pub fn hand(
    day: &WorkDay,
    published: &Published,
    wanted: &[Handing],
) -> Result<Vec<PlannedRound>, NotHanded> {
    let rest = still_to_do(day, published);
    let board = Board::of(&rest);
    let jobs: BTreeMap<Id<Check>, usize> =
        board.jobs.iter().enumerate().map(|(index, job)| (job.due.check, index)).collect();
    let mut had = Had::of(published, &jobs);
    for one in wanted {
        had.hand(&board, &jobs, one)?;
    }
    let receivers: BTreeSet<Id<Person>> = wanted.iter().map(|one| one.to).collect();
    let mut plan = Plan::empty(&board);
    for (person, checks) in &had.of {
        let hand = board.hands.iter().position(|hand| hand.worker.person == *person);
        let Some(hand) = hand.filter(|_| !receivers.contains(person)) else { continue };
        for check in checks {
            // Of what overruns already nothing is planned here: it keeps its time on paper.
            if let Some(slot) = had.pinned(&board, jobs[check]) {
                plan.give(&board, hand, slot);
            }
        }
    }
    for person in &receivers {
        take_on(&board, &mut plan, &had, &jobs, *person)
            .map_err(|why| refused(&board, &jobs, wanted, *person, why))?;
    }
    Ok(had.rounds(&board, &plan, published, &receivers))
}

/// Who has what is still to do.
struct Had {
    of: BTreeMap<Id<Person>, Vec<Id<Check>>>,
    starts: BTreeMap<Id<Check>, i64>,
}

impl Had {
    fn of(published: &Published, jobs: &BTreeMap<Id<Check>, usize>) -> Had {
        let mut had = Had { of: BTreeMap::new(), starts: BTreeMap::new() };
        for round in &published.rounds {
            for step in round.steps.iter().filter(|step| jobs.contains_key(&step.check)) {
                had.of.entry(round.person).or_default().push(step.check);
                had.starts.insert(step.check, minute(step.starts_at));
            }
        }
        had
    }

    fn people(&self, check: Id<Check>) -> Vec<Id<Person>> {
        self.of.iter().filter(|(_, checks)| checks.contains(&check)).map(|(person, _)| *person).collect()
    }

    fn hand(
        &mut self,
        board: &Board,
        jobs: &BTreeMap<Id<Check>, usize>,
        one: &Handing,
    ) -> Result<(), NotHanded> {
        let refuse = |why| Err(NotHanded { check: one.check, to: one.to, why });
        let Some(job) = jobs.get(&one.check) else { return refuse(WhyNot::NotToBeDone) };
        let people = self.people(one.check);
        if people.contains(&one.to) {
            return refuse(WhyNot::HasIt);
        }
        match one.from {
            None if !people.is_empty() => return refuse(WhyNot::SomebodyElses),
            None if board.jobs[*job].due.two_people => return refuse(WhyNot::WantsTwo),
            Some(from) if !people.contains(&from) => return refuse(WhyNot::SomebodyElses),
            Some(from) => self.of.entry(from).or_default().retain(|check| *check != one.check),
            None => {}
        }
        self.of.entry(one.to).or_default().push(one.check);
        Ok(())
    }

    /// A job at the time it has on paper.
    fn pinned(&self, board: &Board, job: usize) -> Option<Slot> {
        let slot = board.jobs[job].slot;
        let opens = *self.starts.get(&board.jobs[job].due.check)?;
        Some(Slot { opens, closes: opens + slot.minutes, ..slot })
    }

    fn rounds(
        &self,
        board: &Board,
        plan: &Plan,
        published: &Published,
        receivers: &BTreeSet<Id<Person>>,
    ) -> Vec<PlannedRound> {
        let mut rounds = Vec::new();
        for (person, checks) in &self.of {
            let paper = published.rounds.iter().find(|round| round.person == *person);
            let planned = board.hands.iter().position(|hand| hand.worker.person == *person);
            let planned =
                planned.filter(|_| receivers.contains(person)).and_then(|hand| board.round(plan, hand));
            let fair_minutes = paper.or(planned.as_ref()).map(|round| round.fair_minutes).unwrap_or_default();
            let mut steps = match planned {
                Some(round) => round.steps,
                None => paper.map(|round| round.steps.clone()).unwrap_or_default(),
            };
            steps.retain(|step| checks.contains(&step.check));
            for step in &mut steps {
                step.with = self.people(step.check).into_iter().find(|other| other != person);
            }
            let minutes = |step: &PlannedStep| {
                board.jobs.iter().find(|job| job.due.check == step.check).map_or(0, |job| job.slot.minutes)
            };
            if !steps.is_empty() {
                let minutes = steps.iter().map(minutes).sum();
                rounds.push(PlannedRound { person: *person, minutes, steps, fair_minutes });
            }
        }
        rounds
    }
}

/// Plans the day of somebody with all they have now; the job that stands against it, and why.
fn take_on(
    board: &Board,
    plan: &mut Plan,
    had: &Had,
    jobs: &BTreeMap<Id<Check>, usize>,
    person: Id<Person>,
) -> Result<(), (usize, WhyNot)> {
    let own: Vec<usize> = had.of.get(&person).into_iter().flatten().map(|check| jobs[check]).collect();
    let Some(hand) = board.hands.iter().position(|hand| hand.worker.person == person) else {
        return own.first().map_or(Ok(()), |job| Err((*job, WhyNot::NotThere)));
    };
    for job in &own {
        able(board, hand, *job).map_err(|why| (*job, why))?;
    }
    // In time if that can be; else only what has to be late is late.
    let mut late: BTreeSet<usize> = BTreeSet::new();
    loop {
        let mut trial = plan.clone();
        let slots = slots_of(board, had, &own, &late);
        let Some(stuck) = slots.iter().find(|slot| !trial.give(board, hand, **slot)) else {
            *plan = trial;
            return Ok(());
        };
        if late.len() == own.len() {
            let hygiene = fits_without_hygiene(&board.hands[hand].free, &slots);
            let why = if hygiene { WhyNot::WouldBreakHygiene } else { WhyNot::NoTime };
            return Err((stuck.job, why));
        }
        // What has no place though it may be late wants others to be late beside it.
        if !late.insert(stuck.job) {
            late.extend(&own);
        }
    }
}

/// Jobs in the order in which they are given a place: who has agreed on a time with somebody keeps it.
fn slots_of(board: &Board, had: &Had, own: &[usize], late: &BTreeSet<usize>) -> Vec<Slot> {
    let slot = |job: &usize| {
        let of = &board.jobs[*job];
        let met = of.due.two_people.then(|| had.pinned(board, *job)).flatten();
        let closes = if late.contains(job) { of.late_closes } else { of.slot.closes };
        met.unwrap_or(Slot { closes, ..of.slot })
    };
    let mut slots = by_name(&own.iter().map(slot).collect::<Vec<_>>());
    slots.sort_by_key(|slot| !board.jobs[slot.job].due.two_people);
    slots
}

fn able(board: &Board, hand: usize, job: usize) -> Result<(), WhyNot> {
    let own = &board.hands[hand];
    let slot = Slot { closes: board.jobs[job].late_closes, ..board.jobs[job].slot };
    if first_start(&own.free, &slot, slot.opens).is_none() {
        return Err(WhyNot::NotThere);
    }
    if !own.qualified[job] {
        return Err(WhyNot::NotQualified);
    }
    if own.may[job] { Ok(()) } else { Err(WhyNot::WouldBreakHygiene) }
}

/// Told of a check that is handed: where one that they had before is in the way, it is the first they would get.
fn refused(
    board: &Board,
    jobs: &BTreeMap<Id<Check>, usize>,
    wanted: &[Handing],
    to: Id<Person>,
    (job, why): (usize, WhyNot),
) -> NotHanded {
    let stuck = board.jobs[job].due.check;
    let mut theirs = wanted.iter().filter(|one| one.to == to);
    let is_handed = theirs.clone().any(|one| one.check == stuck);
    let first = theirs.next().map_or(stuck, |one| one.check);
    if is_handed {
        return NotHanded { check: stuck, to, why };
    }
    let own = board.hands.iter().position(|hand| hand.worker.person == to);
    let of_first = own.zip(jobs.get(&first)).and_then(|(hand, job)| able(board, hand, *job).err());
    let together = if why == WhyNot::WouldBreakHygiene { why } else { WhyNot::NoTime };
    NotHanded { check: first, to, why: of_first.unwrap_or(together) }
}
