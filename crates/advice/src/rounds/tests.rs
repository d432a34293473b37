use chrono::TimeDelta;
use serde_json::Value;
use uuid::Uuid;

use super::*;

mod facts;
mod handing;
mod late;
mod midday;

const ADA: u128 = 1;
const BEN: u128 = 2;
const ACID: u128 = 1;
const NORTH: u128 = 1;
const SOUTH: u128 = 2;

fn at(minute: i64) -> DateTime<Utc> {
    "2027-05-03T00:00:00Z".parse::<DateTime<Utc>>().unwrap() + TimeDelta::minutes(minute)
}

fn span(from: i64, until: i64) -> Span {
    Span { from: at(from), until: at(until) }
}

fn clean(rank: u16) -> Hygiene {
    Hygiene { quarantine: false, rank }
}

/// A check of ten minutes in the clean north room between eight and twelve.
fn due(check: u128) -> DueCheck {
    DueCheck {
        check: Id::new(Uuid::from_u128(check)),
        room: Id::new(Uuid::from_u128(NORTH)),
        hygiene: clean(1),
        name: format!("tank {check}"),
        window: span(480, 720),
        minutes: 10,
        qualification: None,
        two_people: false,
        limit: None,
        weight: 1,
        meter: None,
        building: 0,
        is_unpleasant: false,
        may_wait: false,
    }
}

/// Somebody on shift from seven to three.
fn worker(person: u128) -> Worker {
    Worker {
        shifts: vec![span(420, 900)],
        available_min: 480,
        ..Worker::new(Id::new(Uuid::from_u128(person)))
    }
}

fn good_until(qualification: u128, until: Option<&str>) -> Held {
    Held {
        person: Id::new(Uuid::nil()),
        qualification: Id::new(Uuid::from_u128(qualification)),
        from: "2026-01-01".parse().unwrap(),
        until: until.map(|day| day.parse().unwrap()),
    }
}

fn work_day(checks: Vec<DueCheck>, workers: Vec<Worker>) -> WorkDay {
    WorkDay { date: "2027-05-03".parse().unwrap(), checks, workers, walks: Walks::default(), meters: vec![] }
}

/// Who does which checks in order, and which are left; the plan keeps the hard rules.
#[track_caller]
fn check(day: &WorkDay, rounds: &[(u128, &[u128])], left: &[(u128, &[Reason])]) {
    let plan = assign(day);
    keeps_the_hard_rules(day, &plan);
    let found: Vec<(u128, Vec<u128>)> = plan
        .rounds
        .iter()
        .map(|round| {
            let steps = round.steps.iter().map(|step| step.check.uuid().as_u128()).collect();
            (round.person.uuid().as_u128(), steps)
        })
        .collect();
    let expected: Vec<(u128, Vec<u128>)> = rounds.iter().map(|(who, what)| (*who, what.to_vec())).collect();
    assert_eq!(found, expected);

    let found: Vec<(u128, Vec<Reason>)> =
        plan.left.iter().map(|left| (left.check.uuid().as_u128(), left.reasons.clone())).collect();
    let expected: Vec<(u128, Vec<Reason>)> = left.iter().map(|(what, why)| (*what, why.to_vec())).collect();
    assert_eq!(found, expected);
}

#[track_caller]
fn keeps_the_hard_rules(day: &WorkDay, plan: &Assignment) {
    for round in &plan.rounds {
        let worker = day.workers.iter().find(|worker| worker.person == round.person).unwrap();
        let mut before: Option<(Hygiene, DateTime<Utc>)> = None;
        for step in &round.steps {
            let due = due_of(day, step.check);
            let ends = step.starts_at + TimeDelta::minutes(due.minutes.into());
            check_step(day, worker, due, Span { from: step.starts_at, until: ends });
            let later = |(hygiene, ended)| hygiene <= due.hygiene && ended <= step.starts_at;
            assert!(before.is_none_or(later), "order");
            check_together(plan, due, step);
            before = Some((due.hygiene, ends));
        }
    }
    for due in &day.checks {
        let steps = plan.rounds.iter().flat_map(|round| &round.steps);
        let times = steps.filter(|step| step.check == due.check).count();
        let left =
            plan.left.iter().filter(|left| left.check == due.check && !left.reasons.is_empty()).count();
        let people = if due.two_people { 2 } else { 1 };
        assert!([(people, 0), (0, 1)].contains(&(times, left)), "done or left, once");
    }
}

fn due_of(day: &WorkDay, check: Id<Check>) -> &DueCheck {
    day.checks.iter().find(|due| due.check == check).unwrap()
}

#[track_caller]
fn check_step(day: &WorkDay, worker: &Worker, due: &DueCheck, work: Span) {
    let within = |span: &Span| span.from <= work.from && work.until <= span.until;
    assert!(within(&due.window), "window");
    assert!(worker.shifts.iter().any(within), "shift");
    assert!(worker.absences.iter().all(|away| away.overlap(work).is_none()), "absence");
    let good =
        |wanted| worker.held.iter().any(|held| held.qualification == wanted && held.is_good_on(day.date));
    assert!(due.qualification.is_none_or(good), "qualification");
}

