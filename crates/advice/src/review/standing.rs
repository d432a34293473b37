//! What belonged to a room in a period: the tanks that fed it, the cycles that stood in it, and on how much of it.

use chrono::NaiveDate;
use fillmark_domain::growing::{Cycle, CycleId, Placement, spans};
use fillmark_domain::places::{RoomId, TankId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::{Days, Kept};

/// The tanks that fed a room at some time in a period.
pub fn tanks_of(plan: &SitePlan, room: RoomId, days: Days) -> Vec<TankId> {
    let fed = plan.tank_rooms.iter().filter(|fed| fed.room == room && days.meet(fed.from, fed.until));
    let mut tanks: Vec<TankId> = fed.map(|fed| fed.tank).collect();
    tanks.sort_unstable();
    tanks.dedup();
    tanks
}

/// Whether a cycle stood in a room at some time in a period.
pub fn stood_in(plan: &SitePlan, cycle: CycleId, room: RoomId, days: Days) -> bool {
    let stood = plan.placements.iter().filter(|placed| placed.cycle == cycle && placed.room == room);
    stood.into_iter().any(|placed| days.meet(placed.from, placed.until))
}

/// Growing area that a cycle took.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AreaTaken {
    /// Its mean over the days, m².
    pub mean_m2: f64,
    /// Days on which the cycle stood in any room.
    pub days: f64,
}

/// The growing area that a cycle took from its start to its end, or to a day. A room's area is shared each day among
/// the cycles that stand in it, by their plants; a cycle in several rooms takes its share of each. None where it
/// stood nowhere on record, or in a room whose area is not known: a figure for part of its area would flatter it.
pub fn area_taken(plan: &SitePlan, cycle: &Kept<Cycle>, until: NaiveDate) -> Option<AreaTaken> {
    let life = lived(cycle, until);
    let near: Vec<&Placement> =
        plan.placements.iter().filter(|placed| life.meet(placed.from, placed.until)).collect();
    let rooms: Vec<RoomId> =
        near.iter().filter(|placed| placed.cycle == cycle.id).map(|placed| placed.room).collect();
    let near: Vec<&Placement> = near.into_iter().filter(|placed| rooms.contains(&placed.room)).collect();

    let (mut area_days, mut days) = (0.0, 0.0);
    for day in life.each() {
        let standing: Vec<&Placement> =
            near.iter().copied().filter(|placed| stands(plan, placed, day)).collect();
        let mut stood = 0.0;
        for placed in standing.iter().filter(|placed| placed.cycle == cycle.id) {
            area_days += room_area(plan, placed.room)? * share(placed, &standing);
            stood = 1.0;
        }
        days += stood;
    }
    (days > 0.0).then(|| AreaTaken { mean_m2: area_days / days, days })
}

fn lived(cycle: &Kept<Cycle>, until: NaiveDate) -> Days {
    let end = cycle.content.ends_on.map_or(until, |end| end.min(until));
    Days { from: cycle.content.starts_on, until: end }
}

/// A placement whose end nobody wrote down ends with its cycle.
fn stands(plan: &SitePlan, placed: &Placement, day: NaiveDate) -> bool {
    let lives = |cycle: &Kept<Cycle>| spans(cycle.content.starts_on, cycle.content.ends_on, day);
    spans(placed.from, placed.until, day) && plan.cycles.get(&placed.cycle).is_none_or(lives)
}

fn room_area(plan: &SitePlan, room: RoomId) -> Option<f64> {
    plan.rooms.iter().find(|kept| kept.id == room)?.content.growing_area_m2
}

fn share(placed: &Placement, standing: &[&Placement]) -> f64 {
    let there = standing.iter().filter(|other| other.room == placed.room);
    let plants: f64 = there.map(|other| f64::from(other.plants)).sum();
    f64::from(placed.plants) / plants.max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::testing::{Site, basil, day, later_basil, north_room, north_tank, south_room};

    #[track_caller]
    fn check(from: &str, until: &str, tanks: &[TankId], stood: bool) {
        let plan = Site::default().fed_until("03-10").placed(basil(), north_room(), "03-01", Some("03-20"));
        let days = Days { from: day(from), until: day(until) };
        assert_eq!(tanks_of(&plan.0, north_room(), days), tanks);
        assert_eq!(stood_in(&plan.0, basil(), north_room(), days), stood);
        assert!(!stood_in(&plan.0, basil(), south_room(), days));
    }

    #[test]
    fn one_day_in_the_period_is_enough() {
        check("02-01", "02-28", &[north_tank()], false);
        check("02-01", "03-01", &[north_tank()], true);
        check("03-10", "03-31", &[north_tank()], true);
        check("03-11", "03-31", &[], true);
        check("03-21", "03-31", &[], false);
    }

    /// The mean area of the first basil until a day and the days it stood.
    #[track_caller]
    fn check_area(site: &Site, until: &str, expected: Option<(f64, f64)>) {
        let found = area_taken(&site.0, &site.0.cycles[&basil()], day(until));
        assert_eq!(found.map(|found| (found.mean_m2, found.days)), expected);
    }

    #[test]
    fn a_cycle_that_moves_took_the_mean_of_its_rooms_by_days() {
        let moved = Site::default().placed(basil(), south_room(), "01-01", Some("01-10")).placed(
            basil(),
            north_room(),
            "01-11",
            None,
        );
        check_area(&moved, "01-10", Some((10.0, 10.0)));
        check_area(&moved, "01-20", Some((15.0, 20.0)));
        // 10 days on 10 m² and, to the end of June, 171 on 20 m².
        check_area(&moved, "12-31", Some(((10.0 * 10.0 + 171.0 * 20.0) / 181.0, 181.0)));
    }

    #[test]
    fn cycles_in_one_room_share_it_by_their_plants() {
        // 200 plants alone in January and February, then with the 100 of the next cycle.
        let shared = Site::default().placed(basil(), north_room(), "01-01", None).placed(
            later_basil(),
            north_room(),
            "01-01",
            None,
        );
        check_area(&shared, "02-28", Some((20.0, 59.0)));
        let march = 20.0 * 200.0 / 300.0;
        let found = area_taken(&shared.0, &shared.0.cycles[&basil()], day("03-31")).unwrap();
        assert!((found.mean_m2 - (59.0 * 20.0 + 31.0 * march) / 90.0).abs() < 1e-9, "{found:?}");
    }

    #[test]
    fn an_area_that_cannot_be_told_is_none() {
        check_area(&Site::default(), "03-31", None);
        let mut unmeasured = Site::default().placed(basil(), south_room(), "01-01", Some("01-10")).placed(
            basil(),
            north_room(),
            "01-11",
            None,
        );
        unmeasured.0.rooms[1].content.growing_area_m2 = None;
        check_area(&unmeasured, "01-20", None);
    }
}
