//! What people did in the weeks before a day, for what is fair and which rooms they know.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::people::Person;
use fillmark_domain::places::Room;

/// Checks in a room that make it a familiar one (our own judgement).
const FAMILIAR: usize = 5;

/// A check that somebody did, alone or as one of two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Worked {
    /// Who.
    pub person: Id<Person>,
    /// When it was done.
    pub at: DateTime<Utc>,
    /// Minutes of work, as planned.
    pub minutes: i64,
    /// Whether nobody likes to do it.
    pub is_unpleasant: bool,
    /// The room it was done in, where that is known.
    pub room: Option<Id<Room>>,
}

/// What somebody did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Past {
    /// Minutes of checks.
    pub minutes: i64,
    /// Of those, minutes that nobody likes.
    pub unpleasant_min: i64,
    /// Rooms they know well, in order.
    pub familiar: Vec<Id<Room>>,
}

/// What each did.
pub fn past(worked: &[Worked]) -> BTreeMap<Id<Person>, Past> {
    let mut all: BTreeMap<Id<Person>, Past> = BTreeMap::new();
    let mut times: BTreeMap<(Id<Person>, Id<Room>), usize> = BTreeMap::new();
    for one in worked {
        let own = all.entry(one.person).or_default();
        own.minutes += one.minutes;
        own.unpleasant_min += if one.is_unpleasant { one.minutes } else { 0 };
        if let Some(room) = one.room {
            *times.entry((one.person, room)).or_default() += 1;
        }
    }
    for ((person, room), _) in times.into_iter().filter(|(_, times)| *times >= FAMILIAR) {
        all.entry(person).or_default().familiar.push(room);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    #[track_caller]
    fn check(worked: &[(i64, bool, u128)], expected: (i64, i64, &[u128])) {
        let ada = Id::new(Uuid::from_u128(1));
        let worked: Vec<Worked> = worked
            .iter()
            .map(|(minutes, is_unpleasant, room)| Worked {
                person: ada,
                at: DateTime::UNIX_EPOCH,
                minutes: *minutes,
                is_unpleasant: *is_unpleasant,
                room: Some(Id::new(Uuid::from_u128(*room))),
            })
            .collect();
        let found = past(&worked).remove(&ada).unwrap_or_default();
        let rooms = expected.2.iter().map(|room| Id::new(Uuid::from_u128(*room))).collect();
        assert_eq!(found, Past { minutes: expected.0, unpleasant_min: expected.1, familiar: rooms });
    }

    #[test]
    fn a_room_is_familiar_after_some_checks_in_it() {
        check(&[(10, false, 7); 4], (40, 0, &[]));
        check(&[(10, false, 7); 5], (50, 0, &[7]));
    }

    #[test]
    fn unpleasant_minutes_count_among_all() {
        check(&[(10, false, 7), (45, true, 8)], (55, 45, &[]));
        check(&[], (0, 0, &[]));
    }
}
