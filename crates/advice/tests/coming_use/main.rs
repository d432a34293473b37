//! What is used, on a site one can reckon in one's head: a tank of 100 L with 10 mL of part A a litre, so that a
//! change takes 1000 mL.
#![expect(clippy::unwrap_used, reason = "a date that cannot be read is a failed test")]

mod plan_and_past;
mod unlike_others;

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, TimeDelta, Weekday};
use fillmark_advice::supply::*;
use fillmark_domain::stock::{Product, ProductKind};
use fillmark_domain::{Amount, Days, Id, OpenDays, Stage, Week};
use uuid::Uuid;

fn base_a() -> Id<Product> {
    Id::new(Uuid::from_u128(1))
}

fn ph_minus() -> Id<Product> {
    Id::new(Uuid::from_u128(2))
}

/// So many days after today, a Monday.
fn on(offset: i64) -> NaiveDate {
    let today: NaiveDate = "2031-03-03".parse().unwrap();
    today + TimeDelta::days(offset)
}

fn product(product: Id<Product>, kind: ProductKind) -> ProductAsked {
    ProductAsked {
        product,
        kind,
        ec_rise_per_unit_per_l: None,
        on_hand: Vec::new(),
        on_order: Vec::new(),
        unplanned: Vec::new(),
        taken: Vec::new(),
        prepared: BTreeMap::new(),
        made_of: Vec::new(),
        offers: Vec::new(),
        shelf_life_days: None,
    }
}

/// Fed from one day to another, by days from today.
fn fed(spans: &[(i64, i64)]) -> BTreeMap<NaiveDate, FedDay> {
    let mut days = BTreeMap::new();
    for (from, until) in spans {
        let day = FedDay {
            stage: Stage::Vegetative,
            cycle_start: on(*from),
            cycle_end: on(*until),
            plants: 20.0,
            ec_aim: 1.8,
            source_ec: 0.3,
            doses: vec![Dose { product: base_a(), per_l: 10.0 }],
            top_up_share: 1.0,
            change_every_days: Some(14),
        };
        days.extend(Days { from: on(*from), until: on(*until) }.each().map(|date| (date, day.clone())));
    }
    days
}

/// Changed every other Monday, always on its day, with what the plan says.
fn tank(spans: &[(i64, i64)]) -> TankAsked {
    let changes_done: Vec<NaiveDate> = (1..=8).rev().map(|ago| on(-14 * ago)).collect();
    let poured = |product, amount| {
        move |date: &NaiveDate| Addition {
            product,
            on: *date,
            amount: Amount::rounded(amount),
            reason: Reason::Change,
        }
    };
    let a = changes_done.iter().map(poured(base_a(), 1_000.0));
    let ph = changes_done.iter().map(poured(ph_minus(), 30.0));
    TankAsked {
        working_volume_l: 100.0,
        mode: TankMode::Changed,
        fed: fed(spans),
        planned_changes: Vec::new(),
        skipped_changes: Vec::new(),
        partial_changes: Vec::new(),
        visits: changes_done.clone(),
        additions: a.chain(ph).collect(),
        changes_done,
        litres_fed: Vec::new(),
        without_step_on: None,
    }
}

fn site(tank: TankAsked) -> Question {
    Question {
        today: on(0),
        horizon_days: 42,
        open: OpenDays::EVERY_DAY,
        service_level: DEFAULT_SERVICE_LEVEL,
        review_days: DEFAULT_REVIEW_DAYS,
        tanks: vec![tank],
        products: vec![
            product(base_a(), ProductKind::Concentrate),
            product(ph_minus(), ProductKind::PhAdjuster),
        ],
        suppliers: Vec::new(),
        in_step: Vec::new(),
    }
}

/// Days on which a change is likelier than not, as days from today.
#[track_caller]
fn check(question: &Question, days: &[usize]) -> Forecast {
    let forecast = forecast(question);
    let likely = |day: &&(usize, f64)| day.1 > 500.0;
    let changes: Vec<(usize, f64)> =
        forecast.products[0].days.iter().map(|day| day.by_cause.changes).enumerate().collect();
    let found: Vec<usize> = changes.iter().filter(likely).map(|(day, _)| *day).collect();
    assert_eq!(found, days, "{changes:?}");
    forecast
}

fn changes_of(forecast: &Forecast) -> f64 {
    forecast.products[0].days.iter().map(|day| day.by_cause.changes).sum()
}

