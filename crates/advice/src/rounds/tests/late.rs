//! A check that is late so that nothing is left.

use super::*;

const QUARANTINE: u128 = 9;

fn in_room(check: u128, room: u128) -> DueCheck {
    let (rank, building) = match room {
        NORTH => (2, 0),
        SOUTH => (2, 1),
        QUARANTINE => (9, 1),
        _ => (1, 0),
    };
    DueCheck {
        room: Id::new(Uuid::from_u128(room)),
        hygiene: Hygiene { quarantine: room == QUARANTINE, rank },
        building,
        ..due(check)
    }
}

/// Four rooms that are scouted at nine and cleaned from one to five; at ten something dirty is sprayed, and two lift
/// something, of which both may be late. Until five all fits for Ada and Ben.
fn full_day() -> WorkDay {
    let mut checks = Vec::new();
    for (number, room) in [(1, 7), (2, NORTH), (3, SOUTH), (4, QUARANTINE)] {
        let limit = Some(at(540 + 2_880));
        checks.push(DueCheck { minutes: 20, window: span(540, 780), limit, ..in_room(10 + number, room) });
        let cleaned = in_room(20 + number, room);
        checks.push(DueCheck { minutes: 45, window: span(780, 1020), is_unpleasant: true, ..cleaned });
    }
    let at_ten = |due| DueCheck { window: span(600, 720), limit: Some(at(900)), ..due };
    checks.push(at_ten(DueCheck { minutes: 25, is_unpleasant: true, ..in_room(31, QUARANTINE) }));
    checks.push(at_ten(DueCheck { minutes: 20, two_people: true, ..in_room(32, NORTH) }));
    let there = |person| Worker {
        shifts: vec![span(480, 990)],
        breaks: vec![span(720, 750)],
        available_min: 480,
        ..worker(person)
    };
    let walks = Walks { rooms_min: 3, buildings_min: 8 };
    WorkDay { walks, ..work_day(checks, vec![there(ADA), there(BEN)]) }
}

#[test]
fn what_may_be_late_is_late_before_something_is_left() {
    let day = full_day();
    assert_eq!(assign(&day).left, vec![]);
    let late = |seed| assign_with(&day, Effort { seed, ..Effort::of(&day) }).left.len();
    assert_eq!((2..12).map(late).sum::<usize>(), 0, "whatever chance begins with");
}

#[test]
fn who_cannot_do_both_does_what_cannot_wait() {
    let all_day = |check, may_wait| DueCheck { minutes: 300, window: span(420, 900), may_wait, ..due(check) };
    for (first, second) in [(true, false), (false, true)] {
        let day = work_day(vec![all_day(11, first), all_day(12, second)], vec![worker(ADA)]);
        let waits = if first { 11 } else { 12 };
        let left: Vec<u128> = assign(&day).left.iter().map(|left| left.check.uuid().as_u128()).collect();
        assert_eq!(left, [waits]);
    }
}
