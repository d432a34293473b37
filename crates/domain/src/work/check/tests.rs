//! What becomes of a check, and what is refused.

use super::*;
use chrono_tz::Europe::Berlin;
use uuid::Uuid;

const ADA: Id<Person> = Id::new(Uuid::from_u128(1));
const BEN: Id<Person> = Id::new(Uuid::from_u128(2));

fn at(time: &str) -> DateTime<Utc> {
    format!("2027-05-03T{time}Z").parse().unwrap()
}

fn morning_check() -> Check {
    Check {
        cause: Cause::Plan(Id::new(Uuid::from_u128(9))),
        name: "EC and pH".into(),
        task: Task::Inspect,
        place: Place::Room(Id::new(Uuid::from_u128(8))),
        work_min: 10,
        qualification: None,
        date: "2027-05-03".parse().unwrap(),
        time: "08:00:00".parse().unwrap(),
        due_at: at("08:00:00"),
        window_until: at("09:00:00"),
        limit: at("12:00:00"),
        two_people: false,
        sharing: Sharing::default(),
        state: CheckState::Planned,
    }
}

fn a_reading() -> Vec<Evidence> {
    vec![Evidence::Reading(Id::new(Uuid::from_u128(7)))]
}

#[track_caller]
fn check(time: &str, late: Result<bool, NotAllowed>) {
    let done = morning_check().done(at(time), ADA, None, a_reading());
    let found = done.map(|check| match check.state {
        CheckState::Done { late, .. } => late,
        other => panic!("{other:?}"),
    });
    assert_eq!(found, late, "{time}");
}

#[test]
fn done_minutes_ahead_or_in_the_window_is_in_time_then_late_then_refused() {
    check("07:49:59", Err(NotAllowed::TooEarly { due_at: at("08:00:00") }));
    check("07:50:00", Ok(false));
    check("09:00:00", Ok(false));
    check("09:00:01", Ok(true));
    check("12:00:00", Ok(true));
    check("12:00:01", Err(NotAllowed::TooLate { limit: at("12:00:00") }));
}

#[test]
fn people_are_told_when_by_the_clock_of_the_site() {
    let told = |at: &str| morning_check().open(at.parse().unwrap(), ADA).unwrap_err().told(Berlin);
    let early = "the check is not due before 10:00 on 3 May, and can be begun 10 minutes ahead";
    assert_eq!(told("2027-05-03T07:49:59Z"), early);
    assert_eq!(told("2027-05-03T12:00:01Z"), "the check could be done until 14:00 on 3 May, it is missed");
    assert!(morning_check().open(at("07:50:00"), ADA).is_ok());
}

#[test]
fn a_check_is_missed_only_past_its_limit_and_then_unless_it_was_done_before() {
    let early = morning_check().missed(at("12:00:00"));
    assert_eq!(early, Err(NotAllowed::StillTime { limit: at("12:00:00") }));
    let missed = morning_check().open(at("11:59:00"), ADA).unwrap().missed(at("12:00:01")).unwrap();
    let settled = Err(NotAllowed::AlreadySettled { state: "missed" });
    let typed_late = missed.clone().done(at("09:00:00"), ADA, None, a_reading()).unwrap();
    assert!(matches!(typed_late.state, CheckState::Done { late: false, .. }), "{typed_late:?}");
    let too_late = Err(NotAllowed::TooLate { limit: at("12:00:00") });
    assert_eq!(missed.clone().done(at("12:00:01"), ADA, None, a_reading()), too_late);
    assert_eq!(missed.clone().open(at("09:00:00"), ADA), settled);
    assert_eq!(missed.excused(at("13:00:00"), Some(ADA), "ill".into()), settled);
}

#[test]
fn a_check_is_shown_by_what_was_measured_for_it() {
    let shown = |measured| morning_check().can_be_shown_by(at(measured), at("08:30:00"));
    assert!(!shown("06:59:59") && shown("07:00:00"), "an hour ahead at most");
    let again = Check { cause: Cause::Advice, ..morning_check() };
    let shown_again = |measured| again.can_be_shown_by(at(measured), at("08:30:00"));
    assert!(!shown_again("07:49:59") && shown_again("07:50:00"), "not by what was read before it was poured");
    assert!(shown("08:35:00") && !shown("08:35:01"), "not after it was done");
}

#[test]
fn an_open_check_is_done_like_a_planned_one() {
    let open = morning_check().open(at("08:10:00"), ADA).unwrap();
    assert!(open.done(at("08:20:00"), BEN, None, a_reading()).unwrap().is_settled());
}

#[test]
fn two_people_are_two() {
    let both = || Check { two_people: true, ..morning_check() };
    let done = |with| both().done(at("08:30:00"), ADA, with, a_reading());
    assert_eq!(done(None), Err(NotAllowed::OnePersonShort));
    assert_eq!(done(Some(ADA)), Err(NotAllowed::OnePersonShort));
    assert!(done(Some(BEN)).is_ok());
}

#[test]
fn what_is_done_shows_it_and_what_is_excused_says_why() {
    let done = morning_check().done(at("08:30:00"), ADA, None, vec![]);
    assert_eq!(done, Err(NotAllowed::NoEvidence));
    assert_eq!(morning_check().excused(at("07:00:00"), Some(ADA), " ".into()), Err(NotAllowed::NoReason));
    assert!(morning_check().excused(at("07:00:00"), None, "tank out of use".into()).is_ok());
}

#[test]
fn a_change_settles_its_check_before_it_is_due_and_up_to_its_limit() {
    let change = Id::new(Uuid::from_u128(6));
    let late = |time| match morning_check().changed(at(time), ADA, change).map(|check| check.state) {
        Ok(CheckState::Done { late, .. }) => Some(late),
        _ => None,
    };
    assert_eq!([late("06:00:00"), late("09:00:01"), late("12:00:01")], [Some(false), Some(true), None]);
}

#[test]
fn a_done_check_stays_done() {
    let done = morning_check().done(at("08:30:00"), ADA, None, a_reading()).unwrap();
    let settled = Err(NotAllowed::AlreadySettled { state: "done" });
    assert_eq!(done.clone().open(at("08:40:00"), BEN), settled);
    assert_eq!(done.clone().missed(at("13:00:00")), settled);
    assert_eq!(done.excused(at("13:00:00"), Some(BEN), "ill".into()), settled);
}

#[test]
fn what_is_left_of_the_time_of_a_check_begins_when_it_is_due_and_ends_at_its_limit() {
    let left = |from| morning_check().time_left(at(from)).map(Span::minutes);
    assert_eq!((left("07:00:00"), left("11:00:00"), left("12:00:00")), (Some(240), Some(60), None));
}

#[test]
fn a_change_in_time_is_done_though_it_was_found_missed() {
    let change = Id::new(Uuid::from_u128(6));
    let missed = || morning_check().missed(at("12:30:00")).unwrap();
    let state = |time| missed().changed(at(time), ADA, change).map(|check| check.state.standing());
    assert_eq!(state("11:00:00"), Ok(CheckStanding::Done));
    assert_eq!(state("12:15:00"), Err(NotAllowed::TooLate { limit: at("12:00:00") }));
    let done = missed().changed(at("08:30:00"), ADA, change).unwrap();
    let again = done.changed(at("08:40:00"), ADA, change).map(|check| check.state);
    assert_eq!(again, Err(NotAllowed::AlreadySettled { state: "done" }));
}