#[test]
fn changes_follow_the_interval_from_the_last_one_done() {
    let forecast = check(&site(tank(&[(-120, 90)])), &[0, 14, 28]);
    assert!((changes_of(&forecast) - 3_000.0).abs() < 100.0, "{}", changes_of(&forecast));
}

#[test]
fn written_dates_win_while_they_last() {
    let mut written = tank(&[(-120, 90)]);
    written.planned_changes = vec![on(3), on(10)];
    check(&site(written), &[3, 10, 24, 38]);
}

#[test]
fn a_skipped_change_is_left_out_and_the_rhythm_goes_on() {
    let mut skipping = tank(&[(-120, 90)]);
    skipping.skipped_changes = vec![on(14)];
    check(&site(skipping.clone()), &[0, 28]);
    skipping.planned_changes = vec![on(3), on(14)];
    check(&site(skipping), &[3, 28]);
}

#[test]
fn what_was_done_today_is_out_of_the_stock_and_not_forecast_again() {
    let mut done = tank(&[(-120, 90)]);
    done.changes_done.push(on(0));
    done.visits.push(on(0));
    let forecast = check(&site(done.clone()), &[14, 28]);
    assert_eq!(forecast.products[0].days[0].by_cause.top_ups, 0.0);
    done.planned_changes = vec![on(0), on(5)];
    check(&site(done), &[5, 19, 33]);
}

#[test]
fn a_change_waits_for_an_open_day() {
    let mut punctual = tank(&[(-120, 90)]);
    punctual.planned_changes = (-8..=2).map(|fortnight| on(14 * fortnight)).collect();
    let mut question = site(punctual);
    question.open.week = Week::of([Weekday::Wed]);
    let forecast = check(&question, &[2, 16, 30]);
    let closed = forecast.products[0].days.iter().filter(|day| !question.open.has(day.date));
    assert_eq!(closed.map(|day| day.by_cause.changes).sum::<f64>(), 0.0);
}

#[test]
fn a_new_cycle_is_filled_when_it_starts_and_an_ending_one_no_more() {
    let forecast = check(&site(tank(&[(-120, 2), (9, 90)])), &[9, 23, 37]);
    assert!(changes_of(&forecast) < 3_200.0, "{}", changes_of(&forecast));
}

#[test]
fn a_written_change_of_a_late_cycle_moves_to_its_start() {
    let mut late = tank(&[(-120, -5), (4, 90)]);
    late.planned_changes = vec![on(1), on(15)];
    check(&site(late), &[4, 15, 29]);
}

#[test]
fn nothing_is_used_where_nothing_grows() {
    let forecast = check(&site(tank(&[(-120, -1)])), &[]);
    assert_eq!(forecast.products[0].expected_use(42), 0.0);
    assert_eq!(forecast.products[1].expected_use(42), 0.0);
}

#[test]
fn doses_are_forecast_as_they_are_poured() {
    let mut generous = tank(&[(-120, 90)]);
    for addition in &mut generous.additions {
        addition.amount = Amount::rounded(addition.amount.base_units() * 1.2);
    }
    let forecast = check(&site(generous), &[0, 14, 28]);
    let ratio = forecast.products[0].learnt_from.fill_ratio.unwrap();
    assert!((1.15..1.2).contains(&ratio), "{ratio}: eight pours against one of the plan");
    assert!((changes_of(&forecast) / 3_000.0 - ratio).abs() < 0.03);
}

#[test]
fn a_ph_adjuster_is_learnt_by_the_litre_filled() {
    let forecast = check(&site(tank(&[(-120, 90)])), &[0, 14, 28]);
    let adjuster = &forecast.products[1];
    assert!((adjuster.expected_use(42) - 90.0).abs() < 5.0, "{}", adjuster.expected_use(42));
    assert_eq!(adjuster.days.iter().map(|day| day.by_cause.ph).sum::<f64>(), adjuster.expected_use(42));
    assert_eq!(adjuster.learnt_from.fills, 8);
}

fn top_ups_of(forecast: &Forecast) -> f64 {
    forecast.products[0].days.iter().map(|day| day.by_cause.top_ups).sum()
}