#[track_caller]
fn check_together(plan: &Assignment, due: &DueCheck, step: &PlannedStep) {
    assert_eq!(due.two_people, step.with.is_some(), "people");
    let Some(with) = step.with else { return };
    let other = plan.rounds.iter().find(|round| round.person == with).unwrap();
    let same = |own: &PlannedStep| own.check == step.check && own.starts_at == step.starts_at;
    assert!(other.steps.iter().any(same), "together");
}

#[test]
fn a_room_stays_with_one_person_and_minutes_are_shared() {
    let in_south = |check| DueCheck { room: Id::new(Uuid::from_u128(SOUTH)), ..due(check) };
    let day = work_day(
        vec![due(11), due(12), due(13), in_south(14), in_south(15), in_south(16)],
        vec![worker(ADA), worker(BEN)],
    );
    check(&day, &[(ADA, &[11, 12, 13]), (BEN, &[14, 15, 16])], &[]);
}

#[test]
fn who_worked_more_over_four_weeks_works_less_today() {
    let tired = Worker { worked_min: 4000, available_min: 9600, ..worker(ADA) };
    let rested = Worker { worked_min: 3000, available_min: 9600, ..worker(BEN) };
    check(&work_day(vec![due(11), due(12)], vec![tired, rested]), &[(BEN, &[11, 12])], &[]);
}

#[test]
fn a_round_goes_from_clean_to_dirty_and_quarantine_comes_last() {
    let quarantine = DueCheck { hygiene: Hygiene { quarantine: true, rank: 0 }, ..due(11) };
    let dirty = DueCheck { hygiene: clean(5), ..due(12) };
    check(&work_day(vec![quarantine, dirty, due(13)], vec![worker(ADA)]), &[(ADA, &[13, 12, 11])], &[]);
}

#[test]
fn nobody_goes_back_from_quarantine() {
    let quarantine =
        DueCheck { hygiene: Hygiene { quarantine: true, rank: 0 }, window: span(480, 500), ..due(11) };
    let evening = DueCheck { window: span(600, 720), ..due(12) };
    let day = |workers| work_day(vec![quarantine.clone(), evening.clone()], workers);
    check(&day(vec![worker(ADA)]), &[(ADA, &[11])], &[(12, &[Reason::WouldBreakHygiene])]);
    check(&day(vec![worker(ADA), worker(BEN)]), &[(ADA, &[11]), (BEN, &[12])], &[]);
}

#[test]
fn who_has_been_in_a_dirty_room_already_stays_out_of_clean_ones() {
    let been = Worker { been_in: Some(clean(5)), ..worker(ADA) };
    let dirty = DueCheck { hygiene: clean(5), ..due(12) };
    let left = [(11, &[Reason::WouldBreakHygiene][..])];
    check(&work_day(vec![due(11), dirty], vec![been]), &[(ADA, &[12])], &left);
}

#[test]
fn what_nobody_can_do_is_left_with_its_reason() {
    let night = DueCheck { window: span(60, 120), ..due(11) };
    check(&work_day(vec![night], vec![worker(ADA)]), &[], &[(11, &[Reason::NobodyOnShift])]);

    let away = Worker { absences: vec![span(0, 1440)], ..worker(ADA) };
    check(&work_day(vec![due(11)], vec![away]), &[], &[(11, &[Reason::AllAbsent])]);

    let rests = Worker { breaks: vec![span(480, 720)], ..worker(ADA) };
    check(&work_day(vec![due(11)], vec![rests]), &[], &[(11, &[Reason::OnBreak])]);
    let at_work = Worker { busy: vec![span(480, 720)], ..worker(ADA) };
    check(&work_day(vec![due(11)], vec![at_work]), &[], &[(11, &[Reason::NoTimeInWindow])]);

    let acid = DueCheck { qualification: Some(Id::new(Uuid::from_u128(ACID))), ..due(11) };
    let lapsed = Worker { held: vec![good_until(ACID, Some("2027-05-02"))], ..worker(ADA) };
    check(&work_day(vec![acid.clone()], vec![lapsed]), &[], &[(11, &[Reason::NobodyQualified])]);
    let good = Worker { held: vec![good_until(ACID, Some("2027-05-03"))], ..worker(ADA) };
    check(&work_day(vec![acid], vec![good]), &[(ADA, &[11])], &[]);

    let short = |check| DueCheck { window: span(480, 490), ..due(check) };
    let one_left = [(12, &[Reason::NoTimeInWindow][..])];
    check(&work_day(vec![short(11), short(12)], vec![worker(ADA)]), &[(ADA, &[11])], &one_left);
    check(&work_day(vec![due(11)], vec![]), &[], &[(11, &[Reason::NobodyOnShift])]);
}

