//! What breaks, walks, meters, limits, weights and familiar rooms do to a day; what would help; weeks ahead.

use super::*;

fn start_of(plan: &Assignment, check: u128) -> Vec<i64> {
    let steps = plan.rounds.iter().flat_map(|round| &round.steps);
    let own = steps.filter(|step| step.check.uuid().as_u128() == check);
    own.map(|step| (step.starts_at - at(0)).num_minutes()).collect()
}

/// When each check begins, in minutes of the day; none when it is left.
#[track_caller]
fn check_starts(day: &WorkDay, starts: &[(u128, Option<i64>)]) {
    let plan = assign(day);
    for (check, start) in starts {
        assert_eq!(start_of(&plan, *check).first().copied(), *start, "{check}");
    }
}

#[test]
fn nobody_works_in_a_break() {
    let rests = Worker { breaks: vec![span(485, 515)], ..worker(ADA) };
    check_starts(&work_day(vec![due(11)], vec![rests]), &[(11, Some(515))]);
}

#[test]
fn the_way_between_rooms_takes_its_time() {
    let in_south = DueCheck { room: Id::new(Uuid::from_u128(SOUTH)), ..due(12) };
    let walks = Walks { rooms_min: 4, buildings_min: 9 };
    let day = |south: DueCheck| WorkDay { walks, ..work_day(vec![due(11), south], vec![worker(ADA)]) };
    check_starts(&day(in_south.clone()), &[(11, Some(480)), (12, Some(494))]);
    check_starts(&day(DueCheck { building: 1, ..in_south }), &[(11, Some(480)), (12, Some(499))]);
    check_starts(&day(due(12)), &[(11, Some(480)), (12, Some(490))]);
}

#[test]
fn one_meter_is_used_by_one_at_a_time() {
    let measured = |check, room| DueCheck {
        meter: Some(MeterKind::PhAndEc),
        room: Id::new(Uuid::from_u128(room)),
        window: span(480, 500),
        ..due(check)
    };
    let checks = vec![measured(11, NORTH), measured(12, SOUTH), measured(13, SOUTH)];
    let day = |count| WorkDay {
        meters: vec![Meters { kind: MeterKind::PhAndEc, count }],
        ..work_day(checks.clone(), vec![worker(ADA), worker(BEN)])
    };
    assert_eq!(assign(&day(2)).left, vec![]);
    let one = assign(&day(1));
    assert_eq!(one.left.len(), 1);
    let undone = cures(&day(1), &one);
    assert_eq!(undone[0].cures, vec![Cure::AnotherMeter { kind: MeterKind::PhAndEc }]);
}

#[test]
fn late_is_better_than_never_and_worse_than_in_time() {
    let short = |check| DueCheck { window: span(480, 490), limit: Some(at(500)), ..due(check) };
    let day = |checks| work_day(checks, vec![worker(ADA)]);
    check_starts(&day(vec![short(11), short(12)]), &[(11, Some(480)), (12, Some(490))]);
    check_starts(&day(vec![short(11), due(12)]), &[(11, Some(480)), (12, Some(490))]);
}

#[test]
fn what_matters_more_is_done_first() {
    let short = |check, weight| DueCheck { window: span(480, 490), weight, ..due(check) };
    let day = work_day(vec![short(11, 1), short(12, 3)], vec![worker(ADA)]);
    check(&day, &[(ADA, &[12])], &[(11, &[Reason::NoTimeInWindow])]);
}

#[test]
fn a_room_goes_to_who_knows_it() {
    let knows = |person| Worker { familiar: vec![Id::new(Uuid::from_u128(NORTH))], ..worker(person) };
    check(&work_day(vec![due(11)], vec![worker(ADA), knows(BEN)]), &[(BEN, &[11])], &[]);
    check(&work_day(vec![due(11)], vec![knows(ADA), worker(BEN)]), &[(ADA, &[11])], &[]);
}