#[test]
fn the_programme_tells_the_strength_of_top_ups_until_pours_do() {
    let half = |mut tank: TankAsked| {
        tank.fed.values_mut().for_each(|fed| fed.top_up_share = 0.5);
        tank
    };
    let top_ups = |tank: TankAsked| top_ups_of(&forecast(&site(tank)));
    // Visits a fortnight apart tell nothing of uptake, and two of them nothing of how a forecast came out.
    let mut new = tank(&[(-120, 90)]);
    new.changes_done.retain(|done| *done >= on(-28));
    new.visits.retain(|seen| *seen >= on(-28));
    new.additions.retain(|one| one.on >= on(-28));
    assert!((top_ups(half(new.clone())) / top_ups(new) - 0.5).abs() < 1e-9);
    let known = drinking();
    assert!((top_ups(half(known.clone())) / top_ups(known) - 1.0).abs() < 0.05);
}

#[test]
fn top_ups_replace_what_the_plants_took() {
    let forecast = check(&site(drinking()), &[0, 14, 28]);
    let top_ups = top_ups_of(&forecast);
    assert!((top_ups / (39.0 * 50.0) - 1.0).abs() < 0.05, "{top_ups}");
}

/// A tank that was topped up with 50 mL on each day without a change.
fn drinking() -> TankAsked {
    let mut drinking = tank(&[(-120, 90)]);
    for ago in (1..=100).filter(|ago| ago % 14 != 0) {
        let addition = Addition {
            product: base_a(),
            on: on(-ago),
            amount: Amount::rounded(50.0),
            reason: Reason::TopUp,
        };
        drinking.additions.push(addition);
    }
    drinking
}

#[test]
fn losses_are_spread_over_the_days_recorded() {
    let mut question = site(tank(&[(-120, 90)]));
    question.products[0].unplanned = vec![Unplanned { on: on(-30), amount: Amount::rounded(560.0) }];
    let forecast = check(&question, &[0, 14, 28]);
    let unplanned: f64 = forecast.products[0].days.iter().map(|day| day.by_cause.unplanned).sum();
    assert!((unplanned - 210.0).abs() < 1e-6, "560 mL in 112 days, 42 days ahead: {unplanned}");
}

/// Feeds to waste, without changes.
fn fed_from(litres_fed: Vec<LitresFed>) -> TankAsked {
    let (changes_done, visits, additions) = (Vec::new(), Vec::new(), Vec::new());
    let mut fed = fed(&[(-120, 90)]);
    fed.values_mut().for_each(|day| day.change_every_days = None);
    TankAsked { mode: TankMode::Fed, fed, changes_done, visits, additions, litres_fed, ..tank(&[]) }
}

/// mL of part A fed in 42 days.
fn fed_of(forecast: &Forecast) -> f64 {
    forecast.products[0].days.iter().map(|day| day.by_cause.fed).sum()
}

/// 200 L a day at 10 mL a litre, and a meter that somebody began to read five weeks ago.
#[test]
fn days_before_the_first_look_at_a_meter_correct_nothing() {
    let litres = |ago: i64| LitresFed { on: on(-ago), litres: 200.0, over_days: 1 };
    let forecast = forecast(&site(fed_from((1..=38).rev().map(litres).collect())));
    let fed = fed_of(&forecast);
    assert!((fed / (42.0 * 2_000.0) - 1.0).abs() < 1e-6, "{fed}");
}

/// A meter that nobody has read for a month shows what it showed.
#[test]
fn a_meter_that_is_not_read_any_more_tells_what_it_told() {
    let litres = |ago: i64| LitresFed { on: on(-ago), litres: 200.0, over_days: 1 };
    let forecast = forecast(&site(fed_from((30..=100).rev().map(litres).collect())));
    assert!(fed_of(&forecast) > 0.6 * 42.0 * 2_000.0, "{}", fed_of(&forecast));
}

/// 20 plants at 0.3 L a day and 10 mL a litre.
#[test]
fn a_tank_that_feeds_to_waste_without_a_meter_is_reckoned_with_an_assumed_uptake() {
    let forecast = forecast(&site(fed_from(Vec::new())));
    assert!((fed_of(&forecast) - 42.0 * 60.0).abs() < 1e-6, "{}", fed_of(&forecast));
    let cautions = &forecast.products[0].cautions;
    assert!(cautions.contains(&Caution::FeedAssumed { litres: 0.3 }), "{cautions:?}");
}