#[test]
fn two_people_meet() {
    let both = DueCheck { two_people: true, ..due(11) };
    let day = work_day(vec![both.clone(), due(12)], vec![worker(ADA), worker(BEN)]);
    let plan = assign(&day);
    keeps_the_hard_rules(&day, &plan);
    assert!(plan.left.is_empty());
    check(&work_day(vec![both], vec![worker(ADA)]), &[], &[(11, &[Reason::NobodyOnShift])]);
}

#[test]
fn the_urgent_check_goes_before_the_rest_of_the_room() {
    let urgent = DueCheck { room: Id::new(Uuid::from_u128(SOUTH)), window: span(480, 495), ..due(13) };
    check(&work_day(vec![due(11), due(12), urgent], vec![worker(ADA)]), &[(ADA, &[13, 11, 12])], &[]);
}

/// A shared instance as a day; a shift is cut at the blocks, so that each check lies within one.
fn of_instance(instance: &Value) -> WorkDay {
    let number = |value: &Value| value.as_i64().unwrap();
    let blocks: Vec<(i64, i64)> =
        list(&instance["blocks"]).iter().map(|block| (number(&block[0]), number(&block[1]))).collect();
    let checks = list(&instance["checks"]).iter().map(|row| {
        let room = list(&instance["rooms"]).iter().find(|room| room["id"] == row["room"]).unwrap();
        let (first, last) = (number(&row["window"][0]) as usize, number(&row["window"][1]) as usize);
        DueCheck {
            check: id_of(&row["id"]),
            room: id_of(&row["room"]),
            hygiene: Hygiene { quarantine: room["zone"] == "quarantine", rank: 1 },
            name: row["id"].to_string(),
            window: span(blocks[first].0, blocks[last].1),
            minutes: number(&row["minutes"]) as u32,
            qualification: row["qual"].as_str().map(|_| id_of(&row["qual"])),
            ..due(0)
        }
    });
    let workers = list(&instance["staff"]).iter().map(|row| {
        let shift = span(number(&row["shift"][0]), number(&row["shift"][1]));
        Worker {
            person: id_of(&row["id"]),
            shifts: blocks.iter().filter_map(|block| shift.overlap(span(block.0, block.1))).collect(),
            absences: if row["absent"] == true { vec![span(0, 1440)] } else { vec![] },
            held: list(&row["quals"])
                .iter()
                .map(|name| Held { qualification: id_of(name), ..good_until(0, None) })
                .collect(),
            worked_min: number(&row["hist_min"]),
            available_min: number(&row["avail_min"]),
            ..worker(0)
        }
    });
    work_day(checks.collect(), workers.collect())
}

fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap()
}

/// An id from the letters of a name.
fn id_of<W>(name: &Value) -> Id<W> {
    let letters = name.as_str().unwrap().bytes();
    Id::new(Uuid::from_u128(letters.fold(0, |id, letter| id << 8 | u128::from(letter))))
}

#[test]
fn shared_instances_keep_their_rules_block_by_block() {
    let instances: Vec<Value> =
        serde_json::from_str(include_str!("../../testdata/staff_instances.json")).unwrap();
    for instance in &instances {
        let day = of_instance(instance);
        let plan = assign(&day);
        keeps_the_hard_rules(&day, &plan);
        check_blocks(instance, &day, &plan);
        assert!(plan.left.len() * 4 < day.checks.len(), "{}: {} left", instance["name"], plan.left.len());
    }
}

/// Minutes of each block fit the shift in it, and no clean room comes in a block after quarantine.
#[track_caller]
fn check_blocks(instance: &Value, day: &WorkDay, plan: &Assignment) {
    for round in &plan.rounds {
        let worker = day.workers.iter().find(|worker| worker.person == round.person).unwrap();
        let mut dirty_since: Option<usize> = None;
        for (block, shift) in list(&instance["blocks"]).iter().enumerate() {
            let block_span = span(block_edge(shift, 0), block_edge(shift, 1));
            let there: i64 =
                worker.shifts.iter().filter_map(|own| own.overlap(block_span)).map(Span::minutes).sum();
            let done: Vec<&DueCheck> = round
                .steps
                .iter()
                .filter(|step| block_span.from <= step.starts_at && step.starts_at < block_span.until)
                .map(|step| due_of(day, step.check))
                .collect();
            assert!(done.iter().map(|due| i64::from(due.minutes)).sum::<i64>() <= there, "capacity");
            let clean_after = done.iter().any(|due| !due.hygiene.quarantine) && dirty_since.is_some();
            assert!(!clean_after, "hygiene");
            if done.iter().any(|due| due.hygiene.quarantine) {
                dirty_since = dirty_since.or(Some(block));
            }
        }
    }
}

fn block_edge(block: &Value, edge: usize) -> i64 {
    block[edge].as_i64().unwrap()
}
