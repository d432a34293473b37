//! The check plans that a site usually begins with. They are plans as any once they are made, and are changed like them.
//!
//! How often things are looked at is common practice without a source; hours, windows and minutes are our own judgement.

mod spread;

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, Weekday};

use crate::code::coded;
use crate::entries::{Meter, SamplePoint};
use crate::places::{Room, RoomUse, Tank, TankMode};
use crate::work::{CheckPlan, Place, Sharing, Task};
use crate::{Kept, Metric, Week};

use spread::{Filled, spread};

/// A name holds so many characters.
const LONGEST_NAME: usize = 120;
const DAYS_OF_WEEK: usize = 7;

coded! {
    /// What a template is for.
    TemplateKind {
        /// EC and pH of each tank, each day.
        Readings = "readings",
        /// Each meter, each week or as often as it says itself.
        Calibration = "calibration",
        /// Each room cleaned, each week.
        Cleaning = "cleaning",
        /// Each room looked through for pests and disease, each week.
        Scouting = "scouting",
    }
}

/// A plan that a site usually has.
#[derive(Debug, Clone, PartialEq)]
pub struct Template {
    /// What for.
    pub kind: TemplateKind,
    /// The plan.
    pub plan: CheckPlan,
}

/// The templates for what a site has, from a day on. What comes each week comes on the days it works, so that these and the plans
/// that are there fill them evenly. Tank changes are not among them: the feeding programme makes those.
pub fn templates(
    rooms: &[Kept<Room>],
    tanks: &[Kept<Tank>],
    meters: &[Kept<Meter>],
    plans: &[CheckPlan],
    week: &Week,
    from: NaiveDate,
) -> Vec<Template> {
    let mut days: Vec<Weekday> = week.days().collect();
    if days.is_empty() {
        days = Week::EVERY_DAY.days().collect();
    }
    let mut made: Vec<Template> = tanks.iter().filter_map(|tank| readings(tank, from)).collect();
    // Meters stand on a bench where it is clean.
    if let Some(bench) = rooms.iter().min_by_key(|room| (hygiene(room), room.id)) {
        made.extend(meters.iter().map(|meter| calibration(meter, bench, &days, from)));
    }
    made.extend(rooms.iter().map(|room| scouting(room, from)));
    made.extend(rooms.iter().map(|room| cleaning(room, from)));
    let mut filled = Filled::by(plans, &days, from);
    // What is there has its day already.
    let (mut there, mut new): (Vec<_>, Vec<_>) =
        made.iter_mut().partition(|template| is_there(template, plans));
    spread(&mut new, rooms, &mut filled);
    spread(&mut there, rooms, &mut filled);
    made
}

/// The first of these days of the week from a day on.
fn next(from: NaiveDate, days: &[Weekday]) -> NaiveDate {
    from.iter_days().take(DAYS_OF_WEEK).find(|day| days.contains(&day.weekday())).unwrap_or(from)
}

/// From clean to dirty, quarantine last.
fn hygiene(room: &Kept<Room>) -> (bool, u8) {
    (room.content.room_use == RoomUse::Quarantine, room.content.hygiene_rank)
}

/// Whether plans do what a template is for already, by whatever name: readings by what is measured there, a calibration by a
/// plan of the same meter.
pub fn is_there(template: &Template, plans: &[CheckPlan]) -> bool {
    let same = match &template.plan.task {
        Task::Measure { metrics, .. } => {
            let there = plans.iter().filter(|plan| plan.place == template.plan.place);
            let measured: BTreeSet<Metric> = there.flat_map(|plan| plan.task.metrics()).collect();
            measured.is_superset(metrics)
        }
        task @ Task::Calibrate { .. } => plans.iter().any(|plan| plan.task == *task),
        Task::Inspect | Task::ChangeTank => false,
    };
    same || plans.iter().any(|plan| plan.name == template.plan.name)
}

/// The plans by which somebody looks at the same place under a name that no template has, or calibrates a meter that the plan does
/// not name: only a person can tell whether it is for the same.
pub fn beside<'a>(
    template: &'a Template,
    plans: &'a [CheckPlan],
    all: &'a [Template],
) -> impl Iterator<Item = &'a CheckPlan> {
    let of = &template.plan;
    let is_alike = move |plan: &&CheckPlan| match (&of.task, &plan.task) {
        (Task::Inspect, Task::Inspect) => plan.place == of.place,
        (Task::Calibrate { .. }, Task::Calibrate { meter: None }) => true,
        _ => false,
    };
    let is_own = move |plan: &&CheckPlan| all.iter().all(|template| template.plan.name != plan.name);
    plans.iter().filter(is_alike).filter(is_own)
}