/// Ten litres are drunk each day; who comes on Mondays to Fridays pours 150 mL on Mondays. It is changed every other Monday.
#[test]
fn nobody_is_expected_on_days_on_which_nobody_ever_comes() {
    let mut weekdays = tank(&[(-120, 90)]);
    for ago in (1..=112).filter(|ago| ago % 14 != 0) {
        let day = on(-ago);
        let owed = match day.weekday() {
            Weekday::Sat | Weekday::Sun => continue,
            Weekday::Mon => 150.0,
            _ => 50.0,
        };
        let amount = Amount::rounded(owed);
        weekdays.additions.push(Addition { product: base_a(), on: day, amount, reason: Reason::TopUp });
    }
    let forecast = forecast(&site(weekdays));
    let days = &forecast.products[0].days;
    let at_weekends: f64 = days
        .iter()
        .filter(|day| matches!(day.date.weekday(), Weekday::Sat | Weekday::Sun))
        .map(|day| day.by_cause.top_ups)
        .sum();
    // In each fortnight eight visits of 50 mL and one of 150.
    let all = top_ups_of(&forecast);
    assert!(at_weekends < 0.1 * all && (all / (3.0 * 600.0) - 1.0).abs() < 0.1, "{at_weekends} of {all}");
}

#[test]
fn what_is_taken_out_of_the_store_is_taken_out_again() {
    let mut question = site(tank(&[(-120, 90)]));
    let weekly = (1..=13).map(|week| Unplanned { on: on(-7 * week), amount: Amount::rounded(70.0) });
    question.products[0].taken = weekly.collect();
    let forecast = check(&question, &[0, 14, 28]);
    let taken: f64 = forecast.products[0].days.iter().map(|day| day.by_cause.taken).sum();
    assert!((taken - 42.0 * 10.0).abs() < 1e-6, "{taken}");
    assert_eq!(forecast.products[0].learnt_from.taken, 13);
}

#[test]
fn a_stage_without_a_step_is_told() {
    let without = TankAsked { without_step_on: Some(on(15)), ..tank(&[(-120, 14)]) };
    let cautions = &forecast(&site(without)).products[0].cautions;
    assert!(cautions.contains(&Caution::NoStep { on: on(15) }), "{cautions:?}");
}

#[test]
fn without_records_the_plan_speaks_and_says_so() {
    let mut new = tank(&[(0, 90)]);
    new.additions.clear();
    new.changes_done.clear();
    new.visits.clear();
    let forecast = check(&site(new), &[0, 14, 28]);
    assert!((changes_of(&forecast) - 3_000.0).abs() < 100.0, "{}", changes_of(&forecast));
    let cautions = &forecast.products[0].cautions;
    assert!(cautions.contains(&Caution::PlanOnly), "{cautions:?}");
    assert!(cautions.contains(&Caution::UptakeAssumed { litres: 0.3 }), "{cautions:?}");
}

/// Plants that stand there, and nothing was written down: changed every seventh day, somewhat less often where each may slip.
#[test]
fn a_site_that_has_just_begun_to_write_down_goes_by_its_plan() {
    for started in [-1, -20] {
        let mut new = TankAsked { fed: fed(&[(started, 120)]), ..tank(&[]) };
        (new.changes_done, new.visits, new.additions) = (Vec::new(), Vec::new(), Vec::new());
        new.fed.values_mut().for_each(|day| day.change_every_days = Some(7));
        let forecast = forecast(&Question { horizon_days: 56, ..site(new) });
        let changes = changes_of(&forecast);
        assert!((6_300.0..8_100.0).contains(&changes), "{started}: {changes}");
    }
}

/// 47 times 250 mL in 54 days, and no meter.
#[test]
fn a_tank_that_feeds_to_waste_and_is_dosed_by_hand_is_dosed_so_again() {
    let mut by_hand = fed_from(Vec::new());
    for ago in (1..=54).filter(|ago| ago % 8 != 0) {
        let amount = Amount::rounded(250.0);
        by_hand.additions.push(Addition { product: base_a(), on: on(-ago), amount, reason: Reason::TopUp });
    }
    let mut metered = by_hand.clone();
    let forecast_of = |tank: TankAsked| {
        let forecast = forecast(&site(tank));
        forecast.products[0].days.iter().map(|day| day.by_cause.total()).sum::<f64>()
    };
    let all = forecast_of(by_hand);
    assert!((all / (42.0 * 250.0 * 48.0 / 54.0) - 1.0).abs() < 0.1, "{all}");
    metered.litres_fed =
        (1..=54).rev().map(|ago| LitresFed { on: on(-ago), litres: 22.2, over_days: 1 }).collect();
    let both = forecast_of(metered);
    assert!((both / all - 1.0).abs() < 0.1, "poured and metered it is used once: {both} {all}");
}
