//! Weeks ahead: on which days people or a qualification are short, and by how many minutes.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use chrono::NaiveDate;
use fillmark_domain::Id;
use fillmark_domain::work::{Check, Qualification, Span};

use crate::rounds::board::{free, whole_minutes};
use crate::rounds::{Worker, is_qualified};

/// A day to come, as it is expected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DayAhead {
    /// The local day.
    pub date: NaiveDate,
    /// From when until when it is.
    pub hours: Span,
    /// Who has shifts that reach into it, those of the day before among them.
    pub workers: Vec<Worker>,
    /// Work to be done, tank changes included.
    pub expected: Vec<Expected>,
}

/// Work that is expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Expected {
    /// What it wants, if anything.
    pub qualification: Option<Id<Qualification>>,
    /// From when it is due until it is missed.
    pub time: Span,
    /// Minutes it takes whoever does it, at one go.
    pub work_min: i64,
    /// How many people do it together.
    pub people: i64,
}

impl Expected {
    /// The work of one check; none where there is no time for it.
    pub fn of(check: &Check) -> Option<Expected> {
        Some(Expected {
            qualification: check.qualification,
            time: check.time_left(check.due_at)?,
            work_min: check.work_min.into(),
            people: if check.two_people { 2 } else { 1 },
        })
    }

    /// Whether one of these stretches of minutes leaves it the time it takes.
    fn fits(&self, free: &[(i64, i64)]) -> bool {
        let (opens, closes) = whole_minutes(self.time);
        free.iter().any(|(from, until)| (*from).max(opens) + self.work_min.max(1) <= (*until).min(closes))
    }
}

/// Minutes that somebody is there, absences and breaks taken out.
pub fn minutes_there(worker: &Worker) -> i64 {
    minutes(&free(worker))
}

/// How a day is covered. Nobody counts for work that they have no time for between its being due and its being missed, nor for
/// both of the two whom it wants, nor for one of them without another who is there meanwhile; that two pieces of work want the
/// same minutes, walks and the order of rooms are left aside. So what is short here is short for sure, and what is covered may
/// still be hard to plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Coverage {
    /// The local day.
    pub date: NaiveDate,
    /// Minutes wanted.
    pub wanted_min: i64,
    /// Minutes that people are there from midnight to midnight. What may be done after that may be done by whoever stays on.
    pub there_min: i64,
    /// What is short, the qualifications first. Empty when the day is covered.
    pub lacks: Vec<Lack>,
}

/// What is short on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lack {
    /// Of what; people of any kind where it is none.
    pub qualification: Option<Id<Qualification>>,
    /// By so many minutes.
    pub minutes: i64,
    /// People on shift who hold it on that day, busy or not.
    pub people: usize,
}

/// How each day is covered, in the order given.
pub fn coverage(days: &[DayAhead]) -> Vec<Coverage> {
    days.iter().map(of_day).collect()
}

fn of_day(day: &DayAhead) -> Coverage {
    let there = there(day);
    let wanted = wanted(day, &there);
    let holders = |kind: &Kind| there.iter().filter(|who| who.holds(kind.0, day.date)).count();
    // What wants a qualification is covered first; what is covered once stays so.
    let mut kinds: Vec<Kind> = wanted.keys().cloned().collect();
    kinds.sort_by_key(|kind| {
        let able = kind.1.iter().filter(|may| **may).count();
        (kind.0.is_none(), holders(kind), kind.0, able, kind.1.clone(), kind.2)
    });
    let spare = there.iter().map(|who| minutes(&who.free)).collect();
    let most = kinds.iter().map(|kind| {
        let of_one = wanted[kind].of_one;
        kind.1.iter().map(|may| if *may { of_one } else { 0 }).collect()
    });
    let mut shares = Shares::of(spare, most.collect());
    let mut lacks: Vec<Lack> = Vec::new();
    for (index, kind) in kinds.iter().enumerate() {
        let Wanted { minutes, of_one } = wanted[kind];
        let done = if kind.2 { of_one.min(minutes) } else { minutes };
        let short = minutes - done + shares.cover(index, done);
        match lacks.last_mut() {
            _ if short == 0 => {}
            Some(lack) if lack.qualification == kind.0 => lack.minutes += short,
            _ => lacks.push(Lack { qualification: kind.0, minutes: short, people: holders(kind) }),
        }
    }
    Coverage {
        date: day.date,
        wanted_min: wanted.values().map(|wanted| wanted.minutes).sum(),
        there_min: there.iter().map(|who| minutes(&within(&who.free, day.hours))).sum(),
        lacks,
    }
}

/// Work is alike that wants the same and can be done by the same people, of whom two are never there at once where that is so.
type Kind = (Option<Id<Qualification>>, Vec<bool>, bool);

fn wanted(day: &DayAhead, there: &[There]) -> BTreeMap<Kind, Wanted> {
    let mut wanted: BTreeMap<Kind, Wanted> = BTreeMap::new();
    for expected in &day.expected {
        let may = |who: &There| who.holds(expected.qualification, day.date) && expected.fits(&who.free);
        let able: Vec<bool> = there.iter().map(may).collect();
        let meet = if expected.people > 1 { who_meet(expected, there, &able) } else { able.clone() };
        // Of such as never meet any may do one part: what is short is somebody beside them.
        let apart = !meet.contains(&true);
        let kind = (expected.qualification, if apart { able } else { meet }, apart);
        let wanted = wanted.entry(kind).or_default();
        wanted.minutes += expected.work_min.max(0) * expected.people;
        wanted.of_one += expected.work_min.max(0);
    }
    wanted
}