fn readings(tank: &Kept<Tank>, from: NaiveDate) -> Option<Template> {
    let point = match tank.content.mode {
        TankMode::Recirculating | TankMode::Batch => SamplePoint::Tank,
        TankMode::RunToWaste => SamplePoint::Feed,
        // A concentrate is off every scale.
        TankMode::StockTank { .. } => return None,
    };
    let task = Task::Measure { metrics: [Metric::Ec, Metric::Ph].into(), point };
    let plan = CheckPlan {
        window_min: 180,
        limit_min: 600,
        work_min: 5,
        ..plan(format!("EC and pH, {}", tank.content.name), task, Place::Tank(tank.id), from, 8)
    };
    Some(Template { kind: TemplateKind::Readings, plan })
}

fn calibration(meter: &Kept<Meter>, bench: &Kept<Room>, days: &[Weekday], from: NaiveDate) -> Template {
    let every = meter.content.calibrate_every_days.map_or(DAYS_OF_WEEK, |days| days.max(1) as usize);
    let (rule, from) = calibrated(every, days, from);
    let name = format!("Calibrate {}", meter.content.name);
    let task = Task::Calibrate { meter: Some(meter.id) };
    let plan = CheckPlan { rule, work_min: 15, ..plan(name, task, Place::Room(bench.id), from, 7) };
    Template { kind: TemplateKind::Calibration, plan }
}

/// By which rule a meter is calibrated each so many days and from which day on, never on a day that is free: then it is some
/// days sooner or, where a week is too long, on so many working days of it, spread.
fn calibrated(every_days: usize, days: &[Weekday], from: NaiveDate) -> (String, NaiveDate) {
    let has_free_days = days.len() < DAYS_OF_WEEK;
    match every_days / DAYS_OF_WEEK {
        1 if every_days == DAYS_OF_WEEK || has_free_days => ("FREQ=WEEKLY".to_owned(), from),
        weeks if weeks > 0 && (every_days.is_multiple_of(DAYS_OF_WEEK) || has_free_days) => {
            (format!("FREQ=WEEKLY;INTERVAL={weeks}"), from)
        }
        0 if has_free_days => {
            let times = DAYS_OF_WEEK.div_ceil(every_days).min(days.len());
            let days: Vec<Weekday> =
                (0..times).map(|nth| days[(2 * nth + 1) * days.len() / (2 * times)]).collect();
            let codes: Vec<String> =
                days.iter().map(|day| day.to_string()[..2].to_ascii_uppercase()).collect();
            (format!("FREQ=WEEKLY;BYDAY={}", codes.join(",")), next(from, &days))
        }
        _ => (format!("FREQ=DAILY;INTERVAL={every_days}"), from),
    }
}

fn scouting(room: &Kept<Room>, from: NaiveDate) -> Template {
    let name = format!("Pests and disease, {}", room.content.name);
    let plan = CheckPlan { work_min: 20, ..weekly(name, room, from, 9) };
    Template { kind: TemplateKind::Scouting, plan }
}

fn cleaning(room: &Kept<Room>, from: NaiveDate) -> Template {
    let name = format!("Clean {}", room.content.name);
    let sharing = Sharing { is_unpleasant: true, ..Sharing::default() };
    let plan = CheckPlan { work_min: 45, sharing, ..weekly(name, room, from, 13) };
    Template { kind: TemplateKind::Cleaning, plan }
}

fn weekly(name: String, room: &Kept<Room>, from: NaiveDate, hour: u32) -> CheckPlan {
    let plan = plan(name, Task::Inspect, Place::Room(room.id), from, hour);
    CheckPlan { rule: "FREQ=WEEKLY".to_owned(), limit_min: 2 * 24 * 60, ..plan }
}

