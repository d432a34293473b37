//! An instance as the file has it, and as the product's facts.

use std::collections::BTreeMap;
use std::path::Path;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_advice::rounds::{
    Assignment, DueCheck, Hygiene, PlannedRound, PlannedStep, Published, Walks, WorkDay, Worker,
};
use fillmark_domain::Id;
use fillmark_domain::work::{Held, Span};
use serde::Deserialize;
use uuid::Uuid;

/// Who does a check, and in which block: the file's form of a plan.
pub type Plan = BTreeMap<String, (String, usize)>;

/// An instance with what is known of it.
#[derive(Debug, Deserialize)]
pub struct Case {
    /// Its name.
    pub name: String,
    /// The day.
    pub instance: Instance,
    /// The best plan known.
    pub result: Option<Known>,
    /// Somebody who falls ill of a published day.
    pub sick: Option<Sick>,
}

/// What is known of a best plan.
#[derive(Debug, Deserialize)]
pub struct Known {
    /// Its cost.
    pub best_cost: i64,
    /// What it is made of.
    pub parts: Option<Parts>,
}

/// Of a cost.
#[derive(Debug, Deserialize)]
pub struct Parts {
    /// Checks that went to somebody else.
    #[serde(default)]
    pub moved: i64,
}

/// A sick call.
#[derive(Debug, Deserialize)]
pub struct Sick {
    /// Who.
    pub who: String,
    /// What was published.
    pub base_plan: Plan,
    /// The best that can be made of it.
    pub result: Option<Known>,
}

/// A day.
#[derive(Debug, Deserialize)]
pub struct Instance {
    /// Parts of the day, minutes from midnight.
    pub blocks: Vec<(i64, i64)>,
    /// Who is there.
    pub staff: Vec<Person>,
    /// Where.
    pub rooms: Vec<Room>,
    /// What is to be done.
    pub checks: Vec<Check>,
}

/// Somebody.
#[derive(Debug, Deserialize)]
pub struct Person {
    /// Their name.
    pub id: String,
    /// When they are there, minutes from midnight.
    pub shift: (i64, i64),
    /// What they are qualified in.
    pub quals: Vec<String>,
    /// Whether they are away all day.
    pub absent: bool,
    /// Minutes of checks in the 27 days before.
    pub hist_min: i64,
    /// Minutes of their shifts in those days and this one.
    pub avail_min: i64,
}

/// A room.
#[derive(Debug, Deserialize)]
pub struct Room {
    /// Its name.
    pub id: String,
    /// `clean` or `quarantine`.
    pub zone: String,
}

/// A check.
#[derive(Debug, Deserialize)]
pub struct Check {
    /// Its name.
    pub id: String,
    /// Where.
    pub room: String,
    /// How long.
    pub minutes: u32,
    /// The first and the last block it may be done in.
    pub window: (usize, usize),
    /// What it wants.
    pub qual: Option<String>,
    /// How much it costs to leave it, 1 to 3.
    pub prio: u32,
}

