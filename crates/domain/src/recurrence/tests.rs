use chrono::{TimeDelta, TimeZone};
use chrono_tz::{America, Australia, Europe, Pacific};
use proptest::prelude::*;

use super::*;
use crate::Days;

fn recurrence(rule: &str, start: &str, zone: Tz) -> Recurrence {
    Recurrence::new(rule, start.parse().unwrap(), zone).unwrap()
}

fn utc(at: &str) -> DateTime<Utc> {
    at.parse().unwrap()
}

fn far() -> Range<DateTime<Utc>> {
    utc("1990-01-01T00:00:00Z")..utc("2060-01-01T00:00:00Z")
}

#[track_caller]
fn check(due: &[Occurrence], expected: &[(&str, &str)]) {
    let found: Vec<(String, String)> = due
        .iter()
        .map(|one| {
            let wall = one.date.and_time(one.time).format("%Y-%m-%dT%H:%M").to_string();
            (wall, one.at.format("%Y-%m-%dT%H:%MZ").to_string())
        })
        .collect();
    let expected: Vec<(String, String)> =
        expected.iter().map(|(wall, at)| ((*wall).to_owned(), (*at).to_owned())).collect();
    assert_eq!(found, expected);
}

#[track_caller]
fn check_refused(rule: &str, why: &str) {
    let start = "2027-01-01T08:00:00".parse().unwrap();
    assert_eq!(Recurrence::new(rule, start, Europe::Berlin).unwrap_err().to_string(), why);
}

#[test]
fn a_rule_that_never_comes_is_known() {
    let comes = |rule: &str| recurrence(rule, "2026-11-24T08:00:00", Europe::Berlin).comes();
    assert!(comes("FREQ=DAILY"));
    assert!(comes("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29"));
    assert!(comes("FREQ=DAILY;UNTIL=20261124T070000Z"));
    assert!(!comes("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30"));
    assert!(!comes("FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30"));
    assert!(!comes("FREQ=DAILY;UNTIL=20261124T065959Z"));
}

#[test]
fn published_expansions_and_lengths_of_days_come_out_exactly() {
    let rows: Vec<serde_json::Value> =
        serde_json::from_str(include_str!("../../testdata/calendar_rows.json")).unwrap();
    assert_eq!(rows.len(), 44);
    for row in &rows {
        if row["inputs"]["local_day"].is_string() { check_day(row) } else { check_expansion(row) }
    }
}

#[track_caller]
fn check_day(row: &serde_json::Value) {
    let inputs = &row["inputs"];
    let day = local_day(text(&inputs["tzid"]).parse().unwrap(), text(&inputs["local_day"]).parse().unwrap());
    assert_eq!(day.start, utc(text(&row["expected"]["start_utc"])), "{}", row["id"]);
    assert_eq!(day.end, utc(text(&row["expected"]["end_utc"])), "{}", row["id"]);
    assert_eq!(
        Some((day.end - day.start).num_minutes() as f64),
        row["expected"]["minutes"].as_f64(),
        "{}",
        row["id"]
    );
}

#[track_caller]
fn check_expansion(row: &serde_json::Value) {
    let inputs = &row["inputs"];
    let zone: Tz = text(&inputs["tzid"]).parse().unwrap();
    let times = |list: &serde_json::Value| -> Vec<NaiveDateTime> {
        list.as_array().unwrap().iter().map(|time| text(time).parse().unwrap()).collect()
    };
    let found = recurrence(text(&inputs["rrule"]), text(&inputs["dtstart"]), zone)
        .except(times(&inputs["exdate"]))
        .with(times(&inputs["rdate"]))
        .expand(far())
        .unwrap();

    let expected = row["expected"].as_array().unwrap();
    let take = inputs["take"].as_u64().unwrap() as usize;
    assert_eq!(found.iter().take(take).count(), expected.len(), "{}", row["id"]);
    for (one, expected) in found.iter().zip(expected) {
        assert_eq!(one.at, utc(text(&expected["utc"])), "{}", row["id"]);
        assert_eq!(one.date.and_time(one.time), text(&expected["local"]).parse().unwrap(), "{}", row["id"]);
    }
    for skipped in times(&row["skipped_nonexistent"]) {
        assert!(matches!(Wall::of(zone, skipped), Wall::Never { .. }), "{}", row["id"]);
    }
}