/// Each day within the working day.
fn plan(name: String, task: Task, place: Place, from: NaiveDate, hour: u32) -> CheckPlan {
    let time = NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default();
    CheckPlan {
        name: name.chars().take(LONGEST_NAME).collect(),
        task,
        place,
        rule: "FREQ=DAILY".to_owned(),
        start: NaiveDateTime::new(from, time),
        window_min: 240,
        limit_min: 24 * 60,
        work_min: 10,
        qualification: None,
        two_people: false,
        sharing: Sharing::default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Id;
    use crate::entries::MeterKind;
    use chrono::DateTime;
    use uuid::Uuid;

    fn kept<W>(number: u128, content: W) -> Kept<W> {
        let at = DateTime::UNIX_EPOCH;
        Kept {
            id: Id::new(Uuid::from_u128(number)),
            version: 1,
            created_at: at,
            updated_at: at,
            archived_at: None,
            content,
        }
    }

    fn room(number: u128, name: &str, room_use: RoomUse, hygiene_rank: u8) -> Kept<Room> {
        let room = Room {
            name: name.into(),
            room_use,
            growing_area_m2: None,
            plant_places: None,
            hygiene_rank,
            building: None,
            bands: Vec::new(),
        };
        kept(number, room)
    }

    fn tank(number: u128, name: &str, mode: TankMode) -> Kept<Tank> {
        let tank = Tank {
            name: name.into(),
            mode,
            fill_mark_l: 100.0,
            water_source: None,
            two_people_change: false,
            bands: Vec::new(),
        };
        kept(number, tank)
    }

    fn all() -> Vec<Template> {
        of(&Week::EVERY_DAY, Some(14))
    }

    /// Of a site that works in this week and calibrates its pen each so many days, from a Tuesday on.
    fn of(week: &Week, calibrate_every_days: Option<u32>) -> Vec<Template> {
        beside_plans(&[], week, calibrate_every_days)
    }

    /// The same where there are plans already.
    fn beside_plans(plans: &[CheckPlan], week: &Week, calibrate_every_days: Option<u32>) -> Vec<Template> {
        let rooms = [room(1, "Quarantine", RoomUse::Quarantine, 0), room(2, "North", RoomUse::Growing, 3)];
        let tanks = [
            tank(3, "One", TankMode::Recirculating),
            tank(4, "Two", TankMode::RunToWaste),
            tank(5, "Stock", TankMode::StockTank { ratio: 100.0 }),
        ];
        let mut pen = meter(6, "Pen");
        pen.content.calibrate_every_days = calibrate_every_days;
        templates(&rooms, &tanks, &[pen], plans, week, "2026-11-24".parse().unwrap())
    }

    fn meter(number: u128, name: &str) -> Kept<Meter> {
        let kind = MeterKind::PhAndEc;
        kept(number, Meter { name: name.into(), kind, serial: None, calibrate_every_days: Some(14) })
    }

    #[test]
    fn each_tank_meter_and_room_has_its_plans_and_all_of_them_can_be_made() {
        let names: Vec<String> = all()
            .iter()
            .map(|one| format!("{}: {}", one.plan.name, one.plan.in_words(chrono_tz::Tz::UTC)))
            .collect();
        let expected = [
            "EC and pH, One: every day at 08:00",
            "EC and pH, Two: every day at 08:00",
            "Calibrate Pen: every second week on Monday at 07:00",
            "Pests and disease, Quarantine: every week on Thursday at 09:00",
            "Pests and disease, North: every week on Tuesday at 09:00",
            "Clean Quarantine: every week on Friday at 13:00",
            "Clean North: every week on Wednesday at 13:00",
        ];
        assert_eq!(names, expected);
        for one in all() {
            assert!(
                one.plan.clone().checked().is_ok() && one.plan.recurrence(chrono_tz::Tz::UTC).is_ok(),
                "{one:?}"
            );
        }
        // The bench stands in the clean room, not in quarantine.
        assert_eq!(all()[2].plan.place, Place::Room(Id::new(Uuid::from_u128(2))));
    }

    #[test]
    fn what_comes_each_week_is_spread_over_the_working_days() {
        let days = |week: &[Weekday]| {
            let made = of(&Week::of(week.iter().copied()), None);
            made[2..].iter().map(|one| one.plan.start.date().to_string()).collect::<Vec<_>>()
        };
        // The pen, scouting of quarantine and North, cleaning of both: by the fewest minutes, North first.
        let week = [Weekday::Mon, Weekday::Wed, Weekday::Thu];
        assert_eq!(days(&week), ["2026-11-30", "2026-11-30", "2026-11-25", "2026-11-25", "2026-11-26"]);
        assert_eq!(days(&[Weekday::Tue]), ["2026-11-24"; 5], "today, where that is the day");
        assert_eq!(days(&[]).len(), 5);
    }

    #[test]
    fn what_is_there_already_leaves_the_emptier_days() {
        let week = Week::of([Weekday::Mon, Weekday::Wed, Weekday::Thu]);
        let first_days = |plans: &[CheckPlan]| {
            let made = beside_plans(plans, &week, None);
            made[2..].iter().map(|one| one.plan.start.weekday()).collect::<Vec<_>>()
        };
        use Weekday::{Mon, Thu, Wed};
        // The pen, scouting of quarantine and North, cleaning of both.
        let plan = of(&week, None)[5].plan.clone();
        let wash = |rule: &str, work_min| CheckPlan {
            name: rule.into(),
            rule: rule.into(),
            start: "2026-01-01T10:00:00".parse().unwrap(),
            work_min,
            ..plan.clone()
        };
        assert_eq!(first_days(&[wash("FREQ=DAILY", 60)]), [Mon, Mon, Wed, Wed, Thu], "alike on all days");
        let by = |rule, work_min| first_days(&[wash(rule, work_min)]);
        assert_eq!(by("FREQ=WEEKLY;BYDAY=MO", 90), [Wed, Thu, Thu, Thu, Wed]);
        assert_eq!(by("FREQ=WEEKLY;BYDAY=MO;UNTIL=20261101T000000Z", 90), [Mon, Mon, Wed, Wed, Thu], "over");
        // Every second week counts half, and two people twice.
        assert_eq!(by("FREQ=WEEKLY;INTERVAL=2;BYDAY=MO", 36), [Wed, Mon, Thu, Thu, Wed]);
        let together = CheckPlan { two_people: true, ..wash("FREQ=WEEKLY;BYDAY=MO", 45) };
        assert_eq!(first_days(&[together]), by("FREQ=WEEKLY;BYDAY=MO", 90));
        // What a template made is not counted a second time when it is told again.
        let scouted = of(&week, None)[3].plan.clone();
        let told = first_days(std::slice::from_ref(&scouted));
        assert_eq!((scouted.start.weekday(), &told[..]), (Mon, &[Wed, Thu, Thu, Mon, Wed][..]));
    }

    #[test]
    fn a_meter_is_calibrated_on_working_days_and_not_too_seldom() {
        let week = |free: bool| if free { Week::of(Week::EVERY_DAY.days().take(5)) } else { Week::EVERY_DAY };
        let check = |every_days, free, words: &str| {
            let plan = of(&week(free), Some(every_days))[2].plan.clone();
            assert_eq!(plan.in_words(chrono_tz::Tz::UTC), format!("{words} at 07:00"));
            let first = plan.start.date();
            assert!(week(free).has(first) && plan.recurrence(chrono_tz::Tz::UTC).unwrap().comes(), "{first}");
        };
        check(1, true, "every week from Monday to Friday");
        check(2, true, "every week on Monday, Tuesday, Thursday and Friday");
        check(3, true, "every week on Monday, Wednesday and Friday");
        check(6, true, "every week on Tuesday and Thursday");
        check(10, true, "every week on Monday");
        check(20, true, "every second week on Monday");
        check(3, false, "every 3 days");
        check(10, false, "every 10 days");
        check(7, false, "every week on Monday");
    }

    #[test]
    fn what_a_plan_does_already_is_there_by_whatever_name() {
        let own = CheckPlan { name: "Morning walk".into(), ..all()[0].plan.clone() };
        let there: Vec<bool> = all().iter().map(|one| is_there(one, std::slice::from_ref(&own))).collect();
        assert_eq!(there, [true, false, false, false, false, false, false]);
        let of_ec = Task::Measure { metrics: [Metric::Ec].into(), point: SamplePoint::Tank };
        let half = CheckPlan { task: of_ec, ..own.clone() };
        assert!(!is_there(&all()[0], std::slice::from_ref(&half)));
        let of_ph = Task::Measure { metrics: [Metric::Ph].into(), point: SamplePoint::Tank };
        assert!(is_there(&all()[0], &[CheckPlan { task: of_ph, ..half.clone() }, half]));
        let named = CheckPlan { name: "Clean North".into(), ..own };
        assert!(is_there(&all()[6], &[named]));
    }

    #[test]
    fn a_plan_calibrates_the_meter_it_names_and_no_other() {
        let own = |name: &str, meter: Option<u128>| {
            let task = Task::Calibrate { meter: meter.map(|meter| Id::new(Uuid::from_u128(meter))) };
            [CheckPlan { name: name.into(), task, ..all()[2].plan.clone() }]
        };
        assert!(is_there(&all()[2], &own("Sunday buffers", Some(6))));
        assert!(!is_there(&all()[2], &own("Buffers for Pen 2", Some(7))));
        let unnamed = own("Sunday buffers", None);
        assert!(!is_there(&all()[2], &unnamed), "nobody knows of which");
        let told = beside(&all()[2], &unnamed, &all()).map(|plan| plan.name.clone()).collect::<Vec<_>>();
        assert_eq!(told, ["Sunday buffers"]);
    }

    #[test]
    fn another_look_at_the_same_room_is_told_beside() {
        let wash = CheckPlan { name: "Wash down North".into(), ..all()[6].plan.clone() };
        let plans = [wash, all()[5].plan.clone(), all()[0].plan.clone()];
        let named =
            |at: usize| beside(&all()[at], &plans, &all()).map(|plan| plan.name.clone()).collect::<Vec<_>>();
        assert_eq!(named(6), ["Wash down North"]);
        assert_eq!((named(0), named(4)), (vec![], vec!["Wash down North".to_owned()]));
    }
}
