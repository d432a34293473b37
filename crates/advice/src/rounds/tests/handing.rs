//! Checks that people hand to one another.

use super::*;

/// Ada has two checks of the clean north room from eight, Ben one of the dirty south room; it is seven.
fn early(spoil: impl FnOnce(&mut WorkDay)) -> (WorkDay, Published) {
    let south = DueCheck { room: Id::new(Uuid::from_u128(SOUTH)), hygiene: clean(5), ..due(21) };
    let mut day = work_day(vec![due(11), due(12), south], vec![worker(ADA), worker(BEN)]);
    spoil(&mut day);
    let round = |person: u128, checks: &[(u128, i64)]| PlannedRound {
        person: Id::new(Uuid::from_u128(person)),
        steps: checks.iter().map(|(check, minute)| step(*check, *minute)).collect(),
        minutes: 10 * checks.len() as i64,
        fair_minutes: 15,
    };
    let rounds = vec![round(ADA, &[(11, 480), (12, 490)]), round(BEN, &[(21, 480)])];
    (day, Published { rounds, begun: vec![], now: at(420) })
}

fn step(check: u128, minute: i64) -> PlannedStep {
    PlannedStep { check: Id::new(Uuid::from_u128(check)), starts_at: at(minute), with: None }
}

/// A check, who has it, and who shall have it.
type Wish = (u128, Option<u128>, u128);

/// Whose checks in which order, or why not.
#[track_caller]
fn check(facts: (WorkDay, Published), wishes: &[Wish], expected: Result<&[(u128, &[u128])], WhyNot>) {
    let id = |number: u128| Uuid::from_u128(number);
    let wanted: Vec<Handing> = wishes
        .iter()
        .map(|(check, from, to)| Handing {
            check: Id::new(id(*check)),
            from: from.map(|from| Id::new(id(from))),
            to: Id::new(id(*to)),
        })
        .collect();
    let steps = |round: &PlannedRound| round.steps.iter().map(|step| step.check.uuid().as_u128()).collect();
    let found = hand(&facts.0, &facts.1, &wanted);
    let found: Result<Vec<(u128, Vec<u128>)>, WhyNot> = found
        .map(|rounds| rounds.iter().map(|round| (round.person.uuid().as_u128(), steps(round))).collect())
        .map_err(|refused| refused.why);
    assert_eq!(
        found,
        expected.map(|rounds| rounds.iter().map(|(who, what)| (*who, what.to_vec())).collect())
    );
}

#[test]
fn who_gets_a_check_does_it_where_hygiene_wants_it() {
    check(early(|_| ()), &[(11, Some(ADA), BEN)], Ok(&[(ADA, &[12]), (BEN, &[11, 21])]));
}

#[test]
fn two_can_swap() {
    let swap = [(11, Some(ADA), BEN), (12, Some(ADA), BEN), (21, Some(BEN), ADA)];
    check(early(|_| ()), &swap, Ok(&[(ADA, &[21]), (BEN, &[11, 12])]));
}

#[test]
fn nobody_goes_from_dirty_to_clean_for_a_favour() {
    let at_eight = |day: &mut WorkDay| day.checks[2].window = span(480, 490);
    check(early(at_eight), &[(11, Some(ADA), BEN)], Err(WhyNot::WouldBreakHygiene));
    let (day, mut published) = early(|_| ());
    published.begun = vec![Begun {
        check: Id::new(Uuid::from_u128(21)),
        person: Id::new(Uuid::from_u128(BEN)),
        at: at(420),
        done_at: Some(at(420)),
    }];
    check((day, published), &[(11, Some(ADA), BEN)], Err(WhyNot::WouldBreakHygiene));
}

#[test]
fn who_is_away_or_not_qualified_gets_nothing() {
    let away = |day: &mut WorkDay| day.workers[1].absences = vec![span(0, 1440)];
    check(early(away), &[(11, Some(ADA), BEN)], Err(WhyNot::NotThere));
    let acid = |day: &mut WorkDay| day.checks[0].qualification = Some(Id::new(Uuid::from_u128(ACID)));
    check(early(acid), &[(11, Some(ADA), BEN)], Err(WhyNot::NotQualified));
    check(early(|_| ()), &[(11, Some(ADA), 3)], Err(WhyNot::NotThere));
}

#[test]
fn who_has_no_time_beside_their_own_gets_nothing() {
    let short = |day: &mut WorkDay| day.workers[1].shifts = vec![span(480, 495)];
    check(early(short), &[(11, Some(ADA), BEN)], Err(WhyNot::NoTime));
}

#[test]
fn what_is_handed_is_had_by_who_hands_it() {
    check(early(|_| ()), &[(11, Some(BEN), ADA)], Err(WhyNot::HasIt));
    check(early(|_| ()), &[(21, Some(ADA), ADA)], Err(WhyNot::SomebodyElses));
    check(early(|_| ()), &[(11, None, BEN)], Err(WhyNot::SomebodyElses));
    check(early(|_| ()), &[(99, None, BEN)], Err(WhyNot::NotToBeDone));
}

#[test]
fn what_is_left_can_be_taken_over() {
    let (day, mut published) = early(|_| ());
    published.rounds.truncate(1);
    check((day, published), &[(21, None, BEN)], Ok(&[(ADA, &[11, 12]), (BEN, &[21])]));
}

#[test]
fn of_what_somebody_has_only_what_must_be_late_is_late() {
    // Ben's way is shortest when he ends in the other room, but then he is late there. The dirty one that he
    // gets is late wherever it goes.
    let (mut day, mut published) = early(|_| ());
    let in_room = |room, due| DueCheck { room: Id::new(Uuid::from_u128(room)), ..due };
    let ben = |check, from, until| DueCheck { window: span(from, until), limit: Some(at(900)), ..due(check) };
    let dirty = DueCheck { hygiene: clean(5), ..ben(34, 480, 510) };
    let long = DueCheck { minutes: 35, ..ben(32, 470, 640) };
    day.checks = vec![ben(31, 480, 490), in_room(7, long), ben(33, 600, 700), in_room(SOUTH, dirty)];
    published.rounds[0].steps = vec![step(34, 480)];
    published.rounds[1].steps = vec![step(31, 480), step(32, 490), step(33, 600)];
    let person = |number| Id::new(Uuid::from_u128(number));
    let id = |number| Id::new(Uuid::from_u128(number));
    let wanted = [Handing { check: id(34), from: Some(person(ADA)), to: person(BEN) }];
    let rounds = hand(&day, &published, &wanted).unwrap();
    let starts: Vec<_> = rounds[0].steps.iter().map(|one| (one.check, one.starts_at)).collect();
    assert_eq!(starts, [(id(31), at(480)), (id(32), at(490)), (id(33), at(600)), (id(34), at(610))]);
}