#[test]
fn who_has_had_the_unpleasant_work_is_spared_it() {
    let drains = DueCheck { is_unpleasant: true, minutes: 60, ..due(11) };
    let other = DueCheck { room: Id::new(Uuid::from_u128(SOUTH)), minutes: 60, ..due(12) };
    let had = |person, minutes| Worker { unpleasant_min: minutes, available_min: 9_600, ..worker(person) };
    let day = |ada, ben| work_day(vec![drains.clone(), other.clone()], vec![had(ADA, ada), had(BEN, ben)]);
    check(&day(300, 0), &[(ADA, &[12]), (BEN, &[11])], &[]);
    check(&day(0, 300), &[(ADA, &[11]), (BEN, &[12])], &[]);
}

#[test]
fn who_has_had_too_much_of_the_unpleasant_work_gets_no_little_more() {
    // A quarter of an hour is off by no more than nobody minds; but Ada has had twenty minutes too many already.
    let drains = DueCheck { is_unpleasant: true, minutes: 15, ..due(11) };
    let had = |person, minutes| Worker { unpleasant_min: minutes, available_min: 9_600, ..worker(person) };
    let knows = |worker| Worker { familiar: vec![Id::new(Uuid::from_u128(NORTH))], ..worker };
    let people = vec![knows(had(ADA, 80)), had(BEN, 50), had(3, 52), had(4, 52)];
    check(&work_day(vec![drains], people), &[(BEN, &[11])], &[]);
}

#[track_caller]
fn check_cures(day: &WorkDay, expected: &[Cure]) {
    let undone = cures(day, &assign(day));
    assert_eq!(undone.len(), 1);
    assert_eq!(undone[0].cures, expected);
}

#[test]
fn what_is_left_says_the_cheapest_cure_first() {
    let evening = DueCheck { window: span(890, 1_000), minutes: 30, ..due(11) };
    let ada = Id::new(Uuid::from_u128(ADA));
    let stay = Cure::Stay { person: ada, minutes: 20 };
    check_cures(&work_day(vec![evening.clone()], vec![worker(ADA)]), &[stay]);
    let may_wait = DueCheck { may_wait: true, ..evening };
    check_cures(&work_day(vec![may_wait], vec![worker(ADA)]), &[Cure::WaitUntilTomorrow, stay]);

    let qualification = Id::new(Uuid::from_u128(ACID));
    let acid = DueCheck { qualification: Some(qualification), ..due(11) };
    let learn = Cure::Qualify { person: ada, qualification };
    check_cures(&work_day(vec![acid], vec![worker(ADA)]), &[learn]);

    let night = DueCheck { window: span(60, 120), ..due(11) };
    check_cures(&work_day(vec![night], vec![worker(ADA)]), &[Cure::AnotherPerson { minutes: 10 }]);
}

fn covered(workers: Vec<Worker>, expected: Vec<Expected>) -> Coverage {
    let day = DayAhead { date: "2027-05-03".parse().unwrap(), hours: span(0, 1_440), workers, expected };
    coverage(&[day]).remove(0)
}

#[track_caller]
fn check_ahead(workers: Vec<Worker>, expected: &[(Option<u128>, i64)], lacks: &[(Option<u128>, i64, usize)]) {
    let of = |number: &Option<u128>| number.map(|number| Id::new(Uuid::from_u128(number)));
    let expected = expected.iter().flat_map(|(kind, minutes)| {
        let piece = Expected { qualification: of(kind), time: span(0, 1_440), work_min: 10, people: 1 };
        (0..minutes / 10).map(move |_| piece)
    });
    let found = covered(workers, expected.collect());
    let lack = |(kind, minutes, people): &(Option<u128>, i64, usize)| Lack {
        qualification: of(kind),
        minutes: *minutes,
        people: *people,
    };
    assert_eq!(found.lacks, lacks.iter().map(lack).collect::<Vec<_>>());
}