fn text(value: &serde_json::Value) -> &str {
    value.as_str().unwrap()
}

#[test]
fn a_check_in_the_gap_is_due_right_after_it_and_the_next_day_keeps_its_time() {
    let daily = recurrence("FREQ=DAILY;COUNT=3", "2026-03-28T02:30:00", Europe::Berlin);
    check(
        &daily.due(far()).unwrap(),
        &[
            ("2026-03-28T02:30", "2026-03-28T01:30Z"),
            ("2026-03-29T02:30", "2026-03-29T01:00Z"),
            ("2026-03-30T02:30", "2026-03-30T00:30Z"),
        ],
    );
}

#[test]
fn a_time_in_the_gap_is_no_occurrence_and_uses_up_no_count() {
    let daily = recurrence("FREQ=DAILY;COUNT=3", "2026-03-28T02:30:00", Europe::Berlin);
    check(
        &daily.expand(far()).unwrap(),
        &[
            ("2026-03-28T02:30", "2026-03-28T01:30Z"),
            ("2026-03-30T02:30", "2026-03-30T00:30Z"),
            ("2026-03-31T02:30", "2026-03-31T00:30Z"),
        ],
    );
}

#[test]
fn two_checks_that_the_gap_throws_together_are_one() {
    let night = recurrence("FREQ=HOURLY;COUNT=3", "2026-03-29T01:00:00", Europe::Berlin);
    check(
        &night.due(far()).unwrap(),
        &[
            ("2026-03-29T01:00", "2026-03-29T00:00Z"),
            ("2026-03-29T03:00", "2026-03-29T01:00Z"),
            ("2026-03-29T04:00", "2026-03-29T02:00Z"),
        ],
    );
}

#[test]
fn a_gap_before_midnight_keeps_the_check_with_its_day() {
    // Clocks of Nuuk go from Saturday 23:00 to Sunday 00:00.
    let nuuk = recurrence("FREQ=DAILY", "2026-03-01T23:30:00", America::Nuuk);
    let saturday = "2026-03-28".parse().unwrap();
    let due = nuuk.due_on(Days { from: saturday, until: saturday }).unwrap();
    check(&due, &[("2026-03-28T23:30", "2026-03-29T01:00Z")]);
    let sunday = "2026-03-29".parse().unwrap();
    let due = nuuk.due_on(Days { from: sunday, until: sunday }).unwrap();
    check(&due, &[("2026-03-29T23:30", "2026-03-30T00:30Z")]);
}

#[test]
fn a_date_that_the_zone_skipped_has_nothing_due() {
    let apia = recurrence("FREQ=DAILY;COUNT=3", "2011-12-29T08:00:00", Pacific::Apia);
    let dates: Vec<String> = apia.due(far()).unwrap().iter().map(|one| one.date.to_string()).collect();
    assert_eq!(dates, ["2011-12-29", "2011-12-31", "2012-01-01"]);
}

/// Two years of a check at each quarter of an hour of the day.
#[track_caller]
fn check_each_local_day_once(zone: Tz) {
    let days = Days { from: "2026-01-01".parse().unwrap(), until: "2027-12-31".parse().unwrap() };
    let dates: Vec<NaiveDate> = days.each().collect();
    for quarter in 0..96 {
        let start = days.from.and_hms_opt(quarter / 4, quarter % 4 * 15, 0).unwrap();
        let daily = Recurrence::new("FREQ=DAILY", start, zone).unwrap();
        let due = daily.due_on(days).unwrap();
        assert_eq!(due.iter().map(|one| one.date).collect::<Vec<_>>(), dates, "{zone} {start}");
        assert!(due.is_sorted_by(|a, b| a.at < b.at), "{zone} {start}");

        let lost = dates
            .iter()
            .filter(|date| zone.from_local_datetime(&date.and_time(start.time())).earliest().is_none());
        let expanded =
            daily.expand(local_day(zone, days.from).start..local_day(zone, days.until).end).unwrap();
        assert_eq!(expanded.len() + lost.count(), dates.len(), "{zone} {start}");
    }
}