/// Who of those able to do a part of work for two are there together with another.
fn who_meet(expected: &Expected, there: &[There], able: &[bool]) -> Vec<bool> {
    let meet = |one: usize, other: usize| {
        one != other
            && able[one]
            && able[other]
            && expected.fits(&common(&there[one].free, &there[other].free))
    };
    let people = 0..there.len();
    people.clone().map(|one| people.clone().any(|other| meet(one, other))).collect()
}

/// Minutes that work of one kind wants.
#[derive(Default, Clone, Copy)]
struct Wanted {
    /// Of all people together.
    minutes: i64,
    /// Of one person at most: nobody is both of the two that a piece of work wants.
    of_one: i64,
}

/// Somebody who is there for the work of a day.
struct There<'a> {
    worker: &'a Worker,
    /// Stretches in which they are, from the day's midnight until the last of its work is missed.
    free: Vec<(i64, i64)>,
}

impl There<'_> {
    fn holds(&self, wanted: Option<Id<Qualification>>, on: NaiveDate) -> bool {
        is_qualified(&self.worker.held, wanted, on)
    }
}

fn there(day: &DayAhead) -> Vec<There<'_>> {
    let last = day.expected.iter().map(|expected| expected.time.until).max();
    let hours = Span { until: last.unwrap_or(day.hours.until).max(day.hours.until), ..day.hours };
    let there = day.workers.iter().map(|worker| There { worker, free: within(&free(worker), hours) });
    there.filter(|who| !who.free.is_empty()).collect()
}

/// The stretches in which two people are there at once.
fn common(one: &[(i64, i64)], other: &[(i64, i64)]) -> Vec<(i64, i64)> {
    let both = one.iter().flat_map(|a| other.iter().map(move |b| (a.0.max(b.0), a.1.min(b.1))));
    both.filter(|(from, until)| from < until).collect()
}

/// What of these stretches lies within some hours.
fn within(free: &[(i64, i64)], hours: Span) -> Vec<(i64, i64)> {
    let (first, last) = whole_minutes(hours);
    let cut = free.iter().map(|(from, until)| ((*from).max(first), (*until).min(last)));
    cut.filter(|(from, until)| from < until).collect()
}

fn minutes(free: &[(i64, i64)]) -> i64 {
    free.iter().map(|(from, until)| until - from).sum()
}

/// Whose minutes go to which kind of work: a flow, whose paths may take minutes from one kind and replace them by
/// somebody else's (Ford and Fulkerson, Canadian Journal of Mathematics 8, 1956; from memory).
struct Shares {
    spare: Vec<i64>,
    /// Minutes by kind and person: how many they may give at most…
    most: Vec<Vec<i64>>,
    /// …and how many they give.
    given: Vec<Vec<i64>>,
}

impl Shares {
    fn of(spare: Vec<i64>, most: Vec<Vec<i64>>) -> Shares {
        Shares { given: vec![vec![0; spare.len()]; most.len()], spare, most }
    }

    /// Gives a kind its minutes, so far as they go; what is short.
    fn cover(&mut self, kind: usize, minutes: i64) -> i64 {
        let mut short = minutes;
        while short > 0 {
            let Some(path) = self.path(kind) else { break };
            short -= self.follow(&path, short);
        }
        short
    }

    /// A way from a kind to somebody with minutes to spare: kind, person, kind, person and so on, the shortest.
    fn path(&self, kind: usize) -> Option<Vec<(usize, usize)>> {
        let mut queue = VecDeque::from([(kind, Vec::new())]);
        let mut seen = BTreeSet::from([kind]);
        while let Some((kind, path)) = queue.pop_front() {
            for person in (0..self.spare.len()).filter(|person| self.room(kind, *person) > 0) {
                let mut path: Vec<(usize, usize)> = path.clone();
                path.push((kind, person));
                if self.spare[person] > 0 {
                    return Some(path);
                }
                for other in (0..self.given.len()).filter(|other| self.given[*other][person] > 0) {
                    if seen.insert(other) {
                        queue.push_back((other, path.clone()));
                    }
                }
            }
        }
        None
    }

    /// Minutes that somebody may still give to a kind.
    fn room(&self, kind: usize, person: usize) -> i64 {
        self.most[kind][person] - self.given[kind][person]
    }

    /// Hands minutes on along a path; how many.
    fn follow(&mut self, path: &[(usize, usize)], at_most: i64) -> i64 {
        let Some((_, last)) = path.last() else { return 0 };
        let passed_on = path.windows(2).map(|pair| self.given[pair[1].0][pair[0].1]);
        let room = path.iter().map(|(kind, person)| self.room(*kind, *person));
        let minutes = passed_on.chain(room).fold(self.spare[*last].min(at_most), i64::min);
        for pair in path.windows(2) {
            self.given[pair[1].0][pair[0].1] -= minutes;
        }
        for (kind, person) in path {
            self.given[*kind][*person] += minutes;
        }
        self.spare[*last] -= minutes;
        minutes
    }
}