/// Why a file holds no cases.
#[derive(Debug, thiserror::Error)]
pub enum NotACase {
    /// It cannot be read.
    #[error("cannot be read: {0}")]
    Unread(#[from] std::io::Error),
    /// It says something else.
    #[error("is no list of instances: {0}")]
    Other(#[from] serde_json::Error),
}

/// The cases of a file.
/// # Errors
/// When it cannot be read or holds something else.
pub fn read(file: &Path) -> Result<Vec<Case>, NotACase> {
    Ok(serde_json::from_slice(&std::fs::read(file)?)?)
}

impl Instance {
    /// The day as the product knows it, with one more person away. A shift is cut at the blocks, so that each check
    /// lies within one.
    pub fn day(&self, sick: Option<&str>) -> WorkDay {
        WorkDay {
            date: DATE,
            checks: self.checks.iter().map(|check| self.due(check)).collect(),
            workers: self.staff.iter().map(|person| self.worker(person, sick)).collect(),
            walks: Walks::default(),
            meters: vec![],
        }
    }

    /// A plan in the file's form as rounds: block by block, clean rooms first.
    pub fn published(&self, plan: &Plan) -> Published {
        let mut order: Vec<(usize, bool, &Check)> = self
            .checks
            .iter()
            .filter_map(|check| {
                plan.get(&check.id).map(|(_, block)| (*block, self.is_quarantine(check), check))
            })
            .collect();
        order.sort_by_key(|(block, quarantine, check)| (*block, *quarantine, &check.id));
        let round = |person: &Person| {
            let mut now = person.shift.0;
            let own = order.iter().filter(|(_, _, check)| plan[&check.id].0 == person.id);
            let steps = own.map(|(block, _, check)| {
                let starts = now.max(self.blocks[*block].0);
                now = starts + i64::from(check.minutes);
                PlannedStep { check: id(&check.id), starts_at: at(starts), with: None }
            });
            let steps: Vec<PlannedStep> = steps.collect();
            PlannedRound { person: id(&person.id), steps, minutes: 0, fair_minutes: 0 }
        };
        Published { rounds: self.staff.iter().map(round).collect(), begun: vec![], now: at(0) }
    }

    /// The product's plan in the file's form.
    pub fn plan_of(&self, plan: &Assignment) -> Plan {
        let mut found = Plan::new();
        for round in &plan.rounds {
            let Some(person) = self.staff.iter().find(|person| id(&person.id) == round.person) else {
                continue;
            };
            for step in &round.steps {
                let Some(check) = self.checks.iter().find(|check| id(&check.id) == step.check) else {
                    continue;
                };
                let minute = (step.starts_at - at(0)).num_minutes();
                let within = |(from, until): &(i64, i64)| *from <= minute && minute < *until;
                let block = self.blocks.iter().position(within).unwrap_or(usize::MAX);
                found.insert(check.id.clone(), (person.id.clone(), block));
            }
        }
        found
    }

    /// Whether a check is in quarantine.
    pub fn is_quarantine(&self, check: &Check) -> bool {
        self.rooms.iter().any(|room| room.id == check.room && room.zone == "quarantine")
    }

    fn due(&self, check: &Check) -> DueCheck {
        let (first, last) = check.window;
        DueCheck {
            check: id(&check.id),
            room: id(&check.room),
            hygiene: Hygiene { quarantine: self.is_quarantine(check), rank: 1 },
            name: check.id.clone(),
            window: Span { from: at(self.blocks[first].0), until: at(self.blocks[last].1) },
            minutes: check.minutes,
            qualification: check.qual.as_deref().map(id),
            two_people: false,
            limit: None,
            weight: check.prio,
            meter: None,
            building: 0,
            is_unpleasant: false,
            may_wait: false,
        }
    }

    fn worker(&self, person: &Person, sick: Option<&str>) -> Worker {
        let shift = Span { from: at(person.shift.0), until: at(person.shift.1) };
        let blocks = self.blocks.iter().map(|(from, until)| Span { from: at(*from), until: at(*until) });
        let away = person.absent || sick == Some(person.id.as_str());
        let held =
            |name: &String| Held { person: id(&person.id), qualification: id(name), from: DATE, until: None };
        Worker {
            person: id(&person.id),
            shifts: blocks.filter_map(|block| shift.overlap(block)).collect(),
            absences: if away { vec![shift] } else { vec![] },
            held: person.quals.iter().map(held).collect(),
            been_in: None,
            worked_min: person.hist_min,
            available_min: person.avail_min,
            breaks: vec![],
            busy: vec![],
            familiar: vec![],
            unpleasant_min: 0,
            begun_min: 0,
            begun_unpleasant_min: 0,
            begun_rooms: vec![],
        }
    }
}

/// Any day will do: the file knows minutes only.
const DATE: NaiveDate = NaiveDate::from_ymd_opt(2027, 5, 3).expect("a date");

fn at(minute: i64) -> DateTime<Utc> {
    DATE.and_time(chrono::NaiveTime::MIN).and_utc() + TimeDelta::minutes(minute)
}

/// An id from a name: names are short enough to be told apart by their bytes.
fn id<W>(name: &str) -> Id<W> {
    Id::new(Uuid::from_u128(name.bytes().fold(0, |id, letter| id << 8 | u128::from(letter))))
}
