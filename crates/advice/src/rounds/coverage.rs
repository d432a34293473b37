//! Weeks ahead: on which days people or a qualification are short, and by how many minutes.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use chrono::NaiveDate;
use fillmark_domain::Id;
use fillmark_domain::work::Qualification;

use crate::rounds::Worker;
use crate::rounds::board::free;

/// A day to come, as it is expected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DayAhead {
    /// The local day.
    pub date: NaiveDate,
    /// Who has shifts on it.
    pub workers: Vec<Worker>,
    /// Work to be done, tank changes included.
    pub expected: Vec<Expected>,
}

/// Work of one kind that is expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Expected {
    /// What it wants, if anything.
    pub qualification: Option<Id<Qualification>>,
    /// Minutes of people: work of two counts twice.
    pub minutes: i64,
}

impl Expected {
    /// The work of one check.
    pub fn of(qualification: Option<Id<Qualification>>, minutes: u32, two_people: bool) -> Expected {
        let people = if two_people { 2 } else { 1 };
        Expected { qualification, minutes: people * i64::from(minutes) }
    }
}

/// Minutes that somebody is there, absences and breaks taken out.
pub fn minutes_there(worker: &Worker) -> i64 {
    free(worker).iter().map(|(from, until)| until - from).sum()
}

/// How a day is covered. Windows, walks and the order of rooms are left aside: what is short here is short for sure,
/// and what is covered may still be hard to plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Coverage {
    /// The local day.
    pub date: NaiveDate,
    /// Minutes wanted.
    pub wanted_min: i64,
    /// Minutes that people are there.
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
    let there: Vec<(&Worker, i64)> = day
        .workers
        .iter()
        .map(|worker| (worker, minutes_there(worker)))
        .filter(|(_, minutes)| *minutes > 0)
        .collect();
    let mut wanted: BTreeMap<Option<Id<Qualification>>, i64> = BTreeMap::new();
    for expected in &day.expected {
        *wanted.entry(expected.qualification).or_default() += expected.minutes.max(0);
    }
    let holds = |worker: &Worker, wanted: Option<Id<Qualification>>| {
        wanted.is_none_or(|wanted| {
            worker.held.iter().any(|held| held.qualification == wanted && held.is_good_on(day.date))
        })
    };
    // What wants a qualification is covered first; what is covered once stays so.
    let mut kinds: Vec<Option<Id<Qualification>>> = wanted.keys().copied().collect();
    kinds.sort_by_key(|kind| {
        (kind.is_none(), there.iter().filter(|(who, _)| holds(who, *kind)).count(), *kind)
    });
    let mut shares = Shares::of(
        there.iter().map(|(_, minutes)| *minutes).collect(),
        kinds.iter().map(|kind| there.iter().map(|(who, _)| holds(who, *kind)).collect()).collect(),
    );
    let mut lacks = Vec::new();
    for (index, kind) in kinds.iter().enumerate() {
        let minutes = shares.cover(index, wanted[kind]);
        if minutes > 0 {
            let people = there.iter().filter(|(who, _)| holds(who, *kind)).count();
            lacks.push(Lack { qualification: *kind, minutes, people });
        }
    }
    Coverage {
        date: day.date,
        wanted_min: wanted.values().sum(),
        there_min: there.iter().map(|(_, minutes)| minutes).sum(),
        lacks,
    }
}

/// Whose minutes go to which kind of work: a flow, whose paths may take minutes from one kind and replace them by
/// somebody else's (Ford and Fulkerson, Canadian Journal of Mathematics 8, 1956; from memory).
struct Shares {
    spare: Vec<i64>,
    may: Vec<Vec<bool>>,
    /// Minutes by kind and person.
    given: Vec<Vec<i64>>,
}

impl Shares {
    fn of(spare: Vec<i64>, may: Vec<Vec<bool>>) -> Shares {
        Shares { given: vec![vec![0; spare.len()]; may.len()], spare, may }
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
            for person in (0..self.spare.len()).filter(|person| self.may[kind][*person]) {
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

    /// Hands minutes on along a path; how many.
    fn follow(&mut self, path: &[(usize, usize)], at_most: i64) -> i64 {
        let Some((_, last)) = path.last() else { return 0 };
        let passed_on = path.windows(2).map(|pair| self.given[pair[1].0][pair[0].1]);
        let minutes = passed_on.min().unwrap_or(i64::MAX).min(self.spare[*last]).min(at_most);
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
