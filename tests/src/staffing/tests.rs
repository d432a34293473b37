use std::path::Path;

use super::*;

/// A part of the effort: these tests run unoptimised.
const PART: u32 = 50;

fn cases() -> Vec<Case> {
    read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("staffing/days.json")).unwrap()
}

#[test]
fn days_with_a_hidden_plan_are_planned_as_well_and_break_no_rule() {
    for case in &cases() {
        let day = &play(case, PART)[0];
        assert_eq!(day.judged.broken, Vec::<String>::new(), "{}", case.name);
        assert!(day.excess() <= 40, "{}: {} above {:?}", case.name, day.excess(), day.best);
    }
}

#[test]
fn when_somebody_falls_ill_no_rule_is_broken_and_hardly_anybody_else_s_check_moves() {
    for case in &cases() {
        for call in play(case, PART).iter().skip(1) {
            assert_eq!(call.judged.broken, Vec::<String>::new(), "{}", case.name);
            assert!(call.judged.moves <= 3, "{}: {} moves", case.name, call.judged.moves);
        }
    }
}

#[test]
fn the_hidden_plan_itself_is_judged_to_break_nothing_and_a_bad_one_is_told() {
    let cases = cases();
    let case = &cases[0];
    let hidden = &case.sick.as_ref().unwrap().base_plan;
    let judged = judge(&case.instance, None, hidden, None);
    assert_eq!((judged.cost, judged.broken.len()), (case.result.as_ref().unwrap().best_cost, 0));

    let mut bad = hidden.clone();
    for (_, block) in bad.values_mut() {
        *block = 0;
    }
    assert!(!judge(&case.instance, None, &bad, None).broken.is_empty());
    assert!(!judge(&case.instance, Some("Ben"), hidden, Some(hidden)).broken.is_empty());
}
