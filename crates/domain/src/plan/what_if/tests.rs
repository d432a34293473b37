//! Changes of a plan that are tried.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use chrono_tz::Europe::Berlin;

use super::*;
use crate::places::{Room, RoomUse, Tank, TankMode, TankRoom};
use crate::{Band, Metric, OpenDays, Stage};

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn id<W>(number: u128) -> Id<W> {
    Id::new(Uuid::from_u128(number))
}

fn step(days: u32, every: u32) -> Step {
    Step {
        stage: Stage::Vegetative,
        days,
        doses: Vec::new(),
        strength: 0.8,
        bands: vec![Band { metric: Metric::Ec, low: 1.0, aim: 1.4, high: 1.8 }],
        change_every_days: Some(every),
        top_up_strength: 0.4,
    }
}

fn kept<W>(number: u128, content: W) -> Kept<W> {
    let at = DateTime::<Utc>::UNIX_EPOCH;
    Kept { id: id(number), version: 1, created_at: at, updated_at: at, archived_at: None, content }
}

/// Cycle 1 leads tank 1, which feeds room 1, by programme 1; programme 2 changes twice as often.
fn plan() -> SitePlan {
    let revision = |programme, every| ProgrammeRevision {
        programme: id(programme),
        effective_at: "2031-01-01T00:00:00Z".parse().unwrap(),
        steps: vec![step(14, every), step(28, every)],
    };
    let tank = Tank {
        name: "North 1".into(),
        mode: TankMode::Recirculating,
        fill_mark_l: 200.0,
        water_source: None,
        two_people_change: false,
        bands: Vec::new(),
    };
    let room = Room {
        name: "North room".into(),
        room_use: RoomUse::Growing,
        growing_area_m2: None,
        plant_places: None,
        hygiene_rank: 1,
        building: None,
        bands: Vec::new(),
    };
    let cycle = Cycle {
        name: "Basil 1".into(),
        crop: id(1),
        programme: id(1),
        plants: 100,
        starts_on: day("2031-03-01"),
        ends_on: None,
        stages: vec![StageDate { stage: Stage::Vegetative, from: day("2031-03-01") }],
    };
    SitePlan {
        zone: Berlin,
        open: OpenDays::EVERY_DAY,
        rooms: vec![kept(1, room)],
        tanks: vec![kept(1, tank)],
        tank_rooms: vec![TankRoom {
            tank: id(1),
            room: id(1),
            from: day("2031-01-01"),
            until: None,
            share: 1.0,
        }],
        outages: Vec::new(),
        sources: Vec::new(),
        cycles: HashMap::from([(id(1), kept(1, cycle))]),
        placements: Vec::new(),
        feeds: vec![Feed {
            tank: id(1),
            cycle: id(1),
            from: day("2031-03-01"),
            until: None,
            leads: true,
            plants: 100,
        }],
        revisions: HashMap::from([(id(1), vec![revision(1, 14)]), (id(2), vec![revision(2, 7)])]),
        change_plans: Vec::new(),
    }
}

fn step_on(plan: &SitePlan, on: &str) -> Option<Step> {
    plan.led(id(1), day(on)).and_then(|led| led.step).cloned()
}

#[track_caller]
fn check(change: PlanChange, on: &str, expected: impl Fn(&Step) -> bool) {
    let tried = plan().with(&change, day("2031-03-10")).unwrap();
    assert!(expected(&step_on(&tried, on).unwrap()), "{change:?}");
    let unchanged = step_on(&plan(), "2031-03-09");
    assert_eq!(step_on(&tried, "2031-03-09"), unchanged, "what was before today stays");
}

#[test]
fn a_change_holds_from_today_on() {
    let programme = id(1);
    check(PlanChange::Interval { programme, days: 5 }, "2031-03-10", |step| {
        step.change_every_days == Some(5)
    });
    check(PlanChange::Strength { programme, factor: 0.5 }, "2031-03-10", |step| {
        (step.strength, step.top_up_strength, step.bands[0].aim) == (0.4, 0.2, 0.7)
    });
    let other = PlanChange::Programme { cycle: id(1), programme: id(2) };
    check(other, "2031-03-10", |step| step.change_every_days == Some(7));
}

