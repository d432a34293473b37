//! Small days with everything in them.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::Id;
use fillmark_domain::entries::MeterKind;
use fillmark_domain::work::{Held, Span};
use uuid::Uuid;

use crate::rounds::chance::Chance;
use crate::rounds::{DueCheck, Hygiene, Meters, Walks, WorkDay, Worker};

pub(super) fn at(minute: i64) -> DateTime<Utc> {
    "2027-05-03T00:00:00Z".parse::<DateTime<Utc>>().unwrap() + TimeDelta::minutes(minute)
}

pub(super) fn id<W>(number: usize) -> Id<W> {
    Id::new(Uuid::from_u128(number as u128))
}

fn span(from: i64, length: i64) -> Span {
    Span { from: at(from), until: at(from + length) }
}

fn of(chance: &mut Chance, from: i64, until: i64) -> i64 {
    from + chance.below((until - from) as usize) as i64
}

fn often(chance: &mut Chance, percent: usize) -> bool {
    chance.below(100) < percent
}

/// Up to nine checks in four rooms of two buildings, up to four people, often one meter for all.
pub(super) fn any_day(chance: &mut Chance) -> WorkDay {
    let checks = chance.below(10);
    let workers = chance.below(5);
    WorkDay {
        date: "2027-05-03".parse().unwrap(),
        checks: (0..checks).map(|number| any_check(chance, number)).collect(),
        workers: (0..workers).map(|number| any_worker(chance, number)).collect(),
        walks: Walks { rooms_min: chance.below(6) as u32, buildings_min: chance.below(15) as u32 },
        meters: if often(chance, 50) { vec![Meters { kind: MeterKind::PhAndEc, count: 1 }] } else { vec![] },
    }
}

fn any_check(chance: &mut Chance, number: usize) -> DueCheck {
    let room = chance.below(4);
    let (opens, length) = (of(chance, 360, 900), of(chance, 5, 300));
    let late = of(chance, 0, 200);
    DueCheck {
        check: id(number),
        room: id(room),
        hygiene: Hygiene { quarantine: room == 3, rank: 1 + (room % 2) as u16 },
        name: format!("tank {number}"),
        window: span(opens, length),
        minutes: of(chance, 1, 60) as u32,
        qualification: often(chance, 30).then(|| id(chance.below(2))),
        two_people: often(chance, 15),
        limit: often(chance, 30).then(|| at(opens + length + late)),
        weight: of(chance, 1, 4) as u32,
        meter: often(chance, 40).then_some(MeterKind::PhAndEc),
        building: (room / 2) as u32,
        is_unpleasant: often(chance, 20),
        may_wait: often(chance, 20),
    }
}

pub(super) fn any_worker(chance: &mut Chance, number: usize) -> Worker {
    let (starts, length) = (of(chance, 300, 700), of(chance, 60, 540));
    let until = often(chance, 30).then(|| "2027-05-02".parse().unwrap());
    let held = |qualification: usize| Held {
        person: id(number),
        qualification: id(qualification),
        from: "2026-01-01".parse().unwrap(),
        until,
    };
    let rest = |chance: &mut Chance, length| span(of(chance, 300, 1_100), length);
    Worker {
        person: id(number),
        shifts: vec![span(starts, length)],
        absences: if often(chance, 25) { vec![rest(chance, 120)] } else { vec![] },
        held: (0..chance.below(3)).map(held).collect(),
        been_in: often(chance, 10).then_some(Hygiene { quarantine: false, rank: 2 }),
        worked_min: of(chance, 0, 4_000),
        available_min: 9_600,
        breaks: if often(chance, 50) { vec![rest(chance, 30)] } else { vec![] },
        busy: vec![],
        familiar: if often(chance, 40) { vec![id(chance.below(4))] } else { vec![] },
        unpleasant_min: of(chance, 0, 300),
        begun_min: 0,
        begun_unpleasant_min: 0,
        begun_rooms: vec![],
    }
}
