//! A published day that is shared out anew.

use super::*;

/// Ada has the north room from eight, Ben the south one; it is half past eight.
fn morning(workers: Vec<Worker>) -> (WorkDay, Published) {
    let in_south = |check| DueCheck { room: Id::new(Uuid::from_u128(SOUTH)), ..due(check) };
    let long = |due: DueCheck| DueCheck { minutes: 60, window: span(480, 840), ..due };
    let checks = vec![long(due(11)), long(due(12)), long(in_south(21)), long(in_south(22))];
    let round = |person: u128, checks: [u128; 2]| PlannedRound {
        person: Id::new(Uuid::from_u128(person)),
        steps: vec![step(checks[0], 480), step(checks[1], 540)],
        minutes: 120,
        fair_minutes: 120,
    };
    let published = Published {
        rounds: vec![round(ADA, [11, 12]), round(BEN, [21, 22])],
        begun: vec![begun(11, ADA), begun(21, BEN)],
        now: at(510),
    };
    (work_day(checks, workers), published)
}

fn step(check: u128, minute: i64) -> PlannedStep {
    PlannedStep { check: Id::new(Uuid::from_u128(check)), starts_at: at(minute), with: None }
}

fn begun(check: u128, person: u128) -> Begun {
    let (check, person) = (Id::new(Uuid::from_u128(check)), Id::new(Uuid::from_u128(person)));
    Begun { check, person, at: at(480), done_at: None }
}

/// What moves, to whom, and why.
#[track_caller]
fn check_moves(day: &WorkDay, published: &Published, moves: &[(u128, Option<u128>, MoveReason)]) {
    let again = replan(day, published, Effort { iterations: 300, seed: 1 });
    let number = |person: &Id<Person>| person.uuid().as_u128();
    let found: Vec<_> = again
        .moves
        .iter()
        .map(|moved| (moved.check.uuid().as_u128(), moved.to.first().map(number), moved.why))
        .collect();
    assert_eq!(found, moves);
}

#[test]
fn a_day_that_goes_as_planned_stays() {
    let (day, published) = morning(vec![worker(ADA), worker(BEN)]);
    check_moves(&day, &published, &[]);
}

#[test]
fn what_somebody_who_fell_ill_had_not_begun_goes_to_somebody_else() {
    let ill = Worker { absences: vec![span(510, 1440)], ..worker(ADA) };
    let (day, published) = morning(vec![ill, worker(BEN)]);
    check_moves(&day, &published, &[(12, Some(BEN), MoveReason::PersonAway)]);
}

#[test]
fn what_nobody_can_take_over_is_left() {
    let ill = Worker { absences: vec![span(510, 1440)], ..worker(ADA) };
    let (mut day, published) = morning(vec![ill, worker(BEN)]);
    day.checks[1].window = span(480, 590);
    check_moves(&day, &published, &[(12, None, MoveReason::PersonAway)]);
}

#[test]
fn a_check_that_takes_longer_hands_the_next_one_on() {
    let (mut day, published) = morning(vec![worker(ADA), worker(BEN)]);
    day.checks[0].minutes = 200;
    day.checks[1].window = span(480, 720);
    check_moves(&day, &published, &[(12, Some(BEN), MoveReason::NoTimeLeft)]);
}

#[test]
fn what_needs_attention_now_is_done_by_somebody() {
    let (mut day, published) = morning(vec![worker(ADA), worker(BEN)]);
    day.checks.push(DueCheck { window: span(510, 600), ..due(31) });
    let again = replan(&day, &published, Effort { iterations: 300, seed: 1 });
    assert_eq!(again.assignment.left, vec![]);
    assert_eq!(again.moves.len(), 1);
    assert_eq!(again.moves[0].why, MoveReason::WasLeft);
}

#[test]
fn who_is_not_qualified_any_more_hands_it_on() {
    let acid = |person| Worker { held: vec![good_until(ACID, None)], ..worker(person) };
    let (mut day, published) = morning(vec![worker(ADA), acid(BEN)]);
    day.checks[1].qualification = Some(Id::new(Uuid::from_u128(ACID)));
    check_moves(&day, &published, &[(12, Some(BEN), MoveReason::NotQualified)]);
}

/// Ada has all there is, Ben nothing.
fn all_with_one() -> (WorkDay, Published) {
    let long = |check: u128| DueCheck {
        room: Id::new(Uuid::from_u128(check)),
        minutes: 80,
        window: span(480, 900),
        is_unpleasant: true,
        ..due(check)
    };
    let steps: Vec<PlannedStep> = (0..4).map(|index| step(41 + index, 480 + 80 * index as i64)).collect();
    let round =
        PlannedRound { person: Id::new(Uuid::from_u128(ADA)), steps, minutes: 320, fair_minutes: 160 };
    let day = work_day((41..45).map(long).collect(), vec![worker(ADA), worker(BEN)]);
    (day, Published { rounds: vec![round], begun: vec![], now: at(430) })
}

#[test]
fn nothing_moves_for_fairer_minutes() {
    let (day, published) = all_with_one();
    check_moves(&day, &published, &[]);
}

#[test]
fn what_is_late_on_paper_stays_where_it_is() {
    let (mut day, published) = all_with_one();
    for due in &mut day.checks {
        due.window = span(480, 700);
        due.limit = Some(at(900));
    }
    day.workers.truncate(1);
    day.workers.push(Worker { shifts: vec![span(760, 900)], ..worker(BEN) });
    check_moves(&day, &published, &[]);
}

#[test]
fn who_had_the_time_is_not_said_to_have_none() {
    let (mut day, mut published) = all_with_one();
    // On paper the short one goes before the appointment and the long one after it: in no other order all fit.
    let windows = [(80, span(480, 640)), (40, span(480, 640)), (40, span(520, 560))];
    day.checks.truncate(3);
    for (due, (minutes, window)) in day.checks.iter_mut().zip(windows) {
        *due = DueCheck { minutes, window, ..due.clone() };
    }
    published.rounds[0].steps = vec![step(42, 480), step(43, 520), step(41, 560)];
    let acid = Some(Id::new(Uuid::from_u128(ACID)));
    day.workers[0].held = vec![good_until(ACID, None)];
    day.checks.push(DueCheck { qualification: acid, minutes: 40, window: span(560, 600), ..due(51) });
    let moves = [(41, Some(BEN), MoveReason::MakesRoom), (51, Some(ADA), MoveReason::WasLeft)];
    check_moves(&day, &published, &moves);
}

#[test]
fn where_it_takes_two_the_one_who_is_away_is_the_reason() {
    let together = DueCheck { two_people: true, ..due(11) };
    let round = |person: u128, with: u128| PlannedRound {
        person: Id::new(Uuid::from_u128(person)),
        steps: vec![PlannedStep { with: Some(Id::new(Uuid::from_u128(with))), ..step(11, 480) }],
        minutes: 10,
        fair_minutes: 10,
    };
    let rounds = vec![round(ADA, BEN), round(BEN, ADA)];
    let published = Published { rounds, begun: vec![], now: at(430) };
    let ill = Worker { absences: vec![span(430, 1440)], ..worker(BEN) };
    let day = work_day(vec![together], vec![worker(ADA), ill]);
    check_moves(&day, &published, &[(11, None, MoveReason::PersonAway)]);
}
