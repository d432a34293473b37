//! What a plan costs by the rules that the file comes with, computed without the product.

use std::collections::{BTreeMap, BTreeSet};

use super::instance::{Instance, Person, Plan};

/// A check of priority 1 that is left.
const LEFT: i64 = 1_000;
/// One more person in a room.
const SPLIT: i64 = 20;
/// A check that goes to somebody else although who had it is there.
const MOVED: i64 = 100;
/// Minutes off the fair ones that cost nothing.
const FREE_MIN: i64 = 15;
/// Of a shift, what checks may take at most.
const OF_SHIFT: f64 = 0.9;

/// What a plan costs, and which rules it breaks.
#[derive(Debug, Clone, Default)]
pub struct Judged {
    /// All together.
    pub cost: i64,
    /// Priorities of the checks that are left.
    pub left: i64,
    /// Pairs of person and room beyond one a room.
    pub splits: i64,
    /// Minutes off the fair ones, beyond those that cost nothing.
    pub unfair_min: i64,
    /// Checks that went to somebody else although who had them is there.
    pub moves: i64,
    /// Rules broken, in words.
    pub broken: Vec<String>,
}

/// Judges a plan of an instance where one more person may be away, against the one that was published.
pub fn judge(instance: &Instance, sick: Option<&str>, plan: &Plan, published: Option<&Plan>) -> Judged {
    let present: Vec<&Person> =
        instance.staff.iter().filter(|person| !person.absent && sick != Some(person.id.as_str())).collect();
    let of = |id: &str| instance.checks.iter().find(|check| check.id == id);
    let mut judged = Judged { broken: broken(instance, &present, plan), ..Judged::default() };

    let left = instance.checks.iter().filter(|check| !plan.contains_key(&check.id));
    judged.left = left.map(|check| i64::from(check.prio)).sum();

    let pairs: BTreeSet<(&str, &str)> =
        plan.iter().filter_map(|(id, (who, _))| Some((who.as_str(), of(id)?.room.as_str()))).collect();
    let rooms: BTreeSet<&str> = pairs.iter().map(|(_, room)| *room).collect();
    judged.splits = (pairs.len() - rooms.len()) as i64;

    let fair = fair(instance, &present);
    for person in &present {
        let own = plan.iter().filter(|(_, (who, _))| *who == person.id);
        let load: i64 = own.filter_map(|(id, _)| of(id)).map(|check| i64::from(check.minutes)).sum();
        judged.unfair_min += ((load - fair[person.id.as_str()]).abs() - FREE_MIN).max(0);
    }

    let had = published.into_iter().flatten();
    let moved = had.filter(|(id, (who, _))| {
        let is_there = present.iter().any(|person| person.id == *who);
        is_there && of(id).is_some() && plan.get(*id).is_none_or(|(now, _)| now != who)
    });
    judged.moves = moved.count() as i64;

    judged.cost = LEFT * judged.left + SPLIT * judged.splits + judged.unfair_min + MOVED * judged.moves;
    judged
}

/// Minutes that are fair today: the same share of everybody's time over four weeks.
fn fair<'a>(instance: &Instance, present: &[&'a Person]) -> BTreeMap<&'a str, i64> {
    let today: i64 = instance.checks.iter().map(|check| i64::from(check.minutes)).sum();
    let worked: i64 = present.iter().map(|person| person.hist_min).sum();
    let available: i64 = present.iter().map(|person| person.avail_min).sum();
    let share = (worked + today) as f64 / available as f64;
    let of = |person: &&'a Person| {
        let most = (OF_SHIFT * (person.shift.1 - person.shift.0) as f64) as i64;
        let fair = (person.avail_min as f64 * share - person.hist_min as f64 + 0.5).floor() as i64;
        (person.id.as_str(), fair.max(0).min(most))
    };
    present.iter().map(of).collect()
}

fn broken(instance: &Instance, present: &[&Person], plan: &Plan) -> Vec<String> {
    let mut broken = Vec::new();
    for (id, (who, block)) in plan {
        let Some(check) = instance.checks.iter().find(|check| check.id == *id) else {
            broken.push(format!("{id} is no check"));
            continue;
        };
        let Some(person) = present.iter().find(|person| person.id == *who) else {
            broken.push(format!("{id}: {who} is not there"));
            continue;
        };
        if check.qual.as_ref().is_some_and(|wanted| !person.quals.contains(wanted)) {
            broken.push(format!("{id}: {who} is not qualified"));
        }
        if !(check.window.0..=check.window.1).contains(block) {
            broken.push(format!("{id}: outside its window"));
        }
    }
    present.iter().for_each(|person| broken.extend(broken_by(instance, person, plan)));
    broken
}

/// Minutes of each block within the shift, and nothing clean in a block after quarantine.
fn broken_by(instance: &Instance, person: &Person, plan: &Plan) -> Vec<String> {
    let mut broken = Vec::new();
    let mut been_in_quarantine = false;
    for (block, (from, until)) in instance.blocks.iter().enumerate() {
        let has = |id: &str| plan.get(id).is_some_and(|(who, when)| *who == person.id && *when == block);
        let own: Vec<_> = instance.checks.iter().filter(|check| has(&check.id)).collect();
        let there = (person.shift.1.min(*until) - person.shift.0.max(*from)).max(0);
        if own.iter().map(|check| i64::from(check.minutes)).sum::<i64>() > there {
            broken.push(format!("{}: too much in block {block}", person.id));
        }
        if been_in_quarantine && own.iter().any(|check| !instance.is_quarantine(check)) {
            broken.push(format!("{}: clean after quarantine in block {block}", person.id));
        }
        been_in_quarantine |= own.iter().any(|check| instance.is_quarantine(check));
    }
    broken
}