#[test]
fn a_week_ahead_says_what_is_short_and_by_how_much() {
    // Ada and Ben are there for 480 minutes each; only Ada works with acid, both calibrate.
    let knows = |person, kinds: &[u128]| Worker {
        held: kinds.iter().map(|kind| good_until(*kind, None)).collect(),
        ..worker(person)
    };
    let both = || vec![knows(ADA, &[1, 2]), knows(BEN, &[2])];
    check_ahead(both(), &[(Some(1), 480), (Some(2), 480)], &[]);
    check_ahead(both(), &[(Some(1), 500), (Some(2), 480)], &[(Some(1), 20, 1)]);
    check_ahead(both(), &[(Some(1), 400), (Some(2), 400), (None, 200)], &[(None, 40, 2)]);
    check_ahead(both(), &[(Some(3), 30), (None, 900)], &[(Some(3), 30, 0)]);
    check_ahead(vec![], &[(None, 10)], &[(None, 10, 0)]);
    let away = Worker { absences: vec![span(420, 660)], breaks: vec![span(700, 730)], ..worker(ADA) };
    check_ahead(vec![away], &[(None, 240)], &[(None, 30, 1)]);
}

/// Of Ada, and Ben where two are there, who are on shift for 480 minutes each: minutes wanted and minutes short, where work takes
/// so many minutes and so many people.
#[track_caller]
fn check_together(people_there: usize, work: &[(i64, i64)], wanted_min: i64, short: i64) {
    let piece = |(work_min, people): &(i64, i64)| Expected {
        qualification: None,
        time: span(0, 1_440),
        work_min: *work_min,
        people: *people,
    };
    let workers = [ADA, BEN].into_iter().take(people_there).map(worker).collect();
    let found = covered(workers, work.iter().map(piece).collect());
    let lacks: i64 = found.lacks.iter().map(|lack| lack.minutes).sum();
    assert_eq!((found.wanted_min, lacks), (wanted_min, short));
}

#[test]
fn nobody_is_both_of_the_two_that_work_wants() {
    check_together(2, &[(45, 2)], 90, 0);
    check_together(1, &[(45, 2)], 90, 45);
    check_together(1, &[(45, 2), (60, 1), (30, 2)], 210, 75);
    // Of 960 minutes, 300 on either side go to what wants two.
    check_together(2, &[(300, 2), (180, 1), (180, 1)], 960, 0);
    check_together(2, &[(300, 2), (190, 1), (180, 1)], 970, 10);
    check_together(0, &[(45, 2)], 90, 90);
}

#[test]
fn two_who_never_meet_do_nothing_together() {
    let on = |person, shift| Worker { shifts: vec![shift], ..worker(person) };
    let lacks = |workers| {
        let both = Expected { qualification: None, time: span(0, 1_440), work_min: 45, people: 2 };
        covered(workers, vec![both]).lacks.iter().map(|lack| lack.minutes).sum::<i64>()
    };
    assert_eq!(lacks(vec![on(ADA, span(360, 720)), on(BEN, span(720, 1_080))]), 45);
    assert_eq!(lacks(vec![on(ADA, span(360, 720)), on(BEN, span(676, 1_080))]), 45);
    assert_eq!(lacks(vec![on(ADA, span(360, 720)), on(BEN, span(675, 1_080))]), 0);
}

/// Of Ada, who is on shift in these minutes of the day: minutes that she is there and minutes short, when walks of half an
/// hour come at some minutes and may be an hour late.
#[track_caller]
fn check_night(shift: Span, walks: &[i64], there_min: i64, short: i64) {
    let walk = |opens: &i64| Expected {
        qualification: None,
        time: span(*opens, opens + 60),
        work_min: 30,
        people: 1,
    };
    let ada = Worker { shifts: vec![shift], ..worker(ADA) };
    let found = covered(vec![ada], walks.iter().map(walk).collect());
    assert_eq!((found.there_min, found.lacks.iter().map(|lack| lack.minutes).sum()), (there_min, short));
}

#[test]
fn a_night_shift_is_there_for_what_comes_in_its_hours_on_either_day() {
    let (tonight, last_night) = (span(1_320, 1_800), span(-120, 360));
    check_night(tonight, &[150, 1_410], 120, 30);
    check_night(last_night, &[150, 1_410], 360, 30);
    check_night(last_night, &[150], 360, 0);
    // Half an hour after 23:45, most of it after midnight; and before 22:58, begun at 22:28 and not a minute later.
    check_night(span(1_425, 1_800), &[1_410], 15, 0);
    check_night(span(1_300, 1_378), &[1_348], 78, 0);
    check_night(span(1_300, 1_378), &[1_349], 78, 30);
}