#[test]
fn a_room_that_is_closed_rests_its_tanks() {
    let change = PlanChange::RoomClosed { room: id(1), from: day("2031-03-20"), until: day("2031-03-25") };
    let tried = plan().with(&change, day("2031-03-10")).unwrap();
    let in_use = |on| tried.in_use(id(1), day(on));
    assert!(in_use("2031-03-19") && !in_use("2031-03-20") && !in_use("2031-03-25") && in_use("2031-03-26"));
}

#[test]
fn what_was_before_today_stays_whatever_is_tried() {
    let (from, until) = (day("2031-02-01"), day("2031-03-12"));
    let tried = plan().with(&PlanChange::RoomClosed { room: id(1), from, until }, day("2031-03-10")).unwrap();
    let in_use = |on| tried.in_use(id(1), day(on));
    assert!(in_use("2031-03-09") && !in_use("2031-03-10") && !in_use("2031-03-12") && in_use("2031-03-13"));
    let over = PlanChange::RoomClosed { room: id(1), from, until: day("2031-03-01") };
    let tried = plan().with(&over, day("2031-03-10")).unwrap();
    assert!(tried.in_use(id(1), day("2031-03-10")) && tried.in_use(id(1), day("2031-02-15")));
    let (tank, programme, starts_on) = (id(1), id(2), day("2031-03-01"));
    let more = PlanChange::NewCycle { tank, programme, starts_on, plants: 50 };
    let tried = plan().with(&more, day("2031-03-10")).unwrap();
    assert_eq!((tried.plants(tank, day("2031-03-09")), tried.plants(tank, day("2031-03-10"))), (100, 150));
}

/// A revision of one in the morning, as midnight in Greenwich is in Berlin.
#[test]
fn what_comes_into_force_in_the_small_hours_is_fed_that_day() {
    let mut plan = plan();
    let (programme, effective_at) = (id(1), "2031-03-14T00:00:00Z".parse().unwrap());
    let revision = ProgrammeRevision { programme, effective_at, steps: vec![step(200, 3)] };
    plan.revisions.get_mut(&programme).unwrap().push(revision);
    let every = |on| step_on(&plan, on).unwrap().change_every_days;
    assert_eq!((every("2031-03-13"), every("2031-03-14")), (Some(14), Some(3)));
    let at = |at: &str| plan.led_at(id(1), at.parse().unwrap()).unwrap().step.unwrap().change_every_days;
    assert_eq!((at("2031-03-13T23:30:00Z"), at("2031-03-14T00:00:00Z")), (Some(14), Some(3)));
}

#[test]
fn a_cycle_more_goes_through_its_steps() {
    let mut empty = plan();
    empty.feeds.clear();
    let (tank, programme, starts_on) = (id(1), id(2), day("2031-04-01"));
    let change = PlanChange::NewCycle { tank, programme, starts_on, plants: 50 };
    let tried = empty.with(&change, day("2031-03-10")).unwrap();
    assert!(step_on(&tried, "2031-03-31").is_none());
    assert_eq!(step_on(&tried, "2031-04-01").unwrap().change_every_days, Some(7));
    assert_eq!(tried.plants(id(1), day("2031-05-12")), 50);
    assert_eq!(tried.plants(id(1), day("2031-05-13")), 0, "6 weeks of steps");
}

#[test]
fn what_is_not_in_the_plan_is_named() {
    let refused = |change| plan().with(&change, day("2031-03-10")).unwrap_err();
    assert_eq!(refused(PlanChange::Interval { programme: id(9), days: 5 }), NotPlanned::Programme);
    assert_eq!(refused(PlanChange::Programme { cycle: id(9), programme: id(2) }), NotPlanned::Cycle);
    let (from, until) = (day("2031-03-20"), day("2031-03-25"));
    assert_eq!(refused(PlanChange::RoomClosed { room: id(9), from, until }), NotPlanned::Room);
}