#[test]
fn each_local_day_has_its_check_once_over_changes_of_the_clock() {
    for zone in [Europe::Berlin, America::New_York, Australia::Sydney, Australia::Lord_Howe] {
        check_each_local_day_once(zone);
    }
}

#[test]
fn an_old_plan_answers_as_a_new_one() {
    let range = utc("2040-01-01T00:00:00Z")..utc("2040-03-01T00:00:00Z");
    for rule in [
        "FREQ=WEEKLY;BYDAY=MO,TH",
        "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1",
        "FREQ=YEARLY",
        "FREQ=HOURLY",
    ] {
        let plan = recurrence(rule, "2020-01-31T07:00:00", Europe::Berlin);
        let mut all = recurrence(&format!("{rule};COUNT=99999999"), "2020-01-31T07:00:00", Europe::Berlin);
        if rule == "FREQ=HOURLY" {
            all = recurrence(rule, "2039-12-01T07:00:00", Europe::Berlin);
        }
        assert_eq!(plan.due(range.clone()).unwrap(), all.due(range.clone()).unwrap(), "{rule}");
    }
}

#[test]
fn refusals_name_what_is_wrong() {
    check_refused("FREQ=DAILY;COUNT=0", "COUNT=0 cannot be, expected at least 1");
    check_refused("FREQ=DAILY;INTERVAL=0", "INTERVAL=0 cannot be, expected at least 1");
    check_refused("FREQ=DAILY;COUNT=2;UNTIL=20280101T000000Z", "COUNT and UNTIL exclude each other");
    check_refused(
        "FREQ=DAILY;UNTIL=20280101T000000",
        "UNTIL=20280101T000000 cannot be, expected a time in UTC like 20271231T235959Z",
    );
    check_refused("FREQ=DAILY;COUNT=2;count=3", "count is given twice");
    check_refused("FREQ=DAILY\nDTSTART:1", "a rule has letters, digits and = ; , + - only, found '\\n'");
    check_refused("FREQ=OFTEN", "`OFTEN` is not a valid frequency");
    check_refused("INTERVAL=2", "The property `FREQ` wasn't found, and it is required");
}

#[test]
fn a_rule_that_comes_each_second_is_given_up_in_time() {
    let plan = recurrence("FREQ=SECONDLY;INTERVAL=2", "2026-01-01T00:00:00", Europe::Berlin);
    assert!(plan.due(far()).is_err());
}

#[test]
fn a_rule_that_never_comes_ends() {
    for rule in ["FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30"] {
        assert_eq!(recurrence(rule, "2026-01-01T00:00:00", Europe::Berlin).due(far()), Ok(vec![]));
    }
}

proptest! {
    /// Jobs ask in slices; what they get must not depend on where they cut.
    #[test]
    fn each_occurrence_comes_once_however_the_time_is_cut(
        zone in prop::sample::select(vec![Europe::Berlin, America::New_York, Australia::Lord_Howe, America::Nuuk]),
        rule in prop::sample::select(vec!["FREQ=DAILY", "FREQ=HOURLY", "FREQ=HOURLY;INTERVAL=5", "FREQ=WEEKLY;BYDAY=SU,SA", "FREQ=DAILY;COUNT=90"]),
        minute in 0_u32..1440,
        cuts in prop::collection::btree_set(0_i64..150_000, 1..12),
    ) {
        let start = NaiveDate::from_ymd_opt(2026, 3, 1).unwrap().and_hms_opt(minute / 60, minute % 60, 0).unwrap();
        let plan = Recurrence::new(rule, start, zone).unwrap();
        let origin = utc("2026-03-01T00:00:00Z");
        let edges: Vec<_> = cuts.iter().map(|cut| origin + TimeDelta::minutes(*cut)).collect();
        let whole = plan.due(edges[0]..edges[edges.len() - 1]).unwrap();
        let sliced: Vec<_> = edges.windows(2).flat_map(|edge| plan.due(edge[0]..edge[1]).unwrap()).collect();
        prop_assert!(whole.is_sorted_by(|a, b| a.at < b.at));
        prop_assert_eq!(whole, sliced);
    }
}
